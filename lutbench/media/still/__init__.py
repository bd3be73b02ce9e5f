"""Stills."""
