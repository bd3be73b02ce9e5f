"""What each command prints with ``--json``; a key that no class has is a fault of the tests."""
