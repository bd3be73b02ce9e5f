"""The live bench: a set of LUTs as one page to look, expose and measure with, offline."""
