"""Inspect: what a LUT does, and what is wrong with it.

Names here may change with any version, unless a page of the manual imports them.
"""
