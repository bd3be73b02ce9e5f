"""Stills, frame sequences, clips, charts and contact sheets.

Names here may change with any version, unless a page of the manual imports them.
"""
