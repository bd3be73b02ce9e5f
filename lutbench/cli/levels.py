"""``lutbench levels``: the signal levels of light on a curve, and after LUTs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lutbench.cli.options import (
    LutRanges,
    catalogue_of,
    definitions_option,
    force_option,
    grouped_options,
    json_option,
    note,
    number_option,
    print_json,
    project_here,
    range_options,
    say,
    text_option,
)
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.cli.levels_subjects import LevelsSubject
    from lutbench.exposure.levels import Levels
    from lutbench.exposure.luminance import Shown
    from lutbench.exposure.sets import SetLevels
    from lutbench.model.catalogue import Catalogue
    from lutbench.recipes.project import Project


ZEBRA_STEP_PERCENT = 5.0
"""Percent from one zebra setting to the next on most cameras."""


@dataclass(frozen=True)
class Recording:
    """The camera's curve and the LUT by name, and the definitions to look names up in."""

    curve: str | None
    lut: str | None
    definitions: tuple[str, ...]


@dataclass(frozen=True)
class Metering:
    """How the scene is exposed, and the zebra and filters that are available."""

    expose: float
    zebra_min: float | None
    zebra_step: float | None
    over_exposure: float | None
    filters: tuple[float, ...]

    def of_project(self, project: Project | None) -> Metering:
        """With the project's zebra and filters, where the command line gives none."""
        if project is None:
            return self
        return replace(
            self,
            zebra_min=project.zebra.lowest if self.zebra_min is None else self.zebra_min,
            zebra_step=project.zebra.step if self.zebra_step is None else self.zebra_step,
            filters=self.filters or project.filters,
        )


@dataclass(frozen=True)
class DisplayOptions:
    """The display that the picture is viewed on."""

    display_peak: float | None
    display_black: float
    surround: float | None
    target_curve: str | None


@dataclass(frozen=True)
class Printing:
    """The form in which levels are printed, and the head of a card."""

    as_csv: bool
    cards: tuple[str, ...]
    project: str
    date: str
    exposure_index: str
    as_json: bool
    force: bool


@click.command()
@click.argument("subjects", metavar="[LUT|RECIPE]...", nargs=-1)
@click.option(
    "--curve",
    metavar="NAME",
    help="The curve that the camera records: see `lutbench list curves`. [default: from the "
    "recipe, the comments of the LUT or its numbers]",
)
@click.option("--lut", metavar="FILE", help="A LUT: the same as naming it without an option.")
@number_option(
    "--expose",
    "STOPS",
    "Stops of deliberate over-exposure (+1) or under-exposure (-1): every subject is recorded "
    "that much brighter or darker, and in a set of LUTs the one that corrects it is marked.",
    default=0.0,
)
@number_option(
    "--zebra-min",
    "PERCENT",
    "The lowest zebra setting of the camera. [default: the project's, or no lower limit]",
)
@number_option(
    "--zebra-step",
    "PERCENT",
    "The steps of the camera's zebra setting. [default: the project's, or 5]",
)
@number_option(
    "--over-exposure",
    "STOPS",
    "How many stops too bright the meter reads: suggests the neutral density that corrects it.",
)
@number_option(
    "--filter filters",
    "DENSITY",
    "A neutral density filter that you have, such as 0.6; may be given more than once. "
    "[default: 0.3 to 3.0]",
    multiple=True,
)
@number_option("--display-peak", "CD/M²", "The peak of your display: adds a column of cd/m².")
@number_option("--display-black", "CD/M²", "The black of that display. [default: 0]", default=0.0)
@number_option(
    "--surround",
    "CD/M²",
    "The luminance around that display, on which HLG depends. [default: 5]",
)
@click.option(
    "--target-curve",
    metavar="NAME",
    help="With --display-peak: the curve that comes out of the LUT. [default: from the recipe "
    "or the comments of the LUT]",
)
@range_options
@click.option("--csv", "as_csv", is_flag=True, help="Print the table as CSV.")
@click.option(
    "--card",
    "cards",
    multiple=True,
    metavar="OUT",
    help="Write a one-page card to take on set: OUT.html or OUT.png. May be given more than once.",
)
@text_option("--project", "The production, for the card's head.")
@text_option("--date", "The day, for the card's head.")
@text_option(
    "--exposure-index", "The exposure index that the camera is set to, for the card's head."
)
@definitions_option
@json_option
@force_option
@grouped_options(
    recording=Recording,
    metering=Metering,
    ranges=LutRanges,
    screen=DisplayOptions,
    printing=Printing,
)
def command(
    subjects: tuple[str, ...],
    recording: Recording,
    metering: Metering,
    ranges: LutRanges,
    screen: DisplayOptions,
    printing: Printing,
) -> None:
    """Show where grey, skin, white and each stop lie on a curve, and after a LUT.

    A recipe, a folder or several LUTs are shown side by side. Codes are given for a
    signal recorded in full range and in legal range: the same code is not the same
    signal in both. The camera's manual says which one it records. Percent is percent
    of the nominal signal (IRE).

    \b
    Example:
      lutbench levels --curve "BT.2100 HLG" --zebra-min 50
      lutbench levels day.cube --expose +1 --card levels.png
      lutbench levels day.toml
      lutbench levels --curve "BT.2100 HLG" --display-peak 600 --surround 20
    """
    from lutbench.cli.levels_subjects import asked, members, only_one, say_how

    if printing.as_csv and printing.as_json:
        raise LutbenchError("--csv and --json cannot both be printed", accepted="one of them")
    _check_cards(printing.cards)
    names = subjects if recording.lut is None else (*subjects, recording.lut)
    catalogue = catalogue_of(recording.definitions)
    project = project_here()
    found, several = asked(names, recording.curve, catalogue, project)
    say_how(found)
    metering = metering.of_project(project)

    def read(subject: LevelsSubject) -> Levels:
        shown = _shown(screen, subject, catalogue)
        return _levels(subject, ranges, metering, shown)

    if several:
        from lutbench.exposure.sets import SetLevels

        if printing.cards:
            only_one(found, "--card")
        _show_set(SetLevels(members(found, read), metering.expose), printing)
        if left_out := [each.name for each in found if each.unusable]:
            raise LutbenchError(f"cannot be used, so it is left out: {', '.join(left_out)}")
    else:
        _show(read(found[0]), found[0], printing)


