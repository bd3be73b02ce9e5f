"""LUTs fitted to measured colours: from a chart's patches, or from a pair of pictures."""
