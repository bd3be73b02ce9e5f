"""Stills by the hundred: frames and sequences."""
