"""The file formats: how each is recognised, read and written, and what a file holds.

Your own format takes one call: `register(Format(...))`. The modules of the built-in formats
are imported only when a file of that format is read or written.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any, Generic, TypeVar

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import UNIT_DOMAIN, USUAL_SIZE, Interpolation

_CUBE_KEYWORD = re.compile(rb"^\s*(LUT_[13]D_SIZE|TITLE|DOMAIN_M)", re.IGNORECASE | re.MULTILINE)

# The name of the first element, after declarations and comments.
_XML_ROOT = re.compile(rb"(?:\s|<\?.*?\?>|<!--.*?-->)*<(?:[\w.-]+:)?([\w.-]+)", re.DOTALL)


T_co = TypeVar("T_co", bound=Transform, covariant=True)

MAX_BYTES = 512 * 1024 * 1024
"""Bytes of the largest file that is read."""


@dataclass(frozen=True)
class LutFile(Generic[T_co]):
    """A file that was read.

    Parameters
    ----------
    lut
        What the file holds: a LUT, or for other formats a transform.
    format
        ``"cube"``, ``"clf"``, ``"cdl"``, ``"cc"`` or ``"ccc"``.
    notes
        One line for each irregularity that was tolerated or ignored; empty for a file that
        follows its format.
    title, comments
        The title and comments of the file.
    """

    lut: T_co
    format: str
    notes: tuple[str, ...] = ()
    title: str = ""
    comments: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Writing:
    """How to write a file, and what to write beside the transform.

    Parameters
    ----------
    title, comments
        The title and comments of the file; comments without the leading ``#``.
    size
        Nodes along an edge of a 3D LUT, if one has to be sampled.
    domain
        The range of inputs of the file, shape (2, 3).
    interpolation
        The interpolation of a sampled 3D LUT.
    decimals
        Digits after the point in a text format; None for as many as read back exactly.
    where
        Names the file in errors.
    """

    title: str = ""
    comments: tuple[str, ...] = ()
    size: int = USUAL_SIZE
    domain: Array | tuple[tuple[float, ...], ...] = UNIT_DOMAIN
    interpolation: Interpolation = "tetrahedral"
    decimals: int | None = 6
    where: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "domain", np.asarray(self.domain, dtype=np.float64))


@dataclass(frozen=True)
class Format:
    """A file format.

    Parameters
    ----------
    name
        The name in reports, such as ``"cube"``.
    suffix
        In lower case, with the point: ``".cube"``.
    says
        The name in messages, such as "a .cube LUT".
    recognises
        Whether a file has this format, from its first 64 KiB (without a byte order mark or
        leading blanks) and its suffix.
    parse
        From the bytes of a file, its name for errors, and the id after ``#`` (or None) to a
        `LutFile`.
    write
        From a transform and a `Writing` to the bytes of a file and notes on what it cannot
        express.
    tables_only
        Whether it holds only sampled tables, and cannot say how to interpolate.
    luts
        Whether it can hold a LUT; a CDL file cannot.
    ids
        Whether it may hold several transforms, each with an id.
    """

    name: str
    suffix: str
    says: str
    recognises: Callable[[bytes, str], bool]
    parse: Callable[[bytes, str, str | None], LutFile[Transform]]
    write: Callable[[Transform, Writing], tuple[bytes, tuple[str, ...]]]
    tables_only: bool = False
    luts: bool = True
    ids: bool = False


def _later(module: str, function: str) -> Callable[..., Any]:
    """A function of a module that is imported when it is first called."""

    def call(*given: Any) -> Any:
        return getattr(import_module(f"lutbench.formats.{module}"), function)(*given)

    return call


def _is_cube(head: bytes, suffix: str) -> bool:
    if head.startswith(b"<"):
        return False
    return suffix == ".cube" or bool(_CUBE_KEYWORD.search(head.replace(b"\r", b"\n")))


def _has_root(name: str) -> Callable[[bytes, str], bool]:
    return lambda head, suffix: xml_root(head) == name


def xml_root(head: bytes) -> str:
    """The name of the root element of an XML text, without a prefix; empty if it is not found.

    >>> xml_root(b"<?xml version='1.0'?><!-- one --><a:ColorCorrection id='x'>")
    'ColorCorrection'
    """
    found = _XML_ROOT.match(head) if head.startswith(b"<") else None
    return found[1].decode("ascii", "replace") if found else ""


def _cdl(name: str, root: str) -> Format:
    read, write = _later("cdl", "parse_cdl"), _later("cdl", f"write_as_{name}")
    says = f"a .{name} file"
    return Format(name, f".{name}", says, _has_root(root), read, write, luts=False, ids=True)


_formats: list[Format] = [
    Format(
        "cube",
        ".cube",
        "a .cube LUT",
        _is_cube,
        _later("cube", "parse_cube"),
        _later("cube_write", "write_as_cube"),
        tables_only=True,
    ),
    Format(
        "clf",
        ".clf",
        "a CLF file",
        _has_root("ProcessList"),
        _later("clf_read", "parse_clf"),
        _later("clf_write", "write_as_clf"),
    ),
    _cdl("cdl", "ColorDecisionList"),
    _cdl("cc", "ColorCorrection"),
    _cdl("ccc", "ColorCorrectionCollection"),
]


def formats() -> tuple[Format, ...]:
    """All formats, in the order in which they are tried on a file."""
    return tuple(_formats)


def register(format: Format) -> None:
    """Add a format, which is tried before the built-in ones.

    Raises
    ------
    LutbenchError
        When its name or suffix is taken.
    """
    if any(each.name == format.name or each.suffix == format.suffix for each in _formats):
        raise LutbenchError(
            f"the format {format.name!r} ({format.suffix}) exists already",
            accepted="another name and suffix",
        )
    _formats.insert(0, format)


def unregister(format: Format) -> None:
    """Remove a format that `register` added."""
    _formats.remove(format)


def suffixes(*, luts_only: bool = False) -> tuple[str, ...]:
    """The suffixes of all formats, or of those that can hold a LUT."""
    return tuple(each.suffix for each in _formats if each.luts or not luts_only)


def format_for(path: str | Path) -> Format:
    """The format in which to write a file, by its suffix.

    Raises
    ------
    LutbenchError
        When no format has that suffix.
    """
    suffix = Path(path).suffix.lower()
    for each in _formats:
        if each.suffix == suffix:
            return each
    raise LutbenchError(
        f"no format has the suffix {suffix!r}",
        where=path,
        accepted=", ".join(suffixes()),
    )


def recognised(head: bytes, suffix: str) -> Format | None:
    """The format of a file that begins with `head`; None if it is not known."""
    return next((each for each in _formats if each.recognises(head, suffix)), None)
