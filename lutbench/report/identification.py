"""The identification section of a page: candidates, tone, and what the look does."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lutbench.report import plots_identification as plots
from lutbench.report.drawing import Figure, figure
from lutbench.report.words import NOT_DESCRIBED, grey_rows, hue_rows, signed, stops_words

if TYPE_CHECKING:
    from lutbench.identification import Candidate, Identification, Look, Tone

SHOWN_CANDIDATES = 6
"""Candidates in the table, which then fits on a screen; the number of others is given."""


@dataclass(frozen=True)
class Inside:
    """The figures and tables of the section."""

    figures: list[Figure]
    candidates: list[tuple[str, ...]]
    more: int
    tone: list[tuple[str, str]]
    look: list[tuple[str, str]]
    hues: list[tuple[str, ...]]
    tones: list[tuple[str, ...]]
    claims: str


def inside(found: Identification) -> Inside:
    """The tables and figures of an identification."""
    from lutbench.identification.claims import in_words

    if not found.is_described:
        found = replace(found, tone=None, look=replace(found.look, hues=(), tones=()))
    return Inside(
        _figures(found),
        [_row(each) for each in found.candidates[:SHOWN_CANDIDATES]],
        max(0, len(found.candidates) - SHOWN_CANDIDATES),
        _tone_rows(found.tone) if found.tone is not None else [],
        _look_rows(found.look) if found.is_described else [("tone and look", NOT_DESCRIBED)],
        hue_rows(found.look),
        grey_rows(found.look),
        in_words(found.claims),
    )


def _figures(found: Identification) -> list[Figure]:
    figures: list[Figure] = []
    if found.look.hues:
        turns = ", ".join(
            f"{each.hue} {each.saturation:.2f} times, {each.turned:+.0f}°"
            for each in found.look.hues
        )
        figures.append(
            figure(
                "look-hues",
                lambda: plots.look_plot(found),
                "Hue and saturation of the look on a vectorscope: hollow before, solid after. "
                "Outwards is more saturated; the tint of the grey scale is removed.",
                f"What the look does to each hue: {turns}",
            )
        )
    if found.look.tones:
        changes = "; ".join(
            f"{each.part} L* {each.lightness:+.1f}, a* {each.a:+.1f}, b* {each.b:+.1f}"
            for each in found.look.tones
        )
        figures.append(
            figure(
                "look-tones",
                lambda: plots.tints_plot(found),
                "What the look does to the grey scale: lightness, and the tint of shadows, "
                "mid tones and highlights. Less than about 1 is not visible.",
                f"The look on the grey scale: {changes}",
            )
        )
    if len(found.candidates) > 1:
        best, rival = found.candidates[:2]
        figures.append(
            figure(
                "ranking",
                lambda: plots.ranking_plot(found),
                "How far off each candidate is: the dot is the median, the line the "
                "95th percentile.",
                f"Ranking of candidates: the first is {best.error_median:.2f} codes off "
                f"(median), the second {rival.error_median:.2f}",
            )
        )
    if found.tone is not None:
        grey = 100 * found.tone.grey_signal
        figures.append(
            figure(
                "inside-tone",
                lambda: plots.tone_plot(found),
                "The tone curve: signal out by stops from mid grey of the scene.",
                f"Tone curve by stops; mid grey comes out at {grey:.0f} %",
            )
        )
    if found.is_described and found.look.present and plots.has_map(found):
        figures.append(
            figure(
                "remainder",
                lambda: plots.remainder_plot(found),
                "The remainder over the table, in ΔE 2000. Grey: colours outside the target "
                "gamut, which do not count.",
                f"Map of the remainder on five slices; at most ΔE 2000 {found.look.max:.1f}",
            )
        )
    return figures


def _row(each: Candidate) -> tuple[str, ...]:
    from lutbench.identification.notes import alternatives, some_of

    sides = [
        f"{side.curve or 'its own curve'} / {side.gamut or 'any gamut'}, {side.range}"
        for side in (each.source, each.target)
    ]
    also = "; ".join(f"{side}: {some_of(names)}" for side, names in alternatives(each).items())
    return (
        *sides,
        signed(each.exposure_stops, 2),
        f"{each.error_median:.2f}",
        f"{each.error_p95:.2f}",
        also,
    )


def _tone_rows(tone: Tone) -> list[tuple[str, str]]:
    rows = [
        ("tone curve", "that of the target" if tone.plain else "no named curve"),
        ("mid grey comes out at", f"{100 * tone.grey_signal:.1f} % (10-bit code {tone.grey_code})"),
        ("around mid grey", f"{100 * tone.signal_per_stop:.1f} % a stop"),
    ]
    if tone.contrast is not None:
        rows.append(("contrast at mid grey", f"{tone.contrast:.2f} in light out by light in"))
    if tone.roll_off_stops is not None:
        rows.append(("rolls off from", f"{stops_words(tone.roll_off_stops)} stops"))
    white = (
        f"{stops_words(tone.white_stops)} stops"
        if tone.white_stops is not None
        else "the end of the recording"
    )
    rows.append(("highest signal", f"{100 * tone.white_signal:.1f} % at {white}"))
    rows.append(("no light gives", f"{round(100 * tone.black_signal, 1) + 0.0:.1f} %"))
    return rows


def _look_rows(look: Look) -> list[tuple[str, str]]:
    if not look.present:
        return [("look", "none: the remainder is not visible")]
    rows = [
        (
            "look",
            f"ΔE 2000 {look.median:.1f} (median), {look.p95:.1f} (95 %), {look.max:.1f} (most)",
        ),
        ("what it does", "; ".join(look.description) or "no single change"),
    ]
    if look.cdl is not None:
        cdl = look.cdl
        rows.append(("CDL", cdl.words))
        rows.append(
            (
                "the CDL leaves",
                f"{cdl.error.median:.2f} codes (median), {cdl.error.p95:.2f} (95 %; "
                f"ΔE 2000 {cdl.delta_e_2000.p95:.2f})",
            )
        )
    return rows
