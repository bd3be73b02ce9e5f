"""The suite in the package that checks an installation."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import as_file, files
from pathlib import Path


@contextmanager
def self_suite() -> Iterator[tuple[Path]]:
    """The suite as a file, however the package is installed."""
    with as_file(files("lutbench") / "data" / "installation.toml") as path:
        yield (path,)
