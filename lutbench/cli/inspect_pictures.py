"""What `lutbench inspect` draws: a page, a contact sheet, a set sheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lutbench.cli.options import say
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.inspection.inspection import Inspection
    from lutbench.model.catalogue import Catalogue


@dataclass(frozen=True)
class Pictures:
    """The page, the contact sheet and the set sheet to draw, and the still that they show."""

    page: str | None
    sheet: str | None
    set_sheet: str | None
    still: str | None
    force: bool


def draw(found: list[Inspection], pictures: Pictures, catalogue: Catalogue) -> None:
    """Write the page and the sheets that the options name."""
    if pictures.page:
        _write_page(found[0], pictures.page, pictures.still, catalogue, pictures.force)
    if pictures.sheet:
        _write_sheet(found, pictures.sheet, pictures.still, pictures.force)
    if pictures.set_sheet:
        from lutbench.report.set_sheet import write_set_sheet

        write_set_sheet(found, pictures.set_sheet, still=pictures.still, force=pictures.force)
        say(f"{pictures.set_sheet}: set sheet written")


def _write_page(
    found: Inspection, page: str, still: str | None, catalogue: Catalogue, force: bool
) -> None:
    from lutbench.inspection.identified import identified
    from lutbench.report.page import write_page

    found, identification = identified(found, catalogue)
    write_page(found, page, still=still, identification=identification, force=force)
    say(f"{page}: page written")


def _write_sheet(found: list[Inspection], sheet: str, still: str | None, force: bool) -> None:
    from lutbench.media.sheet import lut_sheet, write_sheet
    from lutbench.media.still.still import read_still
    from lutbench.report.pictures import gamut_for_pictures, our_still, shown_lut

    if not found:
        raise LutbenchError("there is no LUT to show", where=sheet)
    first = found[0]
    picture = read_still(still) if still else our_still(first)
    recording = "recording not known"
    if first.source_curve is not None:
        recording = f"recorded in {first.source_curve.name}"
        if still is None:
            assumed = "" if first.source_gamut is not None else " (assumed)"
            recording += f", {gamut_for_pictures(first).name}{assumed}"
    elif still is None:
        recording = "this picture is not log: name --source-curve, or give a log still with --still"
    drawn = lut_sheet(
        picture,
        [shown_lut(each) for each in found],
        heading=f"{len(found)} LUT{'s' if len(found) != 1 else ''}",
        subheading=recording,
    )
    write_sheet(drawn, sheet, force=force)
    say(f"{sheet}: contact sheet written")
