"""The levels as CSV: one line per level, with all bit depths and ranges."""

from __future__ import annotations

import csv
import io

from lutbench.exposure.levels import Levels
from lutbench.exposure.reading import BIT_DEPTHS, Reading
from lutbench.exposure.sets import SetLevels
from lutbench.given import csv_text_cell
from lutbench.model.signal import Range

RANGES: tuple[Range, Range] = ("full", "legal")


def csv_text(day: Levels) -> str:
    """The table as CSV text. With a LUT it has columns for the signal after it; with a display,
    one for cd/m².

    >>> from lutbench.exposure.levels import levels
    >>> from lutbench.model.catalogue import open_catalogue
    >>> day = levels(open_catalogue(user=False).curve("ACEScct"))
    >>> csv_text(day).splitlines()[0][:40]
    'label,reflectance,stops,clipped,percent,'
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    head = ["label", "reflectance", "stops", "clipped", *_columns("")]
    after = _columns("after_lut_") if day.lut else []
    writer.writerow([*head, *after, *(["luminance_cd_m2"] if day.shown else [])])
    for each in day.levels:
        stops = "" if each.reflectance <= 0 else f"{each.stops:.3f}"
        label = csv_text_cell(each.label)
        row = [label, f"{each.reflectance:.6g}", stops, each.clipped, *_values(each.recorded)]
        row += _values(each.after_lut) if each.after_lut else []
        writer.writerow([*row, *([] if each.luminance is None else [f"{each.luminance:.6g}"])])
    return text.getvalue()


def _columns(prefix: str) -> list[str]:
    codes = [f"{prefix}{name}_{bits}bit" for name in RANGES for bits in BIT_DEPTHS]
    return [f"{prefix}percent", *codes]


def _values(reading: Reading) -> list[str]:
    codes = [str(reading.code(bits, name)) for name in RANGES for bits in BIT_DEPTHS]
    return [f"{reading.percent:.3f}", *codes]


def set_csv_text(found: SetLevels) -> str:
    """The levels of a set as CSV text: one line per LUT, in percent before and after it."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    labels = [label for label, _ in next((each.cards for each in found.members if each.day), [])]
    names = [label.replace(" ", "_") for label in labels]
    head = ["name", "curve", "exposure_stops"]
    writer.writerow(
        [*head, *(f"{name}_recorded" for name in names), *(f"{name}_after_lut" for name in names)]
    )
    for each in found.members:
        if each.day is None:
            continue
        cells = [csv_text_cell(each.name), csv_text_cell(each.day.curve.name)]
        cells.append("" if each.exposure is None else f"{each.exposure:g}")
        levels = [level for _, level in each.cards]
        cells += [f"{level.recorded.percent:.3f}" for level in levels]
        cells += [f"{level.after_lut.percent:.3f}" if level.after_lut else "" for level in levels]
        writer.writerow(cells)
    return text.getvalue()
