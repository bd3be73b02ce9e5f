"""JSON Schemas, made of typed descriptions of what commands print and what files hold.

`reports/` describes every ``--json``, `inputs/` the TOML of recipes, suites and definitions;
`making.py` makes JSON Schemas (draft 2020-12) of both, `named.py` knows them by name.
"""
