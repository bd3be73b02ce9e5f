"""LUT tables, their interpolation, and what can be done with them."""
