"""The file formats: how each is recognised, read and written, and what a file holds.

A file is recognised by its content. Your own format takes one call: `register(Format(...))`. The
modules of the built-in formats are imported only when a file of that format is read or written.
"""

from __future__ import annotations

import codecs
import os
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any, BinaryIO, Generic, TypeVar

import numpy as np

from lutbench import files
from lutbench.errors import FormatError, LutbenchError
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


HEAD_BYTES = 64 * 1024
"""Bytes at the start of a file by which its format is recognised."""


def open_lut(path: str | os.PathLike[str] | BinaryIO) -> Transform:
    """The LUT or transform in a file, whose format is recognised by its content, not its suffix.

    Parameters
    ----------
    path
        A path; ``FILE#ID`` for one correction of a CDL file that holds several; ``-`` for
        standard input; or a stream of bytes that is open for reading.

    Returns
    -------
    Transform
        A `Lut1D`, `Lut3D` or `ShaperLut3D`; for other files their exact transform.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or its format is not known.
    """
    return read_lut_file(path).lut


def read_lut_file(path: str | os.PathLike[str] | BinaryIO) -> LutFile[Transform]:
    """As `open_lut`, with the name of the format and notes on what was tolerated."""
    if not isinstance(path, str | os.PathLike):
        return _read_stream(path)
    path = Path(path) if not isinstance(path, str) else path
    if path == "-":
        return _read_stream(sys.stdin.buffer, "standard input")
    path, wanted = _with_fragment(path)
    return parse_lut(files.read_bytes(path, limit=MAX_BYTES), str(path), wanted)


def _read_stream(stream: Any, name: str = "") -> LutFile[Transform]:
    """The LUT in a stream of bytes, which may be as long as a file."""
    read = getattr(stream, "read", None)
    if not callable(read):
        raise LutbenchError(
            f"{stream!r:.60} is not a LUT file", accepted="a path, or a stream of bytes"
        )
    given = getattr(stream, "name", "")
    name = name or (given if isinstance(given, str) else "") or "a stream"
    try:
        data = read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        raise LutbenchError(f"cannot read: {error}", where=name) from error
    if not isinstance(data, bytes):
        raise LutbenchError("a stream of text", where=name, accepted="a stream of bytes")
    if len(data) > MAX_BYTES:
        raise LutbenchError("is too large", where=name, accepted=f"up to {MAX_BYTES} bytes")
    return parse_lut(data, name)


def parse_lut(data: bytes, where: str, wanted: str | None = None) -> LutFile[Transform]:
    """The LUT in the bytes of a file; `where` names it, `wanted` is the id of a correction.

    Raises FormatError when the format is not known, or the file does not follow it.
    """
    head = data[:HEAD_BYTES].removeprefix(codecs.BOM_UTF8).lstrip()
    suffix = Path(where).suffix.lower()
    found = recognised(head, suffix)
    what = _kind(head)
    if found is None and head.startswith(b"<"):
        # The root is not at the beginning, or the XML is not well-formed, which raises here.
        from lutbench.formats import safe_xml

        root = safe_xml.name(safe_xml.parse(data, where))
        found = recognised(f"<{root}>".encode(), suffix)
        what = f"it is XML of another kind, <{root[:40]}>"
    if found is None:
        accepted = ", ".join(each.says for each in formats())
        raise FormatError(f"is not a LUT file that is read: {what}", where=where, accepted=accepted)
    if wanted is not None and not found.ids:
        raise FormatError("has no corrections with ids", where=where, accepted="a CDL file")
    return found.parse(data, where, wanted)


def _with_fragment(path: str | Path) -> tuple[str | Path, str | None]:
    """The path, and the id after ``#`` if no file has the whole name."""
    base, separator, fragment = str(path).rpartition("#")
    if not separator or not base or os.path.exists(path):
        return path, None
    return base, fragment


def _kind(head: bytes) -> str:
    """What the file is instead, in words."""
    if not head:
        return "it is empty"
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "it is UTF-16 text"
    if b"\0" in head:
        return "it is binary data"
    first = head.splitlines()[0][:40].decode("latin-1")
    return f"it begins with {''.join(c if c.isprintable() else ' ' for c in first)!r}"


@dataclass(frozen=True)
class NamedFile:
    """A file, and its name in reports: its own, or relative to the folder that was given."""

    path: str
    name: str


def lut_files(given: Sequence[str], *, luts_only: bool = False) -> tuple[list[NamedFile], bool]:
    """The files that are given or in given folders, and whether there may be several.

    In a folder only files with the suffix of a known format count; with `luts_only`, of a
    format that can hold a LUT.

    Raises LutbenchError for a folder without a LUT.
    """
    accepted = suffixes(luts_only=luts_only)
    files: list[NamedFile] = []
    many = len(given) > 1
    if many and "-" in given:
        raise LutbenchError("stands for one LUT, on standard input", where="-", accepted="- alone")
    for name in given:
        path = Path(name)
        if not path.is_dir():
            files.append(NamedFile(name, path.name))
            continue
        many = True
        found = (each for each in path.rglob("*") if each.suffix.lower() in accepted)
        inside = sorted(filter(Path.is_file, found), key=lambda each: str(each).casefold())
        if not inside:
            raise LutbenchError(
                "holds no LUT", where=path, accepted=f"files that end in {', '.join(accepted)}"
            )
        files += [NamedFile(str(each), str(each.relative_to(path))) for each in inside]
    return files, many
