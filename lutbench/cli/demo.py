"""``lutbench demo``: the whole job on an invented production."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lutbench.cli.options import force_option, json_option, print_json
from lutbench.cli.terminal import console

if TYPE_CHECKING:
    from lutbench.demo import Demo


@click.command()
@click.argument("folder", metavar="[DIR]", default="lutbench-demo")
@force_option
@json_option
@click.pass_context
def command(ctx: click.Context, folder: str, force: bool, as_json: bool) -> None:
    """Run the whole job on the demo set, and list the files worth opening.

    Builds the monitoring LUTs of "Salt Road", an invented production shot on an
    invented camera, puts a log photograph and a measured chart through them,
    calculates the day's exposure levels, identifies and inspects LUTs, writes a
    report, and runs the set's regression suite. Writes into DIR (lutbench-demo
    where none is given).

    \b
    Example:
      lutbench demo
    """
    from lutbench.demo import run_demo

    screen = console(stderr=True)

    def progress(step: str) -> None:
        if screen.is_terminal:
            screen.print(f"{step} …", style="dim")

    demo = run_demo(folder, force=force, progress=progress)
    if as_json:
        print_json(demo.to_data())
    else:
        _print(demo)
    ctx.exit(1 if demo.failed else 0)


def _print(demo: Demo) -> None:
    from rich.table import Table

    screen = console()
    screen.print('"Salt Road", an invented production shot on the invented camera Tarn 4\n')
    findings = [(each.step, each.text) for each in demo.findings]
    for rows in (findings, [(str(each.path), each.shows) for each in demo.look_at]):
        table = Table.grid(padding=(0, 2))
        table.add_column(overflow="fold", style="bold")
        table.add_column()
        for left, right in rows:
            table.add_row(left, right)
        screen.print(table)
        screen.print()
    for failure in demo.failed:
        screen.print(f"FAILED: {failure}", style="bold red", markup=False)
    screen.print("For viewing: delivery has its own specification.", style="dim")
