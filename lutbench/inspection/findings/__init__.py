"""The kinds of findings: a few files of what belongs together."""
