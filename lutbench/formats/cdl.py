"""ASC CDL files: ``.cdl`` (a decision list), ``.cc`` (one correction), ``.ccc`` (a collection).

Source: "ASC Color Decision List (ASC CDL) Transfer Functions and Interchange
Syntax", version 1.2 (from memory): element names, namespace, the order of the
operations. The files do not say whether values are clamped, so a correction read here
is clamped as in version 1.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lutbench import files
from lutbench.errors import DefinitionError, FormatError, LutbenchError, MissingExtraError
from lutbench.formats import safe_xml as xml
from lutbench.formats.decimals import number
from lutbench.formats.registry import LutFile, Writing
from lutbench.model.grade import Cdl, Triple
from lutbench.model.transforms import Transform

if TYPE_CHECKING:
    from lxml.etree import _Element as Element
else:
    Element = Any

Written = tuple[bytes, tuple[str, ...]]

NAMESPACE = "urn:ASC:CDL:v1.2"

ROOTS = {
    "ColorDecisionList": "cdl",
    "ColorCorrection": "cc",
    "ColorCorrectionCollection": "ccc",
}

UNSAID_CLAMP = "a CDL file cannot say that values are not clamped: its reader will clamp them"

_SATURATION_NAMES = ("SatNode", "SATNode")


@dataclass(frozen=True)
class Correction:
    """One colour correction of a file: its CDL, its id and its descriptions."""

    cdl: Cdl
    id: str = ""
    descriptions: tuple[str, ...] = ()


def read_corrections(path: str | Path) -> tuple[Correction, ...]:
    """All corrections of a ``.cdl``, ``.cc`` or ``.ccc`` file, in document order.

    Raises
    ------
    LutbenchError
        When the file cannot be read.
    FormatError
        When it is none of the three, with the line.
    """
    where = str(path)
    root = xml.parse(files.read_bytes(path, limit=xml.MAX_BYTES), where)
    return corrections_of(root, where)[0]


def parse_cdl(data: bytes, where: str = "", wanted: str | None = None) -> LutFile[Cdl]:
    """The correction in the bytes of a file: the one with the id `wanted`, or the only one.

    Raises
    ------
    FormatError
        When the file is not a CDL, or has no such correction, or several without an id wanted.
    """
    root = xml.parse(data, where)
    found, notes = corrections_of(root, where)
    ids = ", ".join(each.id or "(none)" for each in found[:20])
    if wanted is not None:
        found = tuple(each for each in found if each.id == wanted)
        if not found:
            raise FormatError(f"no correction has the id {wanted!r}", where=where, accepted=ids)
    if len(found) > 1:
        raise FormatError(
            f"holds {len(found)} corrections", where=where, accepted=f"FILE#ID with one of: {ids}"
        )
    only = found[0]
    return LutFile(only.cdl, ROOTS[xml.name(root)], notes, only.id, only.descriptions)


def corrections_of(root: Element, where: str) -> tuple[tuple[Correction, ...], tuple[str, ...]]:
    """The corrections of a parsed document, and notes on irregularities that were tolerated."""
    if xml.name(root) not in ROOTS:
        raise FormatError(
            f"<{xml.name(root)}> is not a CDL", where=xml.at(root, where), accepted=", ".join(ROOTS)
        )
    notes: dict[str, None] = {}
    if not xml.namespace(root).lower().startswith("urn:asc:cdl:"):
        notes["no namespace of the ASC CDL"] = None
    elements = [root] if xml.name(root) == "ColorCorrection" else []
    for parent in (root, *xml.children(root, "ColorDecision")):
        elements += xml.children(parent, "ColorCorrection")
        if xml.children(parent, "ColorCorrectionRef"):
            notes["references to corrections elsewhere were ignored"] = None
    if not elements:
        raise FormatError(
            "holds no correction", where=where, accepted="at least one ColorCorrection"
        )
    return tuple(_correction(each, where, notes) for each in elements), tuple(notes)


def _correction(element: Element, where: str, notes: dict[str, None]) -> Correction:
    sop = _only(element, where, "SOPNode")
    saturation = _only(element, where, *_SATURATION_NAMES)
    if sop is None and saturation is None:
        raise FormatError(
            "a correction without SOPNode and SatNode",
            where=xml.at(element, where),
            accepted="at least one of them",
        )
    if saturation is not None and xml.name(saturation) != "SatNode":
        notes["SatNode in capitals"] = None
    try:
        cdl = Cdl(
            _triple(sop, where, "Slope", 1.0, notes),
            _triple(sop, where, "Offset", 0.0, notes),
            _triple(sop, where, "Power", 1.0, notes),
            _numbers(saturation, where, "Saturation", 1, 1.0, notes)[0],
        )
    except DefinitionError as error:
        raise FormatError(
            error.what, where=xml.at(element, where), accepted=error.accepted
        ) from error
    described = [
        xml.text(each)
        for parent in (element, sop, saturation)
        if parent is not None
        for each in xml.children(parent, "Description")
    ]
    identity = xml.fit(element.get("id") or "")
    return Correction(cdl, identity, tuple(filter(None, described)))


def _only(element: Element, where: str, *names: str) -> Element | None:
    found = xml.children(element, *names)
    if len(found) > 1:
        raise FormatError(
            f"{names[0]} twice in one correction", where=xml.at(found[1], where), accepted="one"
        )
    return found[0] if found else None


def _triple(
    parent: Element | None, where: str, name: str, default: float, notes: dict[str, None]
) -> Triple:
    red, green, blue = _numbers(parent, where, name, 3, default, notes)
    return red, green, blue


def _numbers(
    parent: Element | None,
    where: str,
    name: str,
    count: int,
    default: float,
    notes: dict[str, None],
) -> list[float]:
    element = None if parent is None else _only(parent, where, name)
    if element is None:
        if parent is not None:
            notes[f"no {name}, taken as {default:g}"] = None
        return [default] * count
    values = [number(token) for token in xml.text(element).encode("utf-8").split()]
    if len(values) != count or None in values:
        raise FormatError(
            f"{name} {xml.text(element)[:60]!r}",
            where=xml.at(element, where),
            accepted="three finite numbers" if count == 3 else "a finite number",
        )
    return [value for value in values if value is not None]


def write_cdl(
    corrections: Cdl | Correction | Sequence[Correction], path: str | Path, *, force: bool = False
) -> tuple[str, ...]:
    """Write corrections to `path`; its suffix, .cdl, .cc or .ccc, decides the form.

    Returns notes on what the file cannot express.

    Raises
    ------
    LutbenchError
        For another suffix, for several corrections in a ``.cc``, or if the file exists and
        `force` is not set.
    """
    kind = Path(path).suffix.lower().removeprefix(".")
    given: Sequence[Correction]
    if isinstance(corrections, Cdl):
        given = [Correction(corrections)]
    else:
        given = [corrections] if isinstance(corrections, Correction) else corrections
    data = format_cdl(given, kind, where=str(path))
    files.write_bytes(path, data, force=force)
    if all(each.cdl.clamp for each in given):
        return ()
    return (UNSAID_CLAMP,)


def write_as_cdl(transform: Transform, how: Writing, kind: str = "cdl") -> Written:
    """The bytes of a CDL file with the CDL `transform`, and notes.

    Raises
    ------
    LutbenchError
        For any other transform.
    """
    if not isinstance(transform, Cdl):
        raise LutbenchError(
            f"a .{kind} can hold only a CDL", where=how.where, accepted=".cube or .clf"
        )
    correction = Correction(transform, how.title, how.comments)
    notes = () if transform.clamp else (UNSAID_CLAMP,)
    return format_cdl([correction], kind, where=how.where), notes


write_as_cc = partial(write_as_cdl, kind="cc")
write_as_ccc = partial(write_as_cdl, kind="ccc")


def format_cdl(corrections: Sequence[Correction], kind: str, where: str = "") -> bytes:
    """The bytes of a file of `kind` ``cdl``, ``cc`` or ``ccc``.

    >>> print(format_cdl([Correction(Cdl(), "a")], "cc").decode().splitlines()[1])
    <ColorCorrection xmlns="urn:ASC:CDL:v1.2" id="a">
    """
    try:
        from lxml import etree
    except ImportError as error:
        raise MissingExtraError("lxml", "clf", "reading and writing CLF and CDL") from error

    roots = {kind: root for root, kind in ROOTS.items()}
    if kind not in roots:
        raise LutbenchError(f"{kind!r} is not a CDL file", where=where, accepted=".cdl, .cc, .ccc")
    if not corrections or (kind == "cc" and len(corrections) != 1):
        raise LutbenchError(
            f"{len(corrections)} corrections for a .{kind}",
            where=where,
            accepted="one" if kind == "cc" else "one or more",
        )
    ids = [each.id for each in corrections if each.id]
    if len(set(ids)) != len(ids):
        raise LutbenchError(
            "two corrections have the same id", where=where, accepted="a different id for each"
        )

    def tag(local: str) -> str:
        return f"{{{NAMESPACE}}}{local}"

    # The stubs know no default namespace; lxml writes it for the prefix None.
    root = etree.Element(tag(roots[kind]), nsmap={None: NAMESPACE})  # type: ignore[dict-item]
    for each in corrections:
        parent = root
        if kind == "cdl":
            parent = etree.SubElement(root, tag("ColorDecision"))
        node = root if kind == "cc" else etree.SubElement(parent, tag("ColorCorrection"))
        if each.id:
            node.set("id", xml.fit(each.id))
        sop = etree.SubElement(node, tag("SOPNode"))
        for line in each.descriptions:
            etree.SubElement(sop, tag("Description")).text = xml.fit(line)
        for local in ("Slope", "Offset", "Power"):
            values = getattr(each.cdl, local.lower())
            etree.SubElement(sop, tag(local)).text = " ".join(repr(float(v)) for v in values)
        saturation = etree.SubElement(node, tag("SatNode"))
        etree.SubElement(saturation, tag("Saturation")).text = repr(float(each.cdl.saturation))
    return xml.serialised(root)
