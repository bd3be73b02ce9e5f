"""Whether a compiled kernel is kept from an earlier process, told without starting numba."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from functools import cache
from pathlib import Path

HERE = Path(__file__).parent
SOURCES = ("kernels.py", "kernels_llvm.py", "kernels_steps.py", "programs.py")
"""The files that go into the compiled code."""


@cache
def kept_name(number: str) -> str:
    """The name that the kernel for ``"float32"`` or ``"float64"`` is kept under.

    numba looks for a change in the function's own file only, and by its time; so the name
    says what all the files held.
    """
    digest = hashlib.sha256(b"".join((HERE / file).read_bytes() for file in SOURCES))
    return f"_run_{number}_{digest.hexdigest()[:12]}"


@cache
def is_kept(number: str) -> bool:
    """Whether numba finds the kernel in one of the folders where it keeps code.

    It may still refuse what it finds there, made on another processor: then it compiles.
    """
    return any(
        next(folder.glob(f"kernels.{kept_name(number)}-*.nbi"), None) for folder in _folders()
    )


def _folders() -> Iterator[Path]:
    yield HERE / "__pycache__"
    # Elsewhere a folder is named after the package's own folder and a digest of its path.
    own = f"{HERE.name}_{hashlib.sha1(str(HERE).encode(), usedforsecurity=False).hexdigest()}"
    yield from (parent / own for parent in _parents())


def _parents() -> Iterator[Path]:
    import platformdirs

    if named := os.environ.get("NUMBA_CACHE_DIR"):
        yield Path(named)
    yield Path(platformdirs.user_cache_dir("numba", appauthor=False))
