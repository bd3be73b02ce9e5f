"""How far two transforms are apart: as seen, in code values, and by what cause."""
