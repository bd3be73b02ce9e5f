"""Recipes: LUTs from a TOML file, or from names.

Names here may change with any version, unless a page of the manual imports them.
"""
