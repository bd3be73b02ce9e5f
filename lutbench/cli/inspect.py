"""``lutbench inspect``: what a LUT does, and what is wrong with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.inspect_print import print_many, print_one
from lutbench.cli.options import (
    LutRanges,
    catalogue_of,
    definitions_option,
    force_option,
    gathered,
    json_option,
    print_json,
    range_options,
)
from lutbench.cli.saying import say
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.inspection.inspection import Inspection
    from lutbench.model.catalogue import Catalogue

SCHEMA = 1
_SORTS = ("name", "worst", "kind", "grey")


@dataclass(frozen=True)
class Names:
    """The encodings that the LUT stands between, by name."""

    source_curve: str | None
    source_gamut: str | None
    target_curve: str
    target_gamut: str

    def found(self, catalogue: Catalogue) -> dict[str, Any]:
        """Curves and gamuts by the name of their option; None for one that is not given."""
        return {
            name: None
            if value is None
            else (catalogue.curve if name.endswith("curve") else catalogue.gamut)(
                value, where=f"--{name.replace('_', '-')}"
            )
            for name, value in vars(self).items()
        }


@dataclass(frozen=True)
class Pictures:
    """The page, the contact sheet and the set sheet to draw, and the still that they show."""

    page: str | None
    sheet: str | None
    set_sheet: str | None
    still: str | None
    force: bool


@dataclass(frozen=True)
class Judging:
    """Limits, what counts as a failure, and the order of several LUTs."""

    limit_texts: tuple[str, ...]
    fail_on: str | None
    sort: str


@click.command()
@click.argument("luts", metavar="LUT...", nargs=-1, required=True)
@click.option(
    "--source-curve", metavar="NAME", help="The curve of the recording: adds levels in stops."
)
@click.option(
    "--source-gamut", metavar="NAME", help="The gamut of the recording: adds what happens to hues."
)
@range_options
@click.option(
    "--target-curve",
    metavar="NAME",
    default="BT.1886",
    show_default=True,
    help="How what comes out is seen.",
)
@click.option(
    "--target-gamut",
    metavar="NAME",
    default="BT.709",
    show_default=True,
    help="The gamut that what comes out is seen in.",
)
@click.option(
    "--limit",
    "limit_texts",
    multiple=True,
    metavar="CODE=VALUE",
    help="Another limit for a finding, as tint=2.5. May be given more than once.",
)
@click.option(
    "--fail-on",
    type=click.Choice(["info", "warning", "error"]),
    help="Exit with status 1 when a finding is this bad or worse.",
)
@click.option(
    "--page", metavar="OUT.html", help="Write a page to look at, for one LUT: one file, offline."
)
@click.option(
    "--sheet", metavar="OUT.png", help="Write a contact sheet: one still through every LUT."
)
@click.option(
    "--set-sheet",
    metavar="OUT.html",
    help="Write the set on one page to print: what each LUT is for, its levels, its checksum.",
)
@click.option(
    "--still",
    metavar="FILE",
    help="The still that they show, as it was recorded. [default: one of ours]",
)
@click.option(
    "--sort",
    type=click.Choice(_SORTS),
    default="name",
    show_default=True,
    help="The order of several LUTs: by name, worst finding, kind, or level of mid grey.",
)
@definitions_option
@json_option
@force_option
@gathered(names=Names, ranges=LutRanges, pictures=Pictures, judging=Judging)
def command(
    luts: tuple[str, ...],
    names: Names,
    ranges: LutRanges,
    pictures: Pictures,
    judging: Judging,
    **options: Any,
) -> int:
    """Say what a LUT does, and what is wrong with it.

    One LUT gets a report; several, or a folder, one line each. Findings are
    info (right for some LUTs, wrong for others), warnings (a defect that shows)
    and errors (useless as it is).

    \b
    Example:
      lutbench inspect day.cube --source-curve ACEScct --source-gamut "ACES AP1"
      lutbench inspect luts/ --sheet sheet.png --source-curve ACEScct
      lutbench inspect luts/ --set-sheet set.html
    """
    from lutbench.formats.folders import lut_files
    from lutbench.inspection.inspection import inspect
    from lutbench.inspection.limits import Limits

    files, many = lut_files(luts)
    if pictures.page and many:
        raise LutbenchError("a page shows one LUT", where="--page", accepted="one file")
    catalogue = catalogue_of(options["definitions"])
    settings = {**names.found(catalogue), **vars(ranges)}
    limits = Limits.parse(judging.limit_texts)

    found: list[Inspection] = []
    unreadable: list[dict[str, str]] = []
    for file in (each.path for each in files):
        try:
            found.append(inspect(file, **settings, limits=limits, catalogue=catalogue))
        except LutbenchError as error:
            if not many:
                raise
            unreadable.append({"file": file, "error": str(error)})
    found.sort(key=_sort_key(judging.sort))

    _draw(found, pictures, catalogue)
    if options["as_json"] and many:
        luts_data = [each.to_data() for each in found]
        print_json({"schema": SCHEMA, "luts": luts_data, "unreadable": unreadable})
    elif options["as_json"]:
        print_json(found[0].to_data())
    elif many:
        print_many(found, unreadable)
    else:
        print_one(_identified(found[0], catalogue))
    return _status(found, unreadable, judging.fail_on)


def _draw(found: list[Inspection], pictures: Pictures, catalogue: Catalogue) -> None:
    """The page and the sheets that were asked for."""
    if pictures.page:
        _write_page(found[0], pictures.page, pictures.still, catalogue, pictures.force)
    if pictures.sheet:
        _write_sheet(found, pictures.sheet, pictures.still, pictures.force)
    if pictures.set_sheet:
        from lutbench.report.set_sheet import write_set_sheet

        write_set_sheet(found, pictures.set_sheet, still=pictures.still, force=pictures.force)
        say(f"{pictures.set_sheet}: set sheet written")


def _identified(found: Inspection, catalogue: Catalogue) -> Inspection:
    """The inspection with what its numbers say, where neither the user nor the file does."""
    from lutbench.inspection.identified import identified

    return found if found.known_by else identified(found, catalogue)[0]


def _sort_key(sort: str) -> Any:
    from lutbench.inspection.finding import SEVERITIES

    def key(found: Inspection) -> tuple[Any, ...]:
        name = (found.file or "").casefold()
        if sort == "worst":
            return (-(SEVERITIES.index(found.worst) if found.worst else -1), name)
        if sort == "kind":
            return (found.kind, name)
        if sort == "grey":
            return (found.mid_grey_out, name)
        return (name,)

    return key


def _status(found: list[Inspection], unreadable: list[dict[str, str]], fail_on: str | None) -> int:
    from lutbench.inspection.finding import SEVERITIES

    if unreadable:
        return 2
    if fail_on is None:
        return 0
    least = SEVERITIES.index(fail_on)
    bad = any(each.worst and SEVERITIES.index(each.worst) >= least for each in found)
    return 1 if bad else 0


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
    from lutbench.report.pictures import gamut_for_pictures, our_still

    if not found:
        raise LutbenchError("there is no LUT to show", where=sheet)
    first = found[0]
    picture = read_still(still) if still else our_still(first)
    under = "recorded as it is"
    if first.source_curve is not None:
        under = f"recorded in {first.source_curve.name}"
        if still is None:
            told = "" if first.source_gamut is not None else " (assumed)"
            under += f", {gamut_for_pictures(first).name}{told}"
    elif still is None:
        under = "a picture that is not log: name --source-curve, or give a log still with --still"
    drawn = lut_sheet(
        picture,
        [(each.name, each.lut) for each in found],
        heading=f"{len(found)} LUT{'s' if len(found) != 1 else ''}",
        subheading=under,
    )
    write_sheet(drawn, sheet, force=force)
    say(f"{sheet}: contact sheet written")
