"""The LUT files that names of files and folders stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lutbench.errors import LutbenchError
from lutbench.formats.registry import suffixes


@dataclass(frozen=True)
class NamedFile:
    """A file, and its name as seen from where it was named: that of a folder or its own."""

    path: str
    name: str


def lut_files(given: Sequence[str], *, luts_only: bool = False) -> tuple[list[NamedFile], bool]:
    """The files meant, and whether several may come: folders are searched through.

    In a folder only files count whose suffix is that of a format that is read; with
    `luts_only` of one that can hold a LUT.

    Raises
    ------
    LutbenchError
        For a folder without a LUT.
    """
    accepted = suffixes(luts_only=luts_only)
    files: list[NamedFile] = []
    many = len(given) > 1
    for name in given:
        path = Path(name)
        if not path.is_dir():
            files.append(NamedFile(name, path.name))
            continue
        many = True
        inside = sorted(
            each for each in path.rglob("*") if each.suffix.lower() in accepted and each.is_file()
        )
        if not inside:
            raise LutbenchError(
                "holds no LUT", where=path, accepted=f"files that end in {', '.join(accepted)}"
            )
        files += [NamedFile(str(each), str(each.relative_to(path))) for each in inside]
    return files, many
