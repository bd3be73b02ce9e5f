"""Sequences of stills: frame numbers, and putting all frames through a LUT."""
