"""Reading files up to a size limit; writing files completely or not at all."""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import socket
import stat
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any

from lutbench import given
from lutbench.errors import DefinitionError, LutbenchError

MOST_TOML_BYTES = 1 << 20
"""Bytes of the largest definitions file, recipe or suite: far more than anyone writes by hand."""


def read_bytes(path: str | Path, *, limit: int) -> bytes:
    """The bytes of the regular file `path`, refused before reading where over `limit` bytes.

    Raises LutbenchError when `path` is a folder, a pipe or a device, is too large, cannot be read,
    or is written to by another process meanwhile.
    """
    handle, before = _opened(path)
    try:
        with open(handle, "rb") as file:
            if before.st_size > limit:
                raise LutbenchError(
                    f"is too large ({before.st_size} bytes)",
                    where=path,
                    accepted=f"up to {limit} bytes",
                )
            data = file.read(before.st_size + 1)
            after = os.fstat(file.fileno())
    except OSError as error:
        raise unreadable(path, error) from error
    # Files that report size 0, such as those in /proc, are refused here too.
    if len(data) != before.st_size or before.st_mtime_ns != after.st_mtime_ns:
        raise LutbenchError("the file changed while it was read", where=path)
    return data


def read_toml(path: str | Path) -> dict[str, Any]:
    """The content of a TOML file of at most 1 MiB.

    Raises LutbenchError when it cannot be read, or is larger. DefinitionError with the line where
    it is not TOML.
    """
    file = Path(path)
    return parse_toml(read_bytes(file, limit=MOST_TOML_BYTES), file)


def parse_toml(data: bytes, where: str | Path) -> dict[str, Any]:
    """TOML bytes as a dict; DefinitionError where they are not TOML."""
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise DefinitionError(
            f"is not TOML: {error}",
            where=where,
            accepted="a TOML file: a recipe, a suite, a project or definitions",
        ) from error


def regular(path: str | Path) -> os.stat_result:
    """The stat result of the regular file `path`, for a library that opens it by name.

    Raises LutbenchError when `path` is a folder, a pipe or a device, or cannot be read.
    """
    handle, found = _opened(path)
    os.close(handle)
    return found


def _opened(path: str | Path) -> tuple[int, os.stat_result]:
    """A file descriptor to read the regular file `path` with, and its stat result."""
    try:
        # Non-blocking: opening a pipe that nobody writes to would wait for ever.
        handle = os.open(given.path(path), os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except OSError as error:
        raise unreadable(path, error) from error
    except ValueError as error:  # a null character in the name
        raise LutbenchError(f"cannot read: {error}", where=ascii(str(path))) from error
    found = os.fstat(handle)
    if not stat.S_ISREG(found.st_mode):
        os.close(handle)
        what = "is a folder" if stat.S_ISDIR(found.st_mode) else "is a pipe or a device"
        raise LutbenchError(what, where=path, accepted="a file")
    return handle, found


@contextmanager
def replacing(path: str | Path, *, force: bool = False) -> Iterator[Path]:
    """A temporary path beside `path` that replaces it when the block ends without an error.

    The temporary file keeps the suffix of `path`, so a writer that decides by
    suffix works; it is flushed to disk before the rename and removed on any error.
    Temporary files that a killed process left in the folder are removed first.

    Raises LutbenchError when `path` exists and `force` is not set, is a folder, or cannot be
    written.
    """
    target = given.path(path)
    refuse_existing(target, force)
    remove_strays(target.parent)
    try:
        temporary = temporary_beside(target)
    except OSError as error:
        raise unwritable(target, error) from error
    with removed_after(temporary):
        try:
            yield temporary
            # Opened for writing: on Windows fsync fails on a file that is open for reading only.
            with open(temporary, "r+b") as written:
                os.fsync(written.fileno())
            _move_into_place(temporary, target, force)
        except OSError as error:
            raise unwritable(target, error) from error


def _move_into_place(temporary: Path, target: Path, force: bool) -> None:
    """Rename a file; without `force` never over one that another process has just written."""
    if force:
        os.replace(temporary, target)
        return
    try:
        os.link(temporary, target)  # atomic: fails where the name is taken
    except FileExistsError:
        refuse_existing(target, force)
        raise
    except OSError:  # a file system without links
        refuse_existing(target, force)
        os.replace(temporary, target)


def write_bytes(path: str | Path, data: bytes, *, force: bool = False) -> None:
    """Write `data` to `path`, completely or not at all."""
    with replacing(path, force=force) as temporary:
        temporary.write_bytes(data)


def write_text(path: str | Path, text: str, *, force: bool = False) -> None:
    """Write `text` to `path` as UTF-8 with line feeds, completely or not at all."""
    write_bytes(path, text.encode("utf-8"), force=force)


def json_text(data: Any, indent: int | None = None) -> str:
    """`data` as standard JSON: numbers that are not finite become null.

    >>> json_text({"stops": float("-inf"), "label": "no light"})
    '{"stops":null,"label":"no light"}'
    """
    separators = None if indent else (",", ":")
    return json.dumps(
        _finite(data), indent=indent, separators=separators, ensure_ascii=False, allow_nan=False
    )


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float) and value - value != 0:
        return None
    return value


def refuse_existing(target: Path, force: bool) -> None:
    """Refuse a path that cannot be written: a folder, a path whose folder is missing, or an
    existing file without `force`."""
    if "\0" in str(target):
        raise LutbenchError("a null character in the name", where=ascii(str(target)))
    if target.is_dir():
        raise LutbenchError("is a folder", where=target, accepted="a file name")
    if not target.parent.is_dir():
        raise LutbenchError(
            "cannot write: there is no such folder", where=target, accepted="a folder that exists"
        )
    if target.exists() and not force:
        raise LutbenchError(
            "the file exists and was not changed", where=target, accepted="force=True to replace it"
        )


