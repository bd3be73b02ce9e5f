"""Inspect: what a LUT does, and what is wrong with it."""
