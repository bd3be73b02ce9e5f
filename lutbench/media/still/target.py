"""Where the image library writes a still, so that a full disk is noticed."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from lutbench.errors import LutbenchError
from lutbench.media.still.formats import still_format

_PNG_END = b"\0\0\0\0IEND\xaeB`\x82"


@contextmanager
def surely_written(temporary: Path, path: str | Path) -> Iterator[Path]:
    """The path that the library is to write to, so that a full disk is noticed.

    Its JPEG writer ends the whole process on a full disk: it gets a file in
    memory, copied afterwards. Its PNG writer takes no notice at all: the end of
    the file is looked at.
    """
    suffix = still_format(path)
    if suffix == "jpeg" and hasattr(os, "memfd_create"):
        with open(os.memfd_create("lutbench"), "rb") as memory:
            yield Path(f"/proc/self/fd/{memory.fileno()}")
            with open(temporary, "wb") as file:
                shutil.copyfileobj(memory, file)
        return
    yield temporary
    if suffix == "png":
        with open(temporary, "rb") as file:
            file.seek(-min(len(_PNG_END), os.path.getsize(temporary)), os.SEEK_END)
            if file.read() != _PNG_END:
                raise LutbenchError("cannot write: the disk is full or fails", where=path)
