"""Hidden files that writers work on, and what killed ones leave of them.

A writer's temporary file names its process and its machine. One whose process is gone
from this machine belongs to nobody: whoever next writes into the folder removes it.
Where the process is alive, or the machine another, it stays.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import socket
from contextlib import suppress
from functools import cache
from pathlib import Path

MARK = ".lutbench-"
_NAME = re.compile(r"\..*\.lutbench-([0-9a-f]{8})-(\d{1,10})-[0-9a-f]{16}(\.[^.]*)?$", re.DOTALL)

_looked_at: set[str] = set()


def temporary_beside(target: Path) -> Path:
    """A new empty file in the folder of `target`, hidden, with its suffix.

    The system gives it the mode that any new file gets here.

    Raises
    ------
    OSError
        When it cannot be made.
    """
    stem = target.stem[:40]
    while True:
        name = f".{stem}{MARK}{_machine()}-{os.getpid()}-{secrets.token_hex(8)}{target.suffix}"
        with suppress(FileExistsError):
            path = target.with_name(name)
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
            return path


def remove_strays(folder: Path) -> None:
    """Remove what killed writers of this machine left in a folder, once a process and folder.

    What cannot be read or removed stays: to write is what was asked for.
    """
    if os.name != "posix" or str(folder) in _looked_at:
        return
    _looked_at.add(str(folder))
    with suppress(OSError):
        strays = [entry.path for entry in os.scandir(folder) if _is_stray(entry)]
        for path in strays:
            with suppress(OSError):
                os.unlink(path)


def _is_stray(entry: os.DirEntry[str]) -> bool:
    if MARK not in entry.name:
        return False
    found = _NAME.match(entry.name)
    if found is None or found[1] != _machine() or not entry.is_file(follow_symlinks=False):
        return False
    return not _lives(int(found[2]))


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True  # somebody else's
    return True


@cache
def _machine() -> str:
    """Eight digits for this machine: two may share a folder."""
    return hashlib.sha256(socket.gethostname().encode("utf-8", "replace")).hexdigest()[:8]
