"""The levels card: one page to take on set, as HTML or as a picture.

Four rows come first, large enough to read at arm's length: grey card, skin, white card, clip.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lutbench import files
from lutbench.errors import LutbenchError
from lutbench.exposure.filters import NEUTRAL_DENSITIES
from lutbench.exposure.levels import Levels
from lutbench.exposure.reading import (
    DARK_SKIN,
    GREY,
    SKIN,
    WHITE_CARD,
    Level,
    Reading,
    signed_stops,
)
from lutbench.exposure.zebra import ZebraMarks
from lutbench.report import words
from lutbench.report.drawing import PAPER, plain_text, png, svg
from lutbench.report.ladder import ladder, ladder_alternative
from lutbench.report.templates import render
from lutbench.report.words import luminance_words, percent_words, stops_words

CAUTION = "Monitoring levels for viewing: the delivery specification decides what is delivered."
RANGE_NOTE = "Full is 0 to 2ⁿ−1; legal is 16 to 235 in 8 bit, 64 to 940 in 10 bit."
DPI = 212
"""Dots per inch of a card as PNG: sharp on a phone and on paper."""

LOWEST_STOP = -6
"""Darkest stop on a card, from mid grey: nobody exposes by anything darker."""


@dataclass(frozen=True)
class CardHead:
    """The heading of a card, as the user gives it; empty for what is not given."""

    project: str = ""
    date: str = ""
    exposure_index: str = ""

    def __str__(self) -> str:
        index = f"EI {self.exposure_index}" if self.exposure_index else ""
        return " · ".join(each for each in (self.project, self.date, index) if each)


NO_HEAD = CardHead()


@dataclass(frozen=True)
class BigRow:
    """One of the four rows: a subject, its percent on the recording and after the LUT."""

    label: str
    under: str
    before: str
    after: str


def write_card(
    day: Levels, path: str | Path, *, head: CardHead = NO_HEAD, force: bool = False
) -> None:
    """Write the card to `path`, as HTML or PNG by its suffix.

    Raises LutbenchError for another suffix, or when the file exists and `force` is not set.
    """
    suffix = Path(path).suffix.lower()
    if suffix == ".html":
        files.write_text(path, card_html(day, head), force=force)
    elif suffix == ".png":
        files.write_bytes(path, card_png(day, head), force=force)
    else:
        raise LutbenchError("is not a card", where=path, accepted="a name that ends in .html, .png")


def big_rows(day: Levels) -> list[BigRow]:
    """The four rows: grey card, skin, white card, clip."""
    dark = day.at(DARK_SKIN)
    skin = f"dark skin {_percent(dark.recorded)}"
    if dark.after_lut:
        skin += f" → {_percent(dark.after_lut)}"
    clip = day.levels[-1]
    chosen = (
        ("grey card", percent_words(GREY), day.at(GREY)),
        ("light skin", skin, day.at(SKIN)),
        ("white card", percent_words(WHITE_CARD), day.at(WHITE_CARD)),
        ("clip", f"{stops_words(clip.stops)} stops", clip),
    )
    return [
        BigRow(
            label,
            under,
            _percent(level.recorded),
            _percent(level.after_lut) if level.after_lut else "",
        )
        for label, under, level in chosen
    ]


def _percent(reading: Reading) -> str:
    return f"{reading.percent:.0f} %"


def card_html(day: Levels, head: CardHead = NO_HEAD) -> str:
    """The card as a self-contained HTML file."""
    picture = svg(ladder(day, width=3.0, height=5.2), "ladder", ladder_alternative(day))
    return render(
        "card.html",
        day=day,
        head=str(head),
        big=big_rows(day),
        ladder=picture,
        rows=[_row(each) for each in _chosen(day)],
        ends=ends_words(day),
        zebra=zebra_lines(day),
        densities=NEUTRAL_DENSITIES,
        range_note=f"{day.range_note} {RANGE_NOTE}",
        caution=CAUTION,
    )


def ends_words(day: Levels) -> str:
    """Which light is at 0 % and at 100 %."""
    where = "After the LUT" if day.after_ends else "Recorded"
    return f"{where}: {words.ends_words(day, after=day.after_ends is not None)}."


def zebra_lines(day: Levels) -> list[tuple[str, list[str]]]:
    """The advice on zebra, for the recording and for the monitor after the LUT."""
    after = day.zebra.after_lut
    parts = [("on the recording", day.zebra.lines)]
    return [*parts, ("after the LUT", after.lines)] if after else parts


def _chosen(day: Levels) -> list[Level]:
    """The levels that fit on a card: named subjects, and stops from `LOWEST_STOP`."""
    return [
        each for each in day.levels if not each.label.startswith("-") or each.stops >= LOWEST_STOP
    ]


def _row(level: Level) -> dict[str, Any]:
    """A line of the card's table, in words."""
    recorded, after = level.recorded, level.after_lut
    return {
        "label": level.label.replace("-", "−"),
        "subject": level.is_subject,
        "grey": level.reflectance == GREY,
        "reflectance": percent_words(level.reflectance),
        "stops": stops_words(level.stops),
        "percent": f"{recorded.percent:.1f}",
        "codes": _codes(recorded),
        "after_percent": f"{after.percent:.1f}" if after else "",
        "after_codes": _codes(after) if after else [],
        "luminance": luminance_words(level.luminance),
    }


