"""Transfer curves: light to signal and back; one family a file."""
