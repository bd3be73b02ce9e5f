"""The set sheet: every LUT of a set on one page, with its use, levels, checksum and pictures."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from numpy.typing import NDArray

import lutbench
from lutbench import files
from lutbench.errors import LutbenchError
from lutbench.formats.comments import exposure_in_comments
from lutbench.inspection.inspection import Inspection
from lutbench.media.sheet import write_sheet
from lutbench.media.still.pixels import thumbnail
from lutbench.media.still.still import read_still
from lutbench.media.toned import LABEL, is_hdr
from lutbench.report.drawing import picture_uri
from lutbench.report.pictures import chart_picture, our_faces, shown_through
from lutbench.report.set_picture import set_picture
from lutbench.report.templates import render

PICTURE_PX = 300
"""Width of a picture in pixels: printed 45 mm wide it has 170 dpi."""

MOST_LUTS = 60
"""Largest number of LUTs on a sheet: more do not fit on paper, and the file is over 5 MB."""

CHECKSUM_DIGITS = 16
"""Hexadecimal digits of SHA-256 that are printed: enough to compare two files by eye."""


FACES = "drawn faces in light and dark skin with a white and a grey card"
"""What the pictures show unless the user gives a still."""


@dataclass(frozen=True)
class SetRow:
    """A LUT on the sheet."""

    name: str
    found: Inspection
    checksum: str
    exposure: float | None
    faces: str
    chart: str

    def said(self, what: str) -> str:
        """What its box says of `what`, without the ranges, which stand on a line of their own."""
        text: str = getattr(self.found.box, what)
        return text.split(";")[0] if what == "monitor" else text

    @property
    def range_words(self) -> str:
        """The ranges of input and output."""
        given, out = self.found.source_range, self.found.target_range
        return f"{given} range in and out" if given == out else f"{given} range in, {out} out"

    @property
    def pictures_note(self) -> str:
        """The note that its pictures are tone-mapped, or not of its recording; else empty."""
        if self.found.source_curve is None:
            return "sRGB through the LUT, as the recording is not known"
        return LABEL if is_hdr(self.found.target) else ""

    @property
    def size_words(self) -> str:
        """The size of its table in words."""
        size = self.found.subject.size
        return (
            f"{size} rows" if self.found.subject.lattice is None else f"{size} nodes along an edge"
        )


def write_set_sheet(
    found: Sequence[Inspection],
    path: str | Path,
    *,
    still: str | Path | None = None,
    force: bool = False,
) -> None:
    """Write the sheet to `path`, as a self-contained HTML file or a PNG by its suffix.

    Raises LutbenchError for another suffix, no LUT or too many, or when the file exists and `force`
    is not set.
    """
    check_name(path)
    if Path(path).suffix.lower() == ".png":
        _check_count(found)
        chosen = sorted(
            found, key=lambda each: _order(each.name, exposure_in_comments(each.comments))
        )
        checksums = [each.sha256[:CHECKSUM_DIGITS] for each in chosen]
        picture = set_picture(chosen, checksums, still=still)
        write_sheet(picture, path, force=force)
    else:
        files.write_text(path, set_sheet_html(found, still=still), force=force)


def check_name(path: str | Path) -> None:
    """Refuse a name that is neither of a page nor of a picture, before the work starts."""
    if Path(path).suffix.lower() not in (".html", ".png"):
        raise LutbenchError(
            "is not a set sheet", where=path, accepted="a name that ends in .html, .png"
        )


def _check_count(found: Sequence[Inspection]) -> None:
    if not 1 <= len(found) <= MOST_LUTS:
        raise LutbenchError(f"a set of {len(found)} LUTs", accepted=f"1 to {MOST_LUTS}")


def set_sheet_html(found: Sequence[Inspection], *, still: str | Path | None = None) -> str:
    """The sheet as HTML; LUTs are sorted by name, those of a ladder by exposure."""
    _check_count(found)
    rows = sorted(
        (_row(each, still) for each in found), key=lambda each: _order(each.name, each.exposure)
    )
    usual = {what: _usual(rows, what) for what in ("expects", "monitor", "zebra")}
    return render(
        "set_sheet.html",
        rows=rows,
        usual=usual,
        differ=any(each.said(what) != text for each in rows for what, text in usual.items()),
        faces=still is None,
        note="your still" if still is not None else FACES,
        version=lutbench.__version__,
    )


def _usual(rows: Sequence[SetRow], what: str) -> str:
    """What most LUTs of the set say of `what`; empty where no two of them agree."""
    ((text, count),) = Counter(each.said(what) for each in rows).most_common(1)
    return text if count > 1 or len(rows) == 1 else ""


def _row(found: Inspection, still: str | Path | None) -> SetRow:
    picture = thumbnail(read_still(still) if still else our_faces(found), PICTURE_PX)
    return SetRow(
        found.name,
        found,
        found.sha256[:CHECKSUM_DIGITS],
        exposure_in_comments(found.comments),
        _through(found, picture),
        _through(found, chart_picture(found)),
    )


def _through(found: Inspection, picture: NDArray[Any]) -> str:
    return picture_uri(shown_through(found, picture), photographic=True)


def _order(name: str, exposure: float | None) -> tuple[str, float, str]:
    """The sort key: the name without its exposure, then the exposure, darkest first."""
    stem = Path(name).stem.casefold()
    family = re.sub(r"[-_ ]?[pm+-]?\d+(?:[._]\d+)?$", "", stem)
    return (family, exposure if exposure is not None else 0.0, stem)
