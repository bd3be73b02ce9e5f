"""``lutbench display``: draw patches, and fit, calibrate and check a measured display."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from lutbench.cli.display_patches import PatchOptions, write_patches
from lutbench.cli.display_print import print_calibrated, print_check, print_fit, target_words
from lutbench.cli.options import (
    Reporting,
    catalogue_of,
    definitions_option,
    force_option,
    grouped_options,
    json_option,
    print_json,
)
from lutbench.cli.params import LimitParam
from lutbench.cli.results import (
    output_option,
    print_written,
    refuse_existing,
    title_option,
    write_lut,
)
from lutbench.cli.spelling import NumberIn
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.display.check import DisplayCheck
    from lutbench.display.fit import DisplayFit
    from lutbench.display.measurements import Measurements
    from lutbench.display.target import Target
    from lutbench.model.curves.base import Curve
    from lutbench.model.gamuts import Gamut
    from lutbench.model.signal import Range

F = TypeVar("F", bound=Callable[..., Any])
RANGES = click.Choice(["full", "legal"])


@dataclass(frozen=True)
class Readings:
    """Bit depth and range of the code values in a file of readings."""

    bits: str | None
    range_: Range | None

    def of(self, path: str) -> Measurements:
        """Read a file of readings."""
        from lutbench.display.measurements import read_measurements

        return read_measurements(path, int(self.bits) if self.bits else None, self.range_)


@dataclass(frozen=True)
class Wanted:
    """The target of the display, by name, and the definitions to look names up in."""

    target_curve: str
    target_gamut: str
    display_peak: float | None
    surround: float
    mastered_at: float | None
    definitions: tuple[str, ...]

    def checked(self, readings: Measurements, black: float | None) -> DisplayCheck:
        """Readings against the target."""
        from lutbench.display.check import check_display

        found = check_display(readings, *self._named(), self.display_peak, black, self.mastered_at)
        return replace(found, target=replace(found.target, surround=self.surround))

    def fitted(self, readings: Measurements) -> tuple[DisplayFit, Target]:
        """The display model fitted to its readings, and the target."""
        from lutbench.display.fit import fit_display
        from lutbench.display.target import target_for

        curve, gamut = self._named()
        found = fit_display(readings)
        target = target_for(found.model, curve, gamut, self.display_peak, self.mastered_at)
        return found, replace(target, surround=self.surround)

    def _named(self) -> tuple[Curve, Gamut]:
        known = catalogue_of(self.definitions)
        return (
            known.curve(self.target_curve, "--target-curve"),
            known.gamut(self.target_gamut, "--target-gamut"),
        )


@dataclass(frozen=True)
class Making:
    """The LUT to make: its input range, size and title, and the LUT in front of it."""

    behind: str | None
    size: int
    source_range: Range
    title: str


@dataclass(frozen=True)
class Checking:
    """The black level and limit of a check, and the page to write."""

    display_black: float | None
    page: str | None
    limit_delta_e: float | None


def reading_options(function: F) -> F:
    """``--bits`` and ``--range`` of the code values in the CSV file."""
    bits = click.option(
        "--bits",
        type=click.Choice(["8", "10", "12", "16"]),
        help="Bits of the code values in the file. [default: from its largest code, white]",
    )
    span = click.option(
        "--range", "range_", type=RANGES, help="The range of those codes. [default: from white]"
    )
    return bits(span(function))


def target_options(function: F) -> F:
    """Options for the target of the display."""
    options = [
        click.option("--target-curve", metavar="NAME", default="BT.1886", show_default=True,
                     help="The display curve that signals are meant for."),
        click.option("--target-gamut", metavar="NAME", default="BT.709", show_default=True,
                     help="The gamut that signals are meant for."),
        click.option("--display-peak", type=NumberIn(1, 10000), metavar="CD/M2",
                     help="Luminance of white. [default: the highest that the display reaches]"),
        click.option("--surround", type=NumberIn(0.1, 1000), default=5.0,
                     show_default=True, metavar="CD/M2",
                     help="With BT.2100 HLG: the luminance around the display."),
        click.option("--mastered-at", type=NumberIn(1, 10000), metavar="CD/M2",
                     help="With ST 2084: the peak of the mastering display; what this display "
                     "cannot reach is rolled off (BT.2390). [default: it is clipped]"),
    ]  # fmt: skip
    for option in reversed(options):
        function = option(function)
    return function


@click.group(invoke_without_command=True)
@click.pass_context
def command(context: click.Context) -> None:
    """Measure a display, calibrate it with a LUT, and check it.

    Show the patches, enter what a meter reads, and see how accurate the display is
    and what it can reach. Each command has its own help.

    \b
    Examples:
      lutbench display patches shown
      lutbench display fit measured.csv
      lutbench display calibrate measured.csv -o calibration.cube
      lutbench display check second.csv --page check.html
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


