"""The LUT files that the arguments of a command stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lutbench.errors import LutbenchError


@dataclass(frozen=True)
class LutFile:
    """A file, and its name as seen from where it was named: that of a folder or its own."""

    path: str
    name: str


def lut_files(given: Sequence[str], suffixes: Sequence[str]) -> tuple[list[LutFile], bool]:
    """The files meant, and whether several may come: folders are searched through.

    Raises
    ------
    LutbenchError
        For a folder without a LUT.
    """
    files: list[LutFile] = []
    many = len(given) > 1
    for name in given:
        path = Path(name)
        if not path.is_dir():
            files.append(LutFile(name, path.name))
            continue
        many = True
        inside = sorted(
            each for each in path.rglob("*") if each.suffix.lower() in suffixes and each.is_file()
        )
        if not inside:
            raise LutbenchError(
                "holds no LUT", where=path, accepted=f"files that end in {', '.join(suffixes)}"
            )
        files += [LutFile(str(each), str(each.relative_to(path))) for each in inside]
    return files, many
