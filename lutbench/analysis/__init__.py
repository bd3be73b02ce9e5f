"""What a LUT does: measurements and findings."""
