"""The file formats: how each is told, read and written, and what is read from a file.

A format of one's own is one call: `register(Format(...))`. The modules of the built-in
formats are imported when a file of theirs comes, not before.
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

# The name of the first element: declarations and comments may stand before it.
_XML_ROOT = re.compile(rb"(?:\s|<\?.*?\?>|<!--.*?-->)*<(?:[\w.-]+:)?([\w.-]+)", re.DOTALL)


T_co = TypeVar("T_co", bound=Transform, covariant=True)

MAX_BYTES = 512 * 1024 * 1024
"""The largest file that is read."""


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
        One line for each thing that is not as the format says but was read all
        the same, or was left out; empty for a file without blemish.
    title, comments
        What the file says about itself.
    """

    lut: T_co
    format: str
    notes: tuple[str, ...] = ()
    title: str = ""
    comments: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Writing:
    """What a file is to say beside the transform that it holds.

    Parameters
    ----------
    title, comments
        What the file says about itself; comments without the leading ``#``.
    size
        Of a 3D LUT, where the format has to sample one.
    domain
        Shape (2, 3): the inputs that the file is for.
    interpolation
        Between the nodes of such a LUT.
    decimals
        Digits after the point in a text format; None for as many as come back exactly.
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
        As reports name it: ``"cube"``.
    suffix
        In small letters, with the point: ``".cube"``.
    says
        What a message calls such a file: "a .cube LUT".
    recognises
        Whether a file is one, from its first 64 KiB (without a byte order mark or blanks
        before the first character) and its suffix.
    parse
        The bytes of a file, its name for errors, and the id after ``#`` (None without one)
        into a `LutFile`.
    write
        A transform, and what the file is to say (a `Writing`), into the bytes and notes
        of what the file cannot say.
    tables_only
        It holds sampled tables and nothing else, and does not say how to interpolate.
    luts
        Whether it can hold a LUT at all; a CDL file cannot.
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
    """The name of the root element of an XML text, without a prefix; empty where none is seen.

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
    """All formats, in the order in which a file is tried on them."""
    return tuple(_formats)


def register(format: Format) -> None:
    """Read and write another format from now on; it is tried before the built-in ones.

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
    """Forget a format that `register` added."""
    _formats.remove(format)


def suffixes(*, luts_only: bool = False) -> tuple[str, ...]:
    """The suffixes of all formats, or of those that can hold a LUT."""
    return tuple(each.suffix for each in _formats if each.luts or not luts_only)


def format_for(path: str | Path) -> Format:
    """The format that the suffix of a file to be written asks for.

    Raises
    ------
    LutbenchError
        When it asks for none that is written.
    """
    suffix = Path(path).suffix.lower()
    for each in _formats:
        if each.suffix == suffix:
            return each
    raise LutbenchError(
        f"the suffix {suffix!r} is not a format that is written",
        where=path,
        accepted=", ".join(suffixes()),
    )


def recognised(head: bytes, suffix: str) -> Format | None:
    """The format of a file that begins with `head`; None where it cannot be read."""
    return next((each for each in _formats if each.recognises(head, suffix)), None)
