"""A file in the user's cache folder, with a checksum, which is read only from a trusted place."""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from lutbench import files
from lutbench.model.transforms import Array

_MAX_BYTES = 64 << 20
"""Bytes of the cached file, which has a few megabytes."""

_MAGIC = b"lutbench registries 2\n"


def file_for(code: Iterable[Path]) -> Path | None:
    """The cache file for this version of colour-science and of `code`; None without one.

    `code` are the files whose changes make the cache invalid.
    """
    import platformdirs

    if os.environ.get("LUTBENCH_CACHE", "").strip().casefold() in ("no", "0", "false"):
        return None
    spec = find_spec("colour")
    if spec is None or spec.origin is None:
        return None
    fingerprint = hashlib.sha256()
    for each in code:
        fingerprint.update(each.read_bytes())
    # The version is recognised without an import, by files that change with each release.
    package = Path(spec.origin).parent
    for place in (package, package / "models" / "rgb" / "transfer_functions", spec.origin):
        found = Path(place).stat()
        fingerprint.update(f"{place} {found.st_mtime_ns} {found.st_size}\n".encode())
    for record in sorted(package.parent.glob("colour_science-*.dist-info")):
        fingerprint.update(f"{record.name} {record.stat().st_mtime_ns}\n".encode())
    folder = Path(platformdirs.user_cache_dir("lutbench"))
    return folder / f"registries-{fingerprint.hexdigest()[:16]}.bin"


def only_ours(path: Path) -> bool:
    """Whether only the user and the administrator can have written `path`.

    The folders above it count too, since somebody who can rename one can replace it. On
    Windows the system protects a user's cache folder.
    """
    if os.name != "posix":
        return True
    whole = path.resolve()
    for place in (whole, *whole.parents):
        found = place.stat()
        if found.st_uid not in (0, os.getuid()):
            return False
        others_write = found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
        if others_write and not (place != whole and found.st_mode & stat.S_ISVTX):
            return False
    return True


def packed(header: dict[str, Any], samples: Array) -> bytes:
    """The bytes of a file with a header and samples, shape (n, columns)."""
    text = json.dumps(header, ensure_ascii=True).encode()
    body = len(text).to_bytes(8, "little") + text + samples.astype("<f8").tobytes()
    return _MAGIC + hashlib.sha256(body).digest() + body


def read(file: Path, columns: int) -> tuple[dict[str, Any], Array]:
    """Header and samples, shape (n, `columns`), of a file.

    Raises ValueError when there is no such file, or it cannot be trusted.
    """
    if not file.exists() or not only_ours(file):
        raise ValueError("there is no trusted file")
    return unpacked(files.read_bytes(file, limit=_MAX_BYTES), columns)


def unpacked(data: bytes, columns: int) -> tuple[dict[str, Any], Array]:
    """Header and samples of the bytes of a file; ValueError if their checksum is wrong."""
    begin = len(_MAGIC) + 32
    body = memoryview(data)[begin:]
    if data[: len(_MAGIC)] != _MAGIC or hashlib.sha256(body).digest() != data[len(_MAGIC) : begin]:
        raise ValueError("the checksum is wrong")
    length = int.from_bytes(body[:8], "little")
    header = json.loads(bytes(body[8 : 8 + length]))
    samples = np.frombuffer(data, "<f8", offset=begin + 8 + length)
    return header, samples.reshape(-1, columns)
