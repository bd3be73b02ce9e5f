"""CDLs from the comments of an edit decision list.

``* ASC_SOP (s s s)(o o o)(p p p)`` and ``* ASC_SAT x`` after an event, as the ASC CDL 1.2
specification (2009) defines them for CMX 3600 lists (from memory).
"""

from __future__ import annotations

import re
from pathlib import Path

from lutbench import files
from lutbench.errors import FormatError
from lutbench.model.grade import Cdl

MAX_BYTES = 64 << 20
"""Bytes of a list: that of a feature film has a few megabytes."""

_EVENT = re.compile(r"^\s*(\d{3,6})\s+(\S+)\s")
_SOP = re.compile(
    r"^\s*\*\s*ASC_SOP[\s:]*\(([^()]*)\)\s*\(([^()]*)\)\s*\(([^()]*)\)", re.IGNORECASE
)
_SAT = re.compile(r"^\s*\*\s*ASC_SAT[\s:]*(\S+)", re.IGNORECASE)


def cdls_of_edl(path: str | Path) -> dict[str, Cdl]:
    """The CDLs of an edit decision list by event, such as ``"001 A001C003"``.

    Parameters
    ----------
    path
        The list, text of at most 64 MiB.

    Returns
    -------
    dict
        From number and reel of an event to its CDL, in the list's order; events without a CDL
        are left out.

    Raises
    ------
    LutbenchError
        When the file cannot be read, has a malformed CDL, or has none.
    """
    text = files.read_bytes(path, limit=MAX_BYTES).decode("utf-8-sig", "replace")
    found: dict[str, dict[str, object]] = {}
    event = ""
    for number, line in enumerate(text.splitlines(), 1):
        where = f"{path}:{number}"
        if match := _EVENT.match(line):
            event = f"{match[1]} {match[2]}"
        elif match := _SOP.match(line):
            triples = [_numbers(part, 3, where) for part in match.groups()]
            keys = ("slope", "offset", "power")
            found.setdefault(event, {}).update(zip(keys, triples, strict=True))
        elif match := _SAT.match(line):
            found.setdefault(event, {})["saturation"] = _numbers(match[1], 1, where)[0]
        elif re.match(r"^\s*\*\s*ASC_(SOP|SAT)", line, re.IGNORECASE):
            raise FormatError(
                "is not a CDL", where=where, accepted="* ASC_SOP (r g b)(r g b)(r g b)"
            )
    if not found:
        raise FormatError("has no CDL in its comments", where=path, accepted="* ASC_SOP, * ASC_SAT")
    return {name: Cdl(**values) for name, values in found.items()}  # type: ignore[arg-type]


def _numbers(text: str, count: int, where: str) -> tuple[float, ...]:
    try:
        numbers = tuple(float(each) for each in text.replace(",", " ").split())
    except ValueError:
        numbers = ()
    if len(numbers) != count:
        raise FormatError(
            f"{text[:40]!r} is not {count} numbers", where=where, accepted="1.0 0.9 1.1"
        )
    return numbers
