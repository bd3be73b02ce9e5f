"""Split: a LUT into its parts."""
