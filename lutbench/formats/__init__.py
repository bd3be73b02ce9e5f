"""File formats: one module for each, and a registry that recognises them by content."""
