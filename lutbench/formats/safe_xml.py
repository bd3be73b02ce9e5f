"""Parse XML of unknown origin: without entities, network access or a DTD."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from lutbench.errors import FormatError, MissingExtraError
from lutbench.given import harmless

if TYPE_CHECKING:
    from lxml.etree import _Element as Element
else:
    Element = Any

MAX_BYTES = 128 * 1024 * 1024
"""Bytes of the largest XML file that is read."""

MAX_DEPTH = 32
"""Levels of nested elements: a CLF has about five."""

MAX_ELEMENTS = 100_000
"""Elements of a file: few are needed, as all numbers of a LUT are in one."""

# Characters that XML cannot hold; all but the last two ranges also disturb a terminal.
_UNFIT = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")

_DECLARED_ENCODING = re.compile(rb"^<\?xml[^>]{0,200}?encoding\s*=\s*[\"']([A-Za-z0-9._-]{1,40})")
_ENCODINGS = {b"utf-8", b"us-ascii", b"ascii", b"iso-8859-1", b"latin-1", b"windows-1252"}


def parse(data: bytes, where: str) -> Element:
    """The root element of the document `data`.

    Raises FormatError when it is not well-formed, has an unknown encoding or a document type (which
    could define entities, and no format here needs), or is too deep or too large. MissingExtraError
    when lxml is not installed.
    """
    try:
        from lxml import etree
    except ImportError as error:
        raise MissingExtraError("lxml", "clf", "reading and writing CLF and CDL") from error

    data, encoding = _checked(data, where)
    parser = etree.XMLParser(
        encoding=encoding,
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        dtd_validation=False,
        remove_comments=True,
        remove_pis=True,
        # A lattice is one text node, longer than libxml2 accepts by default. Without a
        # document type there are no entities that could expand.
        huge_tree=True,
    )
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        place = f"{where}:{error.lineno}" if error.lineno else where
        what = str(error.msg).split(", line ")[0]
        raise FormatError(f"is not well-formed XML: {what}", where=place, accepted="XML") from None
    _check_shape(root, where)
    return root


def _checked(data: bytes, where: str) -> tuple[bytes, str]:
    """The text from its first character on, and its encoding; unsafe text is refused."""
    if len(data) > MAX_BYTES:
        raise FormatError(
            f"is too large for XML ({len(data)} bytes)",
            where=where,
            accepted=f"up to {MAX_BYTES} bytes",
        )
    data = data.removeprefix(b"\xef\xbb\xbf").lstrip()
    if b"\0" in data[:4096]:
        raise FormatError("is UTF-16 or binary", where=where, accepted="XML in UTF-8")
    declared = _DECLARED_ENCODING.match(data)
    encoding = declared[1].lower() if declared else b"utf-8"
    if encoding not in _ENCODINGS:
        raise FormatError(
            f"is XML in {encoding.decode('ascii')!r}", where=f"{where}:1", accepted="UTF-8"
        )
    # In an encoding that includes ASCII this finds every DOCTYPE.
    doctype = data.find(b"<!DOCTYPE")
    if doctype >= 0:
        line = 1 + data.count(b"\n", 0, doctype)
        raise FormatError(
            "has a document type, which is not read",
            where=f"{where}:{line}",
            accepted="XML without <!DOCTYPE>",
        )
    return data, encoding.decode("ascii")


def _check_shape(root: Element, where: str) -> None:
    from lxml import etree

    depth = deepest = count = 0
    for event, _ in etree.iterwalk(root, events=("start", "end")):
        depth += 1 if event == "start" else -1
        deepest = max(deepest, depth)
        count += event == "start"
    if deepest > MAX_DEPTH or count > MAX_ELEMENTS:
        raise FormatError(
            f"has {count} elements, {deepest} deep",
            where=where,
            accepted=f"up to {MAX_ELEMENTS} elements, {MAX_DEPTH} deep",
        )


def name(element: Element) -> str:
    """The name of an element without its namespace."""
    from lxml import etree

    return str(etree.QName(element).localname)


def namespace(element: Element) -> str:
    """The namespace of an element; empty without one."""
    from lxml import etree

    return etree.QName(element).namespace or ""


def children(element: Element, *names: str) -> list[Element]:
    """The children of these names, in document order, whatever their namespace."""
    return [child for child in element if name(child) in names]


def text(element: Element | None) -> str:
    """The text of an element, on one line; empty without text."""
    return " ".join((element.text or "").split()) if element is not None else ""


def fit(text: str) -> str:
    """`text` with a space for each character that XML cannot hold or that misleads a reader."""
    return _UNFIT.sub(" ", harmless(text, " "))


def at(element: Element, where: str) -> str:
    """File and line of an element, for an error."""
    return f"{where}:{element.sourceline}" if element.sourceline else where


def serialised(root: Element) -> bytes:
    """The document as UTF-8 with a declaration, indented, ended by a line feed."""
    from lxml import etree

    return bytes(etree.tostring(root, encoding="UTF-8", xml_declaration=True, pretty_print=True))
