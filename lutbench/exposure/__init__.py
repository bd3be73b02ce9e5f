"""Exposure: the signal levels that light is recorded at."""
