"""``lutbench monitor``: find out what a monitor does with a LUT."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lutbench.cli.options import Reporting, force_option, grouped_options, json_option, print_json
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.media.probe.read import Answer, ProbeReading


size_option = click.option(
    "--size",
    type=click.Choice(["17", "33", "65"]),
    default="33",
    show_default=True,
    help="Nodes along an edge of the probe LUT: the size of the LUTs that you use.",
)


@click.group(invoke_without_command=True)
@click.pass_context
def command(context: click.Context) -> None:
    """Find out what a monitor does with a LUT.

    Whether it reads full or legal codes, the order of its channels, how many
    nodes it uses and how it interpolates, how many bits arrive, whether black or
    white is clipped, and whether its own controls come before the LUT.

    \b
    Example:
      lutbench monitor draw monitor-test
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


@command.command(short_help="Write the test pictures, two LUTs and a page that explains the test.")
@click.argument("folder")
@size_option
@json_option
@force_option
@grouped_options(report=Reporting)
def draw(folder: str, size: str, report: Reporting) -> None:
    """Write two pictures, two LUTs and a page that explains what to look for.

    \b
    Example:
      lutbench monitor draw monitor-test
    """
    from lutbench.report.monitor_page import write_monitor_set

    paths = write_monitor_set(folder, int(size), force=report.force)
    if report.as_json:
        print_json({"size": int(size), "files": [str(path) for path in paths]})
        return
    screen = console()
    for path in paths:
        screen.print(str(path), soft_wrap=True)
    screen.print(f"Open {paths[-1]}: it guides you through the test.", soft_wrap=True)


@command.command(short_help="Read a grab of the monitor's output.")
@click.argument("grab")
@size_option
@click.option(
    "--turned",
    metavar="GRAB",
    help="A second grab, with the monitor's contrast or brightness changed: shows whether the LUT "
    "comes before its controls.",
)
@json_option
def read(grab: str, size: str, turned: str | None, as_json: bool) -> None:
    """Read a grab of the monitor's output, taken through the probe LUT.

    GRAB is a still of the whole picture, scaled or moved but not rotated: a
    recording of the monitor's output or a screen grab, not a photograph.

    \b
    Example:
      lutbench monitor read grab.png
    """
    from lutbench.media.probe.read import controls_answer, line_in
    from lutbench.media.still.still import read_still

    found = _read(grab, int(size))
    answers = list(found.answers)
    if turned is not None:
        after = line_in(read_still(turned).signal(), int(size), found.codes, turned)
        answers.append(controls_answer(found.line_at, after))
    if as_json:
        print_json(found.to_data() | {"answers": [each.to_data() for each in answers]})
    else:
        _print(answers, found)


def _read(path: str, size: int) -> ProbeReading:
    """Read a grab, as the full-range or the legal-range picture, whichever fits."""
    from lutbench.media.probe.read import read_board
    from lutbench.media.still.still import read_still

    picture = read_still(path).signal()
    full = read_board(picture, size, "full", path)
    if full.answer("range").sound:
        return full
    try:
        legal = read_board(picture, size, "legal", path)
    except LutbenchError:
        return full
    is_answered = legal.answer("range").sound and legal.answer("channels").sound is not None
    return legal if is_answered else full


def _print(answers: list[Answer], found: ProbeReading) -> None:
    from lutbench.cli.tables import fact_table

    screen = console()
    marks = {True: "yes", False: "NO", None: "–"}
    rows = [
        (marks[each.sound], each.found + (f": {each.advice}" if each.advice else ""))
        for each in answers
    ]
    screen.print(f"{found.codes}.png through a probe LUT of {found.size} nodes", soft_wrap=True)
    screen.print(fact_table(rows))
    screen.print(
        "This shows how the monitor treats a LUT, and what its output holds. What it does to its "
        "panel alone is not in a grab: that needs a meter (`lutbench display`).",
        style="dim",
    )