def _levels(
    subject: LevelsSubject, ranges: LutRanges, metering: Metering, shown: Shown | None
) -> Levels:
    from lutbench.exposure.levels import levels

    assert subject.curve is not None
    return levels(
        subject.curve,
        subject.lut,
        lut_name=subject.name,
        source_range=ranges.source_range or subject.source_range,
        target_range=ranges.target_range or subject.target_range,
        exposed=metering.expose,
        zebra_min=metering.zebra_min or 0.0,
        zebra_step=ZEBRA_STEP_PERCENT if metering.zebra_step is None else metering.zebra_step,
        over_exposure=metering.over_exposure,
        filters=metering.filters,
        shown=shown,
    )


def _shown(screen: DisplayOptions, subject: LevelsSubject, catalogue: Catalogue) -> Shown | None:
    """The picture on the display that the options describe; None where they describe none."""
    from lutbench.exposure.luminance import shown_on
    from lutbench.model.light import REFERENCE_SURROUND_CD_M2, Display

    if subject.calibrated:
        return _measured(screen, subject)
    if screen.display_peak is None:
        if screen.display_black or screen.surround or screen.target_curve:
            raise LutbenchError("no display is named", accepted="--display-peak CD/M²")
        return None
    surround = REFERENCE_SURROUND_CD_M2 if screen.surround is None else screen.surround
    display = Display(screen.display_peak, screen.display_black, surround)
    if subject.lut is None and subject.curve is not None:
        return shown_on(subject.curve, display)
    name = screen.target_curve or subject.target_curve
    if name is None:
        raise LutbenchError(
            "the curve of the LUT's output is not known", accepted="--target-curve NAME"
        )
    gamut = catalogue.gamut(subject.target_gamut) if subject.target_gamut else None
    return shown_on(catalogue.curve(name, where="--target-curve", exact=False), display, gamut)


def _measured(screen: DisplayOptions, subject: LevelsSubject) -> Shown | None:
    """The picture through a LUT that is calibrated for a measured display, from its readings."""
    if screen.display_peak or screen.display_black or screen.surround or screen.target_curve:
        raise LutbenchError(
            "the LUT gives the code values of a measured display, so no other display can be named",
            where=subject.name,
            accepted="RECIPE.toml#NAME, which gives cd/m² from the readings",
        )
    if subject.measured is None:
        note(
            f"{subject.name} is calibrated for a measured display: it gives that display's own "
            "code values, so percent after the LUT is not percent of the target's signal"
        )
        return None
    return subject.measured.shown


def _show(day: Levels, subject: LevelsSubject, printing: Printing) -> None:
    if subject.note:
        note(f"{subject.name}: {subject.note}")
    if day.exposed and subject.exposure is not None:
        _note_other_rung(day.exposed, subject)
    for card in printing.cards:
        from lutbench.report.card import CardHead, write_card

        project = project_here()
        title, index = (project.title, str(project.exposure_index)) if project else ("", "")
        head = CardHead(printing.project or title, printing.date, printing.exposure_index or index)
        write_card(day, card, head=head, force=printing.force)
        say(f"{card}: card written")
    if printing.as_json:
        print_json(day.to_data())
    elif printing.as_csv:
        from lutbench.exposure.csv_table import csv_text

        click.echo(csv_text(day), nl=False)
    else:
        from lutbench.cli.levels_print import print_levels

        print_levels(day)


def _note_other_rung(exposed: float, subject: LevelsSubject) -> None:
    """Print a note where the LUT's exposure compensation does not match the exposure."""
    from lutbench.exposure.reading import signed_stops
    from lutbench.exposure.sets import compensates, missing_lut

    if not compensates(subject.exposure, exposed):
        note(
            f"the scene is exposed {signed_stops(exposed)}, and {subject.name} does not bring it "
            f"back (it changes exposure by {signed_stops(subject.exposure or 0.0)}): "
            f"{missing_lut(exposed)}"
        )


def _show_set(found: SetLevels, printing: Printing) -> None:
    if printing.as_json:
        print_json(found.to_data())
    elif printing.as_csv:
        from lutbench.exposure.csv_table import set_csv_text

        click.echo(set_csv_text(found), nl=False)
    else:
        from lutbench.cli.levels_print import print_set

        print_set(found)


def _check_cards(cards: tuple[str, ...]) -> None:
    for card in cards:
        if Path(card).suffix.lower() not in (".html", ".png"):
            raise LutbenchError(
                "is not a card", where=card, accepted="a name that ends in .html, .png"
            )