def make_folder(path: str | Path) -> Path:
    """The folder `path`, made with its parents where it is missing."""
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise unwritable(folder, error) from error
    except ValueError as error:  # a null character in the name
        raise LutbenchError(f"cannot write: {error}", where=ascii(str(folder))) from error
    return folder


def inside(folder: str | Path, name: str, where: str = "", what: str = "output folder") -> Path:
    """`folder` / `name`; refused where that is outside the folder, which `what` names.

    >>> inside("out", "day/one.cube").as_posix()
    'out/day/one.cube'
    """
    base = Path(folder).resolve()
    target = base if "\0" in name else (base / name).resolve()
    if not name.strip() or target == base or not target.is_relative_to(base):
        raise LutbenchError(
            f"the file name {name!r} is outside the {what}",
            where=where,
            accepted="a name inside it",
        )
    return Path(folder) / name


OUTSIDE_VARIABLE = "LUTBENCH_ALLOW_OUTSIDE"
"""Environment variable: ``yes`` allows reading files outside a recipe's or suite's folder.
An environment variable, so that child processes inherit it."""


def beside(folder: str | Path, name: str, where: str | Path = "", what: str = "recipe") -> Path:
    """The path of the file `name`, which a recipe or suite in `folder` asks to read.

    A recipe or suite may come from a stranger, so the file must lie in its own folder, with
    links followed, unless reading outside is allowed. If the name contains ``#``, the part
    before it may be the file; that must lie in the folder too.

    Raises LutbenchError when the file is outside; `what` names the kind of file that `folder`
    belongs to.
    """
    if os.environ.get(OUTSIDE_VARIABLE) == "yes":
        return Path(folder) / name
    try:
        for head in (name[:at] for at, sign in enumerate(name) if sign == "#"):
            if Path(head).name not in ("", ".."):  # which are no files
                inside(folder, head)
        return inside(folder, name)
    except LutbenchError as error:
        raise LutbenchError(
            f"the file {name!r} is outside the folder of the {what}",
            where=where,
            accepted=f"a file inside it, or {OUTSIDE_VARIABLE}=yes where you trust it",
        ) from error


def unwritable(path: Path, error: OSError) -> LutbenchError:
    """The error for a path that cannot be written, with the system's reason."""
    return LutbenchError(f"cannot write: {error.strerror or error}", where=path)


def unreadable(path: str | Path, error: OSError) -> LutbenchError:
    """The error for a path that cannot be read, with the system's reason."""
    return LutbenchError(f"cannot read: {error.strerror or error}", where=path)


# --- temporary files ----------------------------------------------------------------------
#
# Their names hold the writer's process id and machine. A temporary file of this machine whose
# process no longer exists is left over: the next writer into the folder removes it. One whose
# process is alive, or that another machine wrote, stays.

MARK = ".lutbench-"
TEMPORARY_NAME = re.compile(
    r"\.(?P<stem>.*)\.lutbench-(?P<machine>[0-9a-f]{8})-(?P<process>\d{1,10})-[0-9a-f]{16}"
    r"(?P<suffix>\.[^.]*)?$",
    re.DOTALL,
)
"""The name of a temporary file, as `temporary_beside` makes it."""

STEM_CHARACTERS = 40
"""Characters of the target's name in that of its temporary file, so that it is not too long."""

_cleaned_folders: set[str] = set()
_unfinished: set[Path] = set()


@contextmanager
def removed_after(path: Path) -> Iterator[None]:
    """Remove the file `path` when the block ends, or the process within it."""
    _unfinished.add(path)
    try:
        yield
    finally:
        with suppress(OSError):
            path.unlink()
        _unfinished.discard(path)


def remove_unfinished() -> None:
    """Remove the files of all `removed_after`: the process ends while its threads still write."""
    for path in list(_unfinished):
        with suppress(OSError):
            path.unlink()


def temporary_beside(target: Path) -> Path:
    """A new empty file in the folder of `target`, hidden, with its suffix.

    The system gives it the mode that any new file gets here.

    Raises OSError when it cannot be made.
    """
    stem = target.stem[:STEM_CHARACTERS]
    while True:
        name = f".{stem}{MARK}{_machine()}-{os.getpid()}-{secrets.token_hex(8)}{target.suffix}"
        with suppress(FileExistsError):
            path = target.with_name(name)
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
            return path


def remove_strays(folder: Path) -> None:
    """Remove temporary files that killed processes of this machine left in a folder.

    Done once for each folder in a process. What cannot be read or removed stays, since the
    user asked for a file to be written, not for a clean folder.
    """
    if os.name != "posix" or str(folder) in _cleaned_folders:
        return
    _cleaned_folders.add(str(folder))
    with suppress(OSError):
        strays = [entry.path for entry in os.scandir(folder) if _is_stray(entry)]
        for path in strays:
            with suppress(OSError):
                os.unlink(path)


def _is_stray(entry: os.DirEntry[str]) -> bool:
    if MARK not in entry.name:
        return False
    found = TEMPORARY_NAME.match(entry.name)
    if found is None or not entry.is_file(follow_symlinks=False):
        return False
    return found["machine"] == _machine() and not _is_alive(int(found["process"]))


def _is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True  # it exists, and belongs to another user
    return True


@cache
def _machine() -> str:
    """Eight hexadecimal digits that stand for this machine: machines may share a folder."""
    return hashlib.sha256(socket.gethostname().encode("utf-8", "replace")).hexdigest()[:8]