@command.command(short_help="Draw the patches to show, and the table for readings.")
@click.argument("folder")
@click.option(
    "--amount",
    type=click.Choice(["short", "usual", "long"]),
    default="usual",
    show_default=True,
    help="How many patches: 73, 204 or 685.",
)
@click.option("--bits", type=click.Choice(["8", "10", "12"]), default="10", show_default=True,
              help="Bits of the code values.")  # fmt: skip
@click.option("--range", "range_", type=RANGES, default="full", show_default=True,
              help="Range of the code values.")  # fmt: skip
@click.option("--frame", default="1920x1080", show_default=True, metavar="WxH",
              help="Width and height of the stills in pixels.")  # fmt: skip
@click.option("--window", type=NumberIn(1, 100), default=18.0, show_default=True,
              metavar="PERCENT", help="The patch's share of the frame's area.")  # fmt: skip
@click.option("--table-only", is_flag=True, help="Write patches.csv alone, without stills.")
@force_option
@json_option
@grouped_options(options=PatchOptions, reporting=Reporting)
def patches(folder: str, options: PatchOptions, reporting: Reporting) -> None:
    """Draw the patches to show, each as a still, and the table for the readings.

    FOLDER gets patches.csv, in which you fill in X, Y and Z, and numbered stills
    (.png, 16 bits) with a patch in the middle of a black frame. They have to reach the
    display as code values, without colour management, in the display mode that you will
    use later.

    \b
    Example:
      lutbench display patches shown --amount short
    """
    write_patches(folder, options, reporting)


@command.command(short_help="Report how a measured display behaves.")
@click.argument("measured")
@target_options
@reading_options
@definitions_option
@json_option
@grouped_options(readings=Readings, wanted=Wanted)
def fit(measured: str, readings: Readings, wanted: Wanted, as_json: bool) -> None:
    """Report how a measured display behaves, and whether it can reach a target.

    MEASURED is a CSV file with the columns name, R, G, B (code values) and X, Y, Z, or
    Y, x, y, in cd/m². To measure the fit, each patch is predicted from the others.

    \b
    Example:
      lutbench display fit measured.csv --target-curve "ST 2084" --target-gamut P3-D65
    """
    from lutbench.display.reach import reach

    found, target = wanted.fitted(readings.of(measured))
    reached = reach(found.model, target)
    if as_json:
        data = {"target": target.to_data(), "reach": reached.to_data()}
        print_json({"file": measured, **found.to_data(), **data})
    else:
        print_fit(found, target, reached)


@command.command()
@click.argument("measured")
@output_option
@target_options
@click.option("--behind", metavar="LUT",
              help="A monitoring LUT: OUT does both, the monitoring LUT first.")  # fmt: skip
@click.option("--size", type=click.IntRange(2, 129), default=33, show_default=True, metavar="N",
              help="Nodes along an edge of OUT.")  # fmt: skip
