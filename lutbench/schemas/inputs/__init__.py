"""What the TOML files may hold that are read; a key that no class has is refused."""
