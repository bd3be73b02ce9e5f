"""Data files that are installed with lutbench."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import as_file, files
from pathlib import Path

from lutbench.errors import LutbenchError


@contextmanager
def demo_files() -> Iterator[Path]:
    """The folder of the demo set: in the package when it is installed, else in the checkout."""
    packaged = files("lutbench") / "demo_data"
    if packaged.is_dir():
        with as_file(packaged) as folder:
            yield folder
        return
    checkout = Path(__file__).resolve().parent.parent / "luts_demo"
    if not (checkout / "salt_road.toml").is_file():
        raise LutbenchError("the demo set is not installed", accepted="a checkout or a wheel")
    yield checkout


@contextmanager
def self_suite() -> Iterator[tuple[Path]]:
    """The suite that checks an installation, as a file, however the package is installed."""
    with as_file(files("lutbench") / "data" / "installation.toml") as path:
        yield (path,)
