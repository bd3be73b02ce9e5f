"""Regression suites: checks that pin LUTs, recipes and pipelines, and fail when they drift.

Names here may change with any version, unless a page of the manual imports them.
"""
