"""Regression suites: checks that pin LUTs, recipes and pipelines, and hear of any drift."""
