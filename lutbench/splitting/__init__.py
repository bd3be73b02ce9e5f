"""Split: a LUT into its parts.

Names here may change with any version, unless a page of the manual imports them.
"""
