"""Exposure: the signal levels that light is recorded at.

Names here may change with any version, unless a page of the manual imports them.
"""
