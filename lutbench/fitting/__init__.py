"""LUTs fitted to measured colours: from the patches of a chart, or from a pair of pictures.

Names here may change with any version, unless a page of the manual imports them.
"""
