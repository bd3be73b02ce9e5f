"""A file in the user's cache folder: header and samples with a digest, of trusted places only."""

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
"""Of the kept file: it takes a few megabytes."""

_MAGIC = b"lutbench registries 2\n"


def file_for(code: Iterable[Path]) -> Path | None:
    """Where what `code` makes of this colour-science is kept; None where there can be no file."""
    import platformdirs

    if os.environ.get("LUTBENCH_CACHE", "").strip().casefold() in ("no", "0", "false"):
        return None
    spec = find_spec("colour")
    if spec is None or spec.origin is None:
        return None
    fingerprint = hashlib.sha256()
    for each in code:
        fingerprint.update(each.read_bytes())
    # Told without an import: the files that a release changes.
    package = Path(spec.origin).parent
    for place in (package, package / "models" / "rgb" / "transfer_functions", spec.origin):
        found = Path(place).stat()
        fingerprint.update(f"{place} {found.st_mtime_ns} {found.st_size}\n".encode())
    for record in sorted(package.parent.glob("colour_science-*.dist-info")):
        fingerprint.update(f"{record.name} {record.stat().st_mtime_ns}\n".encode())
    folder = Path(platformdirs.user_cache_dir("lutbench"))
    return folder / f"registries-{fingerprint.hexdigest()[:16]}.bin"


def only_ours(path: Path) -> bool:
    """Whether nobody but the user and the administrator can have written `path`.

    The folders above count too: who can rename one of them can put another in its place.
    On Windows a user's cache folder is the user's own by the rules of the system.
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
    """The bytes of a file."""
    text = json.dumps(header, ensure_ascii=True).encode()
    body = len(text).to_bytes(8, "little") + text + samples.astype("<f8").tobytes()
    return _MAGIC + hashlib.sha256(body).digest() + body


def read(file: Path, columns: int) -> tuple[dict[str, Any], Array]:
    """Header and samples (n, `columns`) of a file; ValueError where it is not to be trusted."""
    if not file.exists() or not only_ours(file):
        raise ValueError("no file to trust")
    return unpacked(files.read_bytes(file, limit=_MAX_BYTES), columns)


def unpacked(data: bytes, columns: int) -> tuple[dict[str, Any], Array]:
    """The same of bytes; ValueError where their digest does not hold."""
    begin = len(_MAGIC) + 32
    body = memoryview(data)[begin:]
    if data[: len(_MAGIC)] != _MAGIC or hashlib.sha256(body).digest() != data[len(_MAGIC) : begin]:
        raise ValueError("the digest does not hold")
    length = int.from_bytes(body[:8], "little")
    header = json.loads(bytes(body[8 : 8 + length]))
    samples = np.frombuffer(data, "<f8", offset=begin + 8 + length)
    return header, samples.reshape(-1, columns)
