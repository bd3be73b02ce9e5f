"""The output of each command with ``--json``; a test fails on a key that no class has."""
