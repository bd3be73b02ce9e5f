"""The short answer: a verdict of two sentences, and a box with settings, levels and uses."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lutbench.exposure.reading import CARDS, SKIN, WHITE_CARD, stops_of
from lutbench.formats.comments import coverage_in_comments, ends_in_comments
from lutbench.inspection.findings.grey import LegalWhite
from lutbench.results import PlainData

if TYPE_CHECKING:
    from lutbench.exposure.reading import Level
    from lutbench.inspection.inspection import Inspection

KNOWN_BY = {
    "named": "as you named it",
    "file": "as the file says",
    "project": "as the project file says",
    "identified": "identified from its numbers: a guess",
}
"""How the recording's encoding is known, in words."""

NOT_NAMED = "a recording that the file does not name"

_USES = {
    "combined": ("exposure, contrast and colour on the monitor", ""),
    "curve": ("exposure and contrast", "colour (the recording's gamut stays, and looks pale)"),
    "gamut": ("use before a LUT for tone", "judging a picture (log stays log, flat and grey)"),
    "identity": ("nothing: what goes in comes out", ""),
}

_NOT_FOR = {
    "tint": "white balance by eye (it tints grey)",
    "fold": "keying and matching (some colours double back)",
    "clipped_highlights": "judging highlights (it clips some that the recording holds)",
    "clipped_colours": "saturated light such as LEDs and neon (it clips most of it)",
    "noise": "grading through it (its values are noisy)",
    "stray_node": "anything critical (one node of the table is wrong)",
    "banding": "skies and smooth walls (it causes banding)",
    "non_monotonic": "exposure (in places, brighter comes out darker)",
    "duplicate_nodes": "smooth colour (a plane of the table is written twice)",
    "monochrome": "judging colour (its picture is black and white)",
}


@dataclass(frozen=True)
class BoxLine(PlainData):
    """A subject with its level in percent of the signal, before and after the LUT."""

    KEYS = ("label", "reflectance", "before_percent=before", "after_percent=after")

    label: str
    reflectance: float
    before: float
    after: float


@dataclass(frozen=True)
class Box(PlainData):
    """The short answer, as sentences and a small table of levels.

    `lines` is empty when the recording's encoding is not known; `unsure` then says what
    would settle it. For a LUT that is not `usable`, `not_for` says why, and `unsure` what to do.
    """

    KEYS = (
        *("usable", "expects", "monitor", "levels=lines", "zebra?"),
        *("good_for", "not_for", "unsure?"),
    )

    expects: str
    monitor: str
    lines: tuple[BoxLine, ...]
    zebra: str
    good_for: str
    not_for: tuple[str, ...]
    unsure: str
    usable: bool = True
    """If false, `not_for` is the fault, and `unsure` what to do."""

    @property
    def rows(self) -> list[tuple[str, str]]:
        """The rows that have something to say, as (name, sentence); without the table of levels."""
        named = [
            ("expects", self.expects if self.usable or self.expects != NOT_NAMED else ""),
            ("set the monitor to", self.monitor),
            ("zebra", self.zebra),
            ("good for", self.good_for),
            ("not for" if self.usable else "fault", "; ".join(self.not_for)),
            ("not sure" if self.usable else "cure", self.unsure),
        ]
        return [(name, text) for name, text in named if text]


def box_of(found: Inspection) -> Box:
    """The box of an inspection."""
    if found.worst == "error":
        first = found.findings[0]
        return Box(_expects(found), "", (), "", "nothing, as it stands", (first.message,),
                   first.advice, usable=False)  # fmt: skip
    if _is_false_colour(found):
        use, caution = (
            "judging exposure: each band has a colour",
            "anything but exposure",
        )
    elif instead := _instead_of_a_picture(found):
        use, caution = instead[1], "judging a picture"
    else:
        use, caution = _USES[found.kind]
    cautions = [caution] if caution else []
    if held := coverage_in_comments(found.comments):
        use += f", for what the two pictures it was learnt from hold: {held} (as the file says)"
        cautions.append("other colours (there it is a guess)")
    faults = [_NOT_FOR[each.code] for each in found.findings if _limits_use(each)]
    if not _is_false_colour(found):
        faults.append("delivery")
    not_for = tuple(dict.fromkeys([*cautions, *faults]))
    return Box(_expects(found), _monitor(found), _lines(found), _zebra(found), use, not_for,
               _unsure(found))  # fmt: skip


BRIGHTEST_SIGNAL = 2.0
"""Signal: no monitor shows a white of twice its own; such a table holds light, or per cent."""


def _instead_of_a_picture(found: Inspection) -> tuple[str, str] | None:
    """What comes out of a LUT whose output is not for a monitor, and what that is good for."""
    if found.kind in ("gamut", "identity"):
        return None  # in their own words
    if found.neutral.white > BRIGHTEST_SIGNAL:
        white = f"values up to {found.neutral.white:.3g} come out, not a signal from 0 to 1"
        return white, "pipelines that take such values; no monitor does"
    curve = found.target.curve
    if found.target_known_by and curve.family == "log":
        return f"{curve.name} comes out, not a picture", f"use before a LUT for {curve.name}"
    if found.target_known_by and curve.family == "linear":
        return "linear light comes out, not a picture", "pipelines that take linear light"
    return None


def _is_false_colour(found: Inspection) -> bool:
    return any(each.code == "false_colour" for each in found.findings)


_COUNT_AS_FACTS = ("monochrome", "clipped_highlights", "clipped_colours")
"""Findings that may be intended, but still limit what the LUT is good for."""


def _limits_use(finding: Any) -> bool:
    return finding.code in _NOT_FOR and (
        finding.severity != "info" or finding.code in _COUNT_AS_FACTS
    )


