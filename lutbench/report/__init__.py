"""Plots and the page."""
