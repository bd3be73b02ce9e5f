"""A display as it was measured: a model fitted to it, what it can reach, its calibration."""
