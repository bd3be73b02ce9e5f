"""The levels card: one page to take on set, as HTML or as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from lutbench import files
from lutbench.errors import LutbenchError
from lutbench.exposure.levels import GREY, NEUTRAL_DENSITIES, Level, Levels
from lutbench.report import words
from lutbench.report.drawing import PAPER, plain_text, png, svg
from lutbench.report.ladder import ladder, ladder_alternative
from lutbench.report.templates import render
from lutbench.report.words import luminance_words, percent_words, stops_words

CAUTION = "Monitoring levels for viewing: the delivery specification decides what is delivered."
RANGE_NOTE = "full: 0 to 2ⁿ−1, legal: 16 to 235 in 8 bit, 64 to 940 in 10 bit"
DPI = 212


def write_card(day: Levels, path: str | Path, *, force: bool = False) -> None:
    """Write the card to `path`: HTML or PNG, after the suffix.

    Raises
    ------
    LutbenchError
        For another suffix, or when the file exists and `force` is not set.
    """
    suffix = Path(path).suffix.lower()
    if suffix == ".html":
        files.write_text(path, card_html(day), force=force)
    elif suffix == ".png":
        files.write_bytes(path, card_png(day), force=force)
    else:
        raise LutbenchError("is no card", where=path, accepted="a name that ends in .html, .png")


def card_html(day: Levels) -> str:
    """The card as one HTML file that needs nothing else."""
    picture = svg(ladder(day, width=3.0, height=5.2), "ladder", ladder_alternative(day))
    return render(
        "card.html",
        day=day,
        ladder=picture,
        rows=[_row(each) for each in _chosen(day)],
        ends=ends_words(day),
        densities=NEUTRAL_DENSITIES,
        range_note=f"{day.range_note} ({RANGE_NOTE})",
        caution=CAUTION,
    )


def ends_words(day: Levels) -> str:
    """Which light falls on 0 % and on 100 %."""
    where = "After the LUT" if day.after_ends else "Recorded"
    return f"{where}: {words.ends_words(day, after=day.after_ends is not None)}."


def _chosen(day: Levels) -> list[Level]:
    """The lines that fit on a card: named subjects, and stops from -6 up."""
    return [each for each in day.levels if not each.label.startswith("-") or each.stops >= -6]


def _row(level: Level) -> dict[str, Any]:
    """A line of the card's table, in words."""
    recorded, after = level.recorded, level.after_lut
    return {
        "label": level.label.replace("-", "−"),
        "subject": not level.label.startswith(("+", "-")),
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


def card_png(day: Levels) -> bytes:
    """The card as the bytes of a PNG picture, the size of an A5 sheet at 212 dpi."""
    from matplotlib.figure import Figure

    figure: Any = Figure(figsize=(5.83, 8.27))
    top, middle, bottom = figure.subfigures(3, 1, height_ratios=(0.95, 5.6, 1.75))
    _heading(top, day)
    left, right = middle.subfigures(1, 2, width_ratios=(1.0, 1.35 if day.lut else 1.0))
    ladder(day, PAPER, figure=left)
    _table(right, day)
    _notes(bottom, day)
    return png(figure, dpi=DPI)


def _heading(part: Any, day: Levels) -> None:
    part.text(
        0.04, 0.66, plain_text(f"Levels of {day.curve.name}"), fontsize=15, fontweight="bold",
        color=PAPER.ink,
    )  # fmt: skip
    under = f"through {day.lut}" if day.lut else "as recorded"
    if day.lut:
        under += f" ({day.source_range} range in, {day.target_range} out)"
    if day.shown:
        under += f"; {day.shown}"
    part.text(0.04, 0.34, plain_text(under), fontsize=8.5, color=PAPER.faint)
    part.text(0.04, 0.08, plain_text(ends_words(day)), fontsize=8.5, color=PAPER.faint)


def _table(part: Any, day: Levels) -> None:
    axes = part.add_axes((0.0, 0.0, 0.97, 1.0))
    axes.axis("off")
    axes.set_xlim(0, 1)
    rows = [_row(each) for each in reversed(_chosen(day))]
    pitch = 1 / (len(rows) + 3)
    places = [0.0, 0.5, 0.62, 0.72, 0.83, 0.94] if day.lut else [0.0, 0.48, 0.62, 0.73, 0.86, 1.0]
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
                fontsize=6.6, color=colour, fontweight=weight,
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


def _notes(part: Any, day: Levels) -> None:
    import textwrap

    lines = [f"• {each.text}" for each in day.zebra.advice]
    lines.append(
        "• Neutral density, stops: "
        + ", ".join(f"{each.density:.1f} = {each.nominal_stops}" for each in NEUTRAL_DENSITIES[:7])
    )
    if day.filter_choice:
        lines.append(f"• {day.filter_choice.text}")
    lines.append(f"{day.range_note} ({RANGE_NOTE})")
    lines.append(CAUTION)
    text = "\n".join(
        textwrap.fill(each, 112, subsequent_indent="   " if each.startswith("•") else "")
        for each in lines
    )
    part.text(
        0.04, 0.97, text.replace("$", r"\$"), va="top", fontsize=6.6, color=PAPER.ink,
        linespacing=1.5,
    )  # fmt: skip
