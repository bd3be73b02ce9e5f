"""The content of the TOML files that are read; keys that no class has are refused."""
