"""Plots, pages, cards and sheets.

Names here may change with any version, unless a page of the manual imports them.
"""
