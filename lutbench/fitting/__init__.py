"""LUTs fitted to measured colours: from the patches of a chart, or from a pair of pictures."""
