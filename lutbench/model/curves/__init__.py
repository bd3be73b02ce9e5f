"""Transfer curves: light to signal and back; one file for each family."""
