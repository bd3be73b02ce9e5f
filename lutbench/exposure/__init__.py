"""Levels: where light lands on a signal."""
