"""Recipes: LUTs from a TOML file, or from names."""
