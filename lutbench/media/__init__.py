"""Stills, frame sequences, clips, charts and contact sheets."""