def _codes(reading: Any) -> list[int]:
    return [reading.code(bits, name) for bits in (8, 10) for name in ("full", "legal")]


def card_png(day: Levels, head: CardHead = NO_HEAD) -> bytes:
    """The card as the bytes of a PNG picture, the size of an A5 sheet at 212 dpi."""
    from matplotlib.figure import Figure

    figure: Any = Figure(figsize=(5.83, 8.27))
    ratios = (0.9, 2.5, 3.35, 1.75)
    top, rows, middle, bottom = figure.subfigures(4, 1, height_ratios=ratios)
    _heading(top, day, head)
    _big(rows, big_rows(day))
    _table(middle, day)
    _notes(bottom, day)
    return png(figure, dpi=DPI)


def _heading(part: Any, day: Levels, head: CardHead) -> None:
    import textwrap

    title = str(head) or f"Levels of {day.curve.name}"
    under = f"recorded in {day.curve.name}" if head != NO_HEAD or day.lut else "as recorded"
    if day.lut:
        under += f", through {day.lut} ({day.source_range} range in, {day.target_range} out)"
    if day.shown:
        under += f"; {day.shown}"
    if day.exposed:
        under += f", exposed {signed_stops(day.exposed)}"
    lines = textwrap.wrap(plain_text(under), 96, break_long_words=True)
    higher = 0.05 * (len(lines) > 1)
    part.text(
        0.04, 0.60 + higher, plain_text(title), fontsize=15, fontweight="bold", color=PAPER.ink,
    )  # fmt: skip
    size = 8.5 if len(lines) == 1 else 7.5
    part.text(0.04, 0.26, "\n".join(lines[:2]), fontsize=size, color=PAPER.faint, va="bottom")
    part.text(0.04, 0.02, plain_text(ends_words(day)), fontsize=8.5, color=PAPER.faint)


def _big(part: Any, rows: list[BigRow]) -> None:
    """Draw the four rows, with figures large enough to read at arm's length."""
    axes = part.add_axes((0.04, 0.0, 0.92, 0.97))
    axes.axis("off")
    axes.set_xlim(0, 1)
    axes.set_ylim(len(rows), 0)
    both = any(row.after for row in rows)
    for index, row in enumerate(rows):
        middle = index + 0.5
        axes.plot([0, 1], [index] * 2, color=PAPER.line, linewidth=0.8)
        axes.text(0, middle - 0.12, row.label, fontsize=19, va="center", color=PAPER.ink)
        axes.text(0, middle + 0.30, row.under, fontsize=8.5, va="center", color=PAPER.faint)
        last = row.after or row.before
        axes.text(
            1, middle, last, fontsize=31, fontweight="bold", ha="right", va="center",
            color=PAPER.ink,
        )  # fmt: skip
        if both:
            axes.text(
                0.66, middle, f"{row.before} →", fontsize=17, ha="right", va="center",
                color=PAPER.faint,
            )  # fmt: skip
    axes.plot([0, 1], [len(rows)] * 2, color=PAPER.line, linewidth=0.8)


