"""Plots, pages, cards and sheets."""