def _expects(found: Inspection) -> str:
    if found.source_curve is None:
        named = ends_in_comments(found.comments).get("source")
        if named is None:
            return NOT_NAMED
        names = ", ".join(name for name in (named.curve, named.gamut) if name)
        return f"{names}, {named.range} range (as the file says, but the curve is not known here)"
    parts = [found.source_curve.name]
    if found.source_gamut is not None:
        parts.append(found.source_gamut.name)
    return f"{', '.join(parts)}, {found.source_range} range ({KNOWN_BY[found.known_by or 'named']})"


def _monitor(found: Inspection) -> str:
    out = "legal" if found.target_range == "legal" else "full"
    if any(each.code == "legal_range_output" for each in found.findings):
        out = "probably legal" if any(LegalWhite().examine(found.health.examined)) else "legal"
    if found.kind == "gamut":
        return f"log still comes out, not a picture; {found.source_range} range in, {out} range out"
    if instead := _instead_of_a_picture(found):
        return f"{instead[0]}; {found.source_range} range in, {out} range out"
    # After a curve alone the recording's gamut stays, and no monitor can be set to it.
    gamut = "in its usual gamut" if found.kind == "curve" else found.target.gamut.name
    seen = f"{found.target.curve.name}, {gamut}"
    if not found.target_known_by:
        seen += " (assumed: the file does not say)"
    return (
        f"{seen}; {found.source_range} range into the LUT, {out} range out of it; its own LUTs and "
        "picture modes off"
    )


def _lines(found: Inspection) -> tuple[BoxLine, ...]:
    if found.scene is None or _is_false_colour(found):
        return ()
    day = found.scene.levels
    rows = {each.reflectance: each for each in day.levels}

    def level_at(light: float) -> Level | None:
        return next((row for at, row in rows.items() if math.isclose(at, light)), None)

    wanted = [(level_at(light), light, label) for light, label in CARDS]
    clip = day.levels[-1]
    wanted.append((clip, clip.reflectance, f"clip ({stops_of(clip.reflectance):+.1f} stops)"))
    return tuple(
        BoxLine(label, light, row.recorded.percent, row.after_lut.percent)
        for row, light, label in wanted
        if row is not None and row.after_lut is not None
    )


def _zebra(found: Inspection) -> str:
    """The most useful zebra on the recording: for the white card, else for light skin."""
    if found.scene is None:
        return ""
    for light, name in ((WHITE_CARD, "a white card"), (SKIN, "light skin")):
        advice = next((each for each in found.scene.levels.zebra.advice
                       if math.isclose(each.reflectance, light)), None)  # fmt: skip
        if advice is not None and advice.setting is not None:
            stops = stops_of(advice.setting.reflectance)
            return (
                f"on the recording, {advice.setting.percent:g} % marks {stops:+.1f} stops and "
                f"brighter; {name} lies at {advice.percent:.0f} %"
            )
    return ""


def _unsure(found: Inspection) -> str:
    if found.source_curve is None:
        if named := ends_in_comments(found.comments).get("source"):
            return (
                f"levels need the curve {named.curve}: give the file that defines it with "
                "--definitions, or another name with --source-curve"
            )
        if found.supposed:
            return (
                f"by its numbers the LUT expects {found.supposed}: the camera's menu settles it; "
                "levels need the curve named with --source-curve"
            )
        return (
            "levels need the recording's curve: name it with --source-curve, or see what "
            "`lutbench identify` says"
        )
    if found.known_by == "identified":
        return (
            "the recording is a guess from the LUT's numbers: the camera's menu settles it, or a "
            "grey card that reads as the table says"
        )
    return ""


_CHANGES = {
    "identity": "It changes nothing",
    "curve": "It changes tone only, each channel by itself",
    "gamut": "It changes colours and leaves greys as they are (the transfer curve stays the same)",
    "combined": "It changes tone and colour",
}


def verdict(found: Inspection) -> str:
    """Two sentences: how much it changes and what, and what is wrong or worth knowing.

    What an unusable table changes says nothing, so that only the fault is named.
    """
    if found.unusable:
        return f"{_care(found)}."
    if found.worst == "error" or _is_false_colour(found):
        return f"{_what(found)}. {_care(found)}."
    what = _what(found)
    return f"{found.change.words}: {what[0].lower()}{what[1:]}. {_care(found)}."


def _what(found: Inspection) -> str:
    if _is_false_colour(found):
        return "It is a false-colour LUT: it paints each band of exposure in its own colour"
    text = _CHANGES[found.kind]
    if found.kind in ("curve", "combined"):
        grey_in, grey_out = 100 * found.mid_grey_in, 100 * found.mid_grey_out
        if lines := _lines(found):  # in percent of the nominal signal, as on the waveform
            grey_in, grey_out = lines[0].before, lines[0].after
        if found.source_curve is not None:
            text += f"; mid grey goes in at {grey_in:.0f} % and comes out at {grey_out:.0f} %"
        else:
            text += f"; {grey_in:.0f} % in comes out at {grey_out:.0f} %"
        high = found.neutral.clip_high
        if high is not None and high.share > found.limits["clipped_highlights"]:
            text += f", and everything above {100 * high.onset:.0f} % comes out as the same white"
    return text


def _care(found: Inspection) -> str:
    bad = [each for each in found.findings if each.severity != "info"]
    if not bad:
        of_range = [each for each in found.findings if each.code.startswith("legal_range")]
        if of_range:
            return f"No defect was found, but mind the range: {of_range[0].message}"
        return "No defect was found"
    first = bad[0].message
    more = len(bad) - 1
    word = "Do not use it" if found.worst == "error" else "Take care"
    tail = f" (and {more} more finding{'s' if more > 1 else ''})" if more else ""
    return f"{word}: {first}{tail}"