def _table(part: Any, day: Levels) -> None:
    axes = part.add_axes((0.04, 0.0, 0.92, 0.97))
    axes.axis("off")
    axes.set_xlim(0, 1)
    rows = [_row(each) for each in reversed(_chosen(day))]
    pitch = 1 / (len(rows) + 2)
    places = [0.0, 0.48, 0.62, 0.73, 0.86, 1.0]
    names = ["", "%", "8 full", "legal", "10 full", "legal"]
    if day.lut:
        places = [0.0, 0.37, 0.49, 0.61, 0.75, 0.88, 1.0]
        names = ["", "%", "10 full", "legal", "LUT %", "10 full", "legal"]
    if day.shown:
        places = [0.87 * place for place in places] + [1.0]
        names.append("cd/m²")
    y = 1 - pitch

    def line(cells: list[str], colour: str, weight: str) -> None:
        for x, cell, index in zip(places, cells, range(len(cells)), strict=True):
            axes.text(
                x, y, plain_text(cell), ha="right" if index else "left", va="center",
                fontsize=6.8, color=colour, fontweight=weight,
            )  # fmt: skip

    line(names, PAPER.faint, "normal")
    for row in rows:
        y -= pitch
        codes = [str(code) for code in row["codes"]]
        label = row["label"]
        if row["subject"] and label != "clip":
            label = f"{label} {row['reflectance']}"
        cells = [label, row["percent"], *(codes[2:] if day.lut else codes)]
        if day.lut:
            cells += [row["after_percent"], *(str(code) for code in row["after_codes"][2:])]
        if day.shown:
            cells.append(row["luminance"])
        line(
            cells, PAPER.ink if row["subject"] else PAPER.faint, "bold" if row["grey"] else "normal"
        )
        axes.plot([0, 1], [y - pitch / 2] * 2, color=PAPER.line, linewidth=0.3)
    axes.set_ylim(0, 1)


def _short(marks: ZebraMarks) -> str:
    """Which zebra setting is for which subject, on one line."""
    advice = marks.advice
    found = [f"{each.setting.percent:g} % for {each.subject}" for each in advice if each.setting]
    if unmarked := [each.subject for each in advice if each.setting is None]:
        found.append(f"none for {' and '.join(unmarked)}")
    text = ", ".join(found)
    return text if marks.guard is None else f"{text}; {marks.guard.text}"


def _notes(part: Any, day: Levels) -> None:
    import textwrap

    lines = []
    zebra = day.zebra
    lines.append(f"Zebra on the recording: {_short(zebra)}")
    if zebra.after_lut:
        lines.append(f"Zebra after the LUT: {_short(zebra.after_lut)}")
    densities = ", ".join(
        f"{each.density:.1f} = {each.nominal_stops}" for each in NEUTRAL_DENSITIES
    )
    lines.append(f"Neutral density, stops: {densities}")
    if day.filter_choice:
        lines.append(day.filter_choice.text)
    lines.append(f"{day.range_note} {RANGE_NOTE}")
    lines.append(CAUTION)
    # No line break between a number and its percent sign.
    unbroken = (each.replace(" %", "\u00a0%") for each in lines)
    text = "\n".join(textwrap.fill(each, 118, subsequent_indent="   ") for each in unbroken)
    part.text(
        0.04, 0.95, text.replace("$", r"\$"), va="top", fontsize=6.3, color=PAPER.ink,
        linespacing=1.4,
    )  # fmt: skip
