"""LUT tables and their interpolation over pixels."""
