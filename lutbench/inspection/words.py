"""The verdict: what a LUT does and what to watch, in two sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lutbench.inspection.inspection import Inspection

_KINDS = {
    "identity": "It changes nothing",
    "curve": "It changes tone only, each channel by itself",
    "gamut": "It changes colours and leaves greys as they are (the curve that comes in goes out)",
    "combined": "It changes tone and colour",
}


def verdict(found: Inspection) -> str:
    """Two sentences: what it does, and what is wrong or worth knowing."""
    return f"{_what(found)}. {_care(found)}."


def _what(found: Inspection) -> str:
    if any(each.code == "false_colour" for each in found.findings):
        return "It is false colour: bands of exposure, each painted in a colour of its own"
    text = _KINDS[found.kind]
    if found.kind in ("curve", "combined"):
        grey_in, grey_out = 100 * found.mid_grey_in, 100 * found.mid_grey_out
        if found.source_curve is not None:
            text += f": mid grey goes in at {grey_in:.0f} % and comes out at {grey_out:.0f} %"
        else:
            text += f": {grey_in:.0f} % in comes out at {grey_out:.0f} %"
        high = found.neutral.clip_high
        if high is not None and high.share > found.limits["clipped_highlights"]:
            text += f", and all above {100 * high.onset:.0f} % comes out as one white"
    return text


def _care(found: Inspection) -> str:
    bad = [each for each in found.findings if each.severity != "info"]
    if not bad:
        told = [each for each in found.findings if each.code.startswith("legal_range")]
        if told:
            return f"No defect was found, but mind the range: {told[0].message}"
        return "No defect was found"
    first = bad[0].message
    more = len(bad) - 1
    word = "Do not use it" if found.worst == "error" else "Take care"
    tail = f" (and {more} more finding{'s' if more > 1 else ''})" if more else ""
    return f"{word}: {first}{tail}"
