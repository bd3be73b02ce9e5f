"""A measured display: the model fitted to it, what it can reach, its calibration."""
