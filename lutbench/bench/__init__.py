"""The live bench: a set of LUTs as one page to look, expose and measure with, offline.

Names here may change with any version, unless a page of the manual imports them.
"""
