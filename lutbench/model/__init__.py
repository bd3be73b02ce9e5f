"""The colour model: curves, gamuts, tone, grade and signal ranges as transforms.

Names here may change with any version, unless a page of the manual imports them.
"""
