"""JSON Schemas, generated from typed descriptions of reports and TOML files.

`reports/` describes the output of each ``--json``, `inputs/` the TOML of recipes, suites,
projects and definitions; `making.py` makes JSON Schemas (draft 2020-12) from both, `named.py`
lists them by name.

Names here may change with any version, unless a page of the manual imports them.
"""
