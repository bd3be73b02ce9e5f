"""Reading, transforming and writing stills."""
