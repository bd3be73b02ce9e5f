"""The command line: one file for each command.

Names here may change with any version, unless a page of the manual imports them.
"""
