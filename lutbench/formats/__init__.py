"""File formats: one module for each, and a registry that recognises them by content.

Names here may change with any version, unless a page of the manual imports them.
"""
