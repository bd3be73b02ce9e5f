"""Stills and clips."""
