"""How much two transforms differ: as seen, in code values, and for what reason.

Names here may change with any version, unless a page of the manual imports them.
"""
