"""File formats: one module a format, and a registry of them; a file's content tells which."""