@click.option("--source-range", type=RANGES, default="full", show_default=True,
              help="The range of the values that OUT takes (or LUT gives).")  # fmt: skip
@title_option
@reading_options
@definitions_option
@force_option
@json_option
@grouped_options(readings=Readings, wanted=Wanted, making=Making, reporting=Reporting)
def calibrate(
    measured: str,
    output: str,
    readings: Readings,
    wanted: Wanted,
    making: Making,
    reporting: Reporting,
) -> None:
    """Make the LUT that brings a measured display to a target.

    On its own, or with --behind combined with a monitoring LUT in front of it. OUT gives
    values in the range of the measured code values. Colours outside the display's gamut
    are clipped to its edge.

    \b
    Examples:
      lutbench display calibrate measured.csv -o calibration.cube
      lutbench display calibrate measured.csv --behind monitor.cube -o both.cube
    """
    from lutbench.display.calibration import calibrate as calibrated

    refuse_existing(output, reporting.force, as_json=reporting.as_json)
    front = _monitoring_lut(making.behind) if making.behind is not None else None
    found, target = wanted.fitted(readings.of(measured))
    made = calibrated(
        found.model,
        target,
        making.size,
        source_range=making.source_range,
        display_range=found.measurements.range,
        behind=front,
    )
    usual = f"{target.curve.name}, {target.gamut.name} on a measured display"
    made = replace(made, lut=made.lut.with_title(making.title or usual))
    # The comment that recipes write too: it says that the code values are a measured display's.
    for_display = f"measured display: {Path(measured).name}; {target_words(target)}"
    write_lut(made.lut, output, force=reporting.force, comments=(for_display,))
    if reporting.as_json:
        data = {"target": target.to_data(), **made.to_data()}
        print_json({"file": output, "measured": measured, **data})
    else:
        print_written(made.lut, output)
        print_calibrated(made, target)


@command.command(short_help="Check a display against a target.")
@click.argument("second", metavar="READINGS")
@target_options
@click.option("--display-black", type=NumberIn(0, 100), metavar="CD/M2",
              help="Luminance of black. [default: as read]")  # fmt: skip
@click.option("--page", metavar="OUT.html", help="Write the report as a page.")
@click.option("--limit-delta-e", type=LimitParam("delta_e_2000"), metavar="X",
              help="Fail (exit status 1) when the mean ΔE 2000 is over X.")  # fmt: skip
@reading_options
@definitions_option
@force_option
@json_option
@grouped_options(readings=Readings, wanted=Wanted, checking=Checking, reporting=Reporting)
def check(
    second: str, readings: Readings, wanted: Wanted, checking: Checking, reporting: Reporting
) -> int:
    """Check a display against a target: READINGS through the calibration.

    READINGS is a CSV file as for `fit`, with the code values of the target, shown through
    the LUT. White and black are taken from the readings unless given.

    \b
    Example:
      lutbench display check second.csv --page check.html
    """
    found = wanted.checked(readings.of(second), checking.display_black)
    if checking.page is not None:
        from lutbench import files
        from lutbench.report.display_page import display_html

        text = display_html(found, Path(second).name)
        files.write_text(checking.page, text, force=reporting.force)
    mean = found.spreads["all"]["delta_e_2000"].mean
    holds = checking.limit_delta_e is None or mean <= checking.limit_delta_e
    if reporting.as_json:
        print_json({"file": second, "holds": holds, **found.to_data()})
    else:
        print_check(found, checking.page, checking.limit_delta_e)
    return 0 if holds else 1


def _monitoring_lut(path: str) -> Any:
    from lutbench.formats.registry import open_lut
    from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D

    lut = open_lut(path)
    if not isinstance(lut, Lut1D | Lut3D | ShaperLut3D):
        raise LutbenchError(
            "is not a plain LUT", where=path, accepted="a .cube or a CLF of one LUT"
        )
    return lut
