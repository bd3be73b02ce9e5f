"""A measured display: the model fitted to it, what it can reach, its calibration.

Names here may change with any version, unless a page of the manual imports them.
"""
