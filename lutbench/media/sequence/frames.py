"""The frames of a folder or a frame pattern, and the output file of each.

A frame pattern is a file name in which ``####`` (one sign for each digit) or ``%04d`` stands for
the frame number, as in ``shot.####.dpx``.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from lutbench.errors import LutbenchError
from lutbench.files import unreadable
from lutbench.media.names import FRAME_NUMBER, STILL_SUFFIXES, is_pattern


@dataclass(frozen=True)
class SequenceFrame:
    """One still of a sequence: its file, and its output file."""

    source: Path
    target: Path


@dataclass(frozen=True)
class FramePattern:
    """A file name with a frame number in it.

    >>> pattern = FramePattern.parse("out/shot.####.dpx")
    >>> pattern.path(12).as_posix()
    'out/shot.0012.dpx'
    >>> pattern.number("shot.10001.dpx"), pattern.number("shot.12.dpx")
    (10001, None)
    """

    folder: Path
    before: str
    after: str
    digits: int

    @classmethod
    def parse(cls, path: str | Path) -> FramePattern:
        """The pattern in the file name of a path.

        Raises
        ------
        LutbenchError
            When there is no placeholder for the number, or more than one.
        """
        path = Path(path)
        places = list(FRAME_NUMBER.finditer(path.name))
        if len(places) != 1:
            raise LutbenchError(
                f"{len(places) or 'no'} placeholders for the frame number in {path.name!r}",
                accepted="one, such as shot.####.dpx or shot.%04d.exr",
            )
        place = places[0]
        digits = int(place.group(1) or 1) if place.group().startswith("%") else len(place.group())
        if digits > 18:
            raise LutbenchError(f"{digits} digits in {path.name!r}", accepted="18 at most")
        return cls(path.parent, path.name[: place.start()], path.name[place.end() :], digits)

    @property
    def name(self) -> str:
        """The file name with one # for each digit."""
        return f"{self.before}{'#' * self.digits}{self.after}"

    def path(self, number: int) -> Path:
        """The file of a frame."""
        return self.folder / f"{self.before}{number:0{self.digits}d}{self.after}"

    def number(self, name: str) -> int | None:
        """The frame number in a file name, or None where it does not match."""
        if not (name.startswith(self.before) and name.endswith(self.after)):
            return None
        text = name[len(self.before) : len(name) - len(self.after)]
        if not (text.isascii() and text.isdigit()) or f"{int(text):0{self.digits}d}" != text:
            return None
        return int(text)

    def numbers(self) -> list[int]:
        """The frame numbers of existing files, in order."""
        found = (self.number(name) for name in _names(self.folder))
        return sorted(each for each in found if each is not None)


@dataclass(frozen=True)
class FrameList:
    """The frames of a run, in order.

    `target` is the output folder, `name` the pattern of file names in it (one # for each
    digit), and `gaps` the first and last of each run of missing numbers.
    """

    frames: tuple[SequenceFrame, ...]
    source: Path
    target: Path
    name: str
    gaps: tuple[tuple[int, int], ...] = ()


def list_frames(source: str | Path, target: str | Path, suffix: str | None = None) -> FrameList:
    """The frames of `source`, each with its output file in `target`.

    Parameters
    ----------
    source
        A folder (its stills by name, without those in folders below) or a frame pattern.
    target
        A folder, or for a frame pattern another frame pattern.
    suffix
        The suffix of files written into a folder, such as ``".png"``; by default that of each
        source.

    Raises
    ------
    LutbenchError
        When there is no frame, two frames would get the same file, or a frame would be
        written over its source.
    """
    source, target = Path(source), Path(target)
    gaps: tuple[tuple[int, int], ...] = ()
    if is_pattern(source):
        pattern = FramePattern.parse(source)
        numbers = _numbers(pattern, source)
        gaps = tuple(_gaps(numbers))
        if is_pattern(target):
            goal = FramePattern.parse(target)
        else:
            _refuse_file(target)
            after = pattern.after if suffix is None else _with_suffix(pattern.after, suffix)
            goal = FramePattern(target, pattern.before, after, pattern.digits)
        frames = [SequenceFrame(pattern.path(number), goal.path(number)) for number in numbers]
        target, name = goal.folder, goal.name
    else:
        if is_pattern(target):
            raise LutbenchError("is a frame pattern", where=target, accepted="a folder")
        _refuse_file(target)
        frames = [
            SequenceFrame(
                each,
                target / (each.name if suffix is None else _with_suffix(each.name, suffix)),
            )
            for each in source_frames(source)
        ]
        name = "stills"
    _check_targets(frames)
    return FrameList(tuple(frames), source, target, name, gaps)


def source_frames(source: str | Path) -> list[Path]:
    """The files of a folder of stills or a frame pattern, in order.

    Raises
    ------
    LutbenchError
        When there is no such file.
    """
    source = Path(source)
    if is_pattern(source):
        pattern = FramePattern.parse(source)
        return [pattern.path(number) for number in _numbers(pattern, source)]
    stills = [name for name in _names(source) if Path(name).suffix.lower() in STILL_SUFFIXES]
    if not stills:
        raise LutbenchError(
            "the folder holds no still", where=source, accepted=", ".join(STILL_SUFFIXES)
        )
    return [source / each for each in stills]


def _numbers(pattern: FramePattern, source: Path) -> list[int]:
    numbers = pattern.numbers()
    if not numbers:
        raise LutbenchError("no file matches this pattern", where=source)
    return numbers


def _names(folder: Path) -> list[str]:
    """The names of the files in a folder, sorted, without hidden ones."""
    try:
        with os.scandir(folder) as entries:
            return sorted(
                entry.name for entry in entries if entry.name[:1] != "." and entry.is_file()
            )
    except OSError as error:
        raise unreadable(folder, error) from error


def _with_suffix(name: str, suffix: str) -> str:
    return name[: len(name) - len(Path(f"x{name}").suffix)] + suffix


def _refuse_file(target: Path) -> None:
    if target.exists() and not target.is_dir():
        raise LutbenchError("is a file", where=target, accepted="a folder for the frames")


def _gaps(numbers: Sequence[int]) -> list[tuple[int, int]]:
    """The runs of missing numbers, as pairs of first and last."""
    return [(one + 1, two - 1) for one, two in pairwise(numbers) if two > one + 1]


def _check_targets(frames: Sequence[SequenceFrame]) -> None:
    sources = {os.path.realpath(frame.source) for frame in frames}
    seen: dict[str, Path] = {}
    for frame in frames:
        goal = os.path.realpath(frame.target)
        if goal in sources:
            raise LutbenchError(
                "a frame would be written over a source", where=frame.target, accepted="another OUT"
            )
        # Compared without letter case: on many disks a.PNG and a.png are the same file.
        other = seen.setdefault(goal.casefold(), frame.source)
        if other != frame.source:
            raise LutbenchError(
                f"{other.name} and {frame.source.name} would get the same file",
                where=frame.target,
            )
