"""LUT tables and their interpolation over pixels.

Names here may change with any version, unless a page of the manual imports them.
"""
