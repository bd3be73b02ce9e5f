"""The manifest of a set of LUTs: the SHA-256 of each file, the recipe, and what made them.

The lines are those of the usual checksum tools (digest, two spaces, name), so that they
can be checked without this project too: ``sha256sum -c MANIFEST.sha256``.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

from lutbench import __version__, files
from lutbench.errors import FormatError, LutbenchError

MAX_BYTES = 1024 * 1024
"""Bytes of the largest manifest that is read: it has one line for each file."""

MOST_FILE_BYTES = 512 * 1024 * 1024
"""Bytes of the largest file that is checked: the largest LUT file that is read."""

MADE_WITH = ("numpy", "scipy", "colour-science")
"""Packages whose version can change a number of a LUT."""

_ROW = re.compile(r"([0-9a-f]{64}) [ *](.+)")


def manifest_text(recipe: str, folder: Path, paths: Sequence[Path]) -> str:
    """The manifest of the files `paths` under `folder`; `recipe` is the recipe's digest."""
    packages = ", ".join(f"{name} {version(name)}" for name in MADE_WITH)
    lines = [f"# recipe sha256: {recipe}", f"# made by: lutbench {__version__}, {packages}"]
    for path in sorted(paths):
        name = path.relative_to(folder).as_posix()
        if set(name) & set("\n\r\\"):
            raise LutbenchError(
                f"a manifest cannot hold the name {name!r}", accepted="another name"
            )
        lines.append(f"{_sha256(path)}  {name}")
    return "\n".join(lines) + "\n"


def faults_of(path: str | Path) -> tuple[list[str], int]:
    """What is wrong with the files that a manifest lists, and the number of files.

    Raises LutbenchError when it cannot be read, is not a manifest, lists nothing or a file outside
    its folder.
    """
    where = Path(path)
    rows = _rows(where)
    faults = []
    for digest, name in rows:
        file = files.beside(where.parent, name, where, "manifest")
        if not file.is_file():
            faults.append(f"{name} is missing")
        elif _sha256(file) != digest:
            faults.append(f"{name} is not the file that was written")
    return faults, len(rows)


def _rows(path: Path) -> list[tuple[str, str]]:
    try:
        text = files.read_bytes(path, limit=MAX_BYTES).decode("utf-8")
    except UnicodeDecodeError:
        raise FormatError("is not UTF-8 text", where=path, accepted="a manifest") from None
    rows = []
    # Not at the other line ends of Unicode: a name may hold them.
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        if not line.strip() or line.startswith("#"):
            continue
        found = _ROW.fullmatch(line)
        if found is None:
            raise FormatError(
                "is not a line of a manifest",
                where=f"{path}:{number}",
                accepted="a SHA-256, two spaces, a name",
            )
        rows.append((found[1], found[2]))
    if not rows:
        raise FormatError("lists no file", where=path, accepted="at least one")
    return rows


def _sha256(path: Path) -> str:
    return hashlib.sha256(files.read_bytes(path, limit=MOST_FILE_BYTES)).hexdigest()
