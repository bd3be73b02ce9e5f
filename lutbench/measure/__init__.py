"""How much two transforms differ: as seen, in code values, and for what reason."""
