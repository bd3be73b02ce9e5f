"""The levels as CSV: a line a level, all bit depths and ranges."""

from __future__ import annotations

import csv
import io

from lutbench.exposure.levels import BIT_DEPTHS, Levels, Reading
from lutbench.model.signal import Range
from lutbench.plaintext import csv_text_cell

RANGES: tuple[Range, Range] = ("full", "legal")


def csv_text(day: Levels) -> str:
    """The table as CSV text; columns of the signal after the LUT where there is one,
    and of cd/m² where a display is named.

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
