"""Regression suites: checks that pin LUTs, recipes and pipelines, and fail when they drift."""
