"""Recipes: from a TOML file, or from names, to LUTs."""
