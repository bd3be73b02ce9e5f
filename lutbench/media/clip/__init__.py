"""Reading, transforming and writing clips."""
