"""The colour model: curves, gamuts, tone, grade and signal ranges as transforms."""
