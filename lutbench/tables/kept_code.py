"""The cache of compiled code, only in folders that nobody else can write to.

Machine code that is loaded runs with the user's rights. So it is neither read from nor written
to a folder that others can write to, and damaged files are made again. Whether a kernel is
cached can be found out without starting numba.
"""

from __future__ import annotations

import hashlib
import logging
import os
from collections.abc import Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

from lutbench.long_work import report
from lutbench.model.kept import only_ours

HERE = Path(__file__).parent
SOURCES = ("kernels.py", "kernels_llvm.py", "kernels_steps.py", "programs.py")
"""The source files of the compiled code."""


@cache
def kept_name(number: str) -> str:
    """The name under which the kernel for ``"float32"`` or ``"float64"`` is cached.

    numba notices a change only in the function's own file, by its time; so the name includes
    a checksum of all the source files.
    """
    digest = hashlib.sha256(b"".join((HERE / file).read_bytes() for file in SOURCES))
    return f"_run_{number}_{digest.hexdigest()[:12]}"


@cache
def is_kept(number: str) -> bool:
    """Whether the kernel is in one of numba's cache folders.

    numba may still refuse it if it was made on another processor, and compile it again.
    """
    return any(
        next(folder.glob(f"kernels.{kept_name(number)}-*.nbi"), None) and only_ours(folder)
        for folder in _folders()
    )


def _folders() -> Iterator[Path]:
    yield HERE / "__pycache__"
    # Other folders are named after the package's own folder and a checksum of its path.
    own = f"{HERE.name}_{hashlib.sha1(str(HERE).encode(), usedforsecurity=False).hexdigest()}"
    yield from (parent / own for parent in _parents())


def _parents() -> Iterator[Path]:
    import platformdirs

    if named := os.environ.get("NUMBA_CACHE_DIR"):
        yield Path(named)
    yield Path(platformdirs.user_cache_dir("numba", appauthor=False))
    yield _private()


def _private() -> Path:
    """The folder to use if numba would choose one that others can write to."""
    import platformdirs

    return Path(platformdirs.user_cache_dir("lutbench")) / "kernels"


def compiled(function: Any, signature: Any, **options: Any) -> Any:
    """`function` compiled by numba for one signature, or loaded from the cache.

    Cached code that cannot be loaded is removed and compiled again, with a warning.
    """
    from numba import njit

    try:
        folder = _folder_for(function, options)
        if folder is not None:
            return _from_kept(function, signature, options, folder)
    except (RuntimeError, OSError):  # the cache cannot be written, or the disk is full
        pass
    return njit(signature, **options)(function)


def _from_kept(function: Any, signature: Any, options: dict[str, Any], folder: Path) -> Any:
    from numba import njit

    stem = f"{Path(function.__code__.co_filename).stem}.{function.__qualname__}"
    for _ in range(2):
        if not any(folder.glob(f"{stem}-*.nbi")):
            report("compiling for this processor, which is done once")
        try:
            return njit(signature, cache=True, **options)(function)
        except (RuntimeError, OSError):
            raise
        except Exception as error:
            # numba unpickles the file, so a damaged one may raise any exception.
            damage = f"{type(error).__name__}: {error}"[:100]
            logging.getLogger("lutbench").warning(
                "compiled code in %s is damaged (%s) and is compiled again", folder, damage
            )
            for file in folder.glob(f"{stem}-*"):
                with suppress(OSError):
                    file.unlink()
    raise RuntimeError("the compiled code cannot be cached")


def _folder_for(function: Any, options: dict[str, Any]) -> Path | None:
    """The cache folder: numba's choice, or a private one of the user; None without one."""
    from numba import config, njit

    folder = Path(njit(cache=True, **options)(function).stats.cache_path)
    if _nobody_else_writes(folder):
        return folder
    private = _private()
    private.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not _nobody_else_writes(private):
        return None
    logging.getLogger("lutbench").debug(
        "compiled code is cached in %s, since others can write to %s", private, folder
    )
    config.CACHE_DIR = str(private)
    return Path(njit(cache=True, **options)(function).stats.cache_path)


def _nobody_else_writes(folder: Path) -> bool:
    while not folder.exists():
        folder = folder.parent
    return only_ours(folder)
