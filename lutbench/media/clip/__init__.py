"""Clips."""
