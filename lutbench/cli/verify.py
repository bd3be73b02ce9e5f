"""``lutbench verify``: run a suite of checks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import (
    definitions_option,
    force_option,
    grouped_options,
    json_option,
    print_json,
)
from lutbench.cli.spelling import with_options
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from rich.console import Console

    from lutbench.checks.runner import Outcome, Report
    from lutbench.checks.suite import Suite

INDENT_COLUMNS = 9
"""Columns before the details of a check: eight for its status, and a space."""

MARKS = {
    "passed": ("pass", "green"),
    "recorded": ("recorded", "cyan"),
    "failed": ("FAIL", "bold red"),
    "error": ("ERROR", "bold red"),
}


@dataclass(frozen=True)
class Selection:
    """Which checks are run."""

    expression: str
    tags: tuple[str, ...]


@dataclass(frozen=True)
class Running:
    """How the checks are run, and whether baselines are recorded."""

    jobs: int
    scheduler: str | None
    record: bool
    force: bool


@dataclass(frozen=True)
class ReportOptions:
    """What is reported about the checks, and where."""

    junit: str | None
    verbose: bool
    only_list: bool
    as_json: bool


@click.command()
@click.argument("suites", nargs=-1, metavar="SUITE.toml ...")
@click.option(
    "--self",
    "check_self",
    is_flag=True,
    help="Check this installation: curves and gamuts against published values and the registry, "
    "and loops over pixels, which are compiled for this processor if they are not yet.",
)
@click.option(
    "-k",
    "--expression",
    default="",
    metavar="WORDS",
    help='Only checks whose name matches: "viewing", "viewing and not small".',
)
@click.option(
    "--tag", "tags", multiple=True, metavar="TAG", help="Only checks with this tag. Repeatable."
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 64),
    default=1,
    show_default=True,
    metavar="N",
    help="Checks that run at the same time.",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Send the checks to the Dask scheduler at ADDRESS (tcp://HOST:PORT).",
)
@click.option("--junit", metavar="FILE", help="Write JUnit XML as well, for a CI server.")
@click.option(
    "--record",
    is_flag=True,
    help="Record baselines and stored stills (only those checks run); --force replaces them.",
)
@click.option("-v", "--verbose", is_flag=True, help="Also show the figures of checks that pass.")
@click.option("--list", "only_list", is_flag=True, help="List the checks, do not run them.")
@definitions_option
@force_option
@json_option
@grouped_options(selection=Selection, running=Running, report=ReportOptions)
def command(
    suites: tuple[str, ...],
    check_self: bool,
    selection: Selection,
    running: Running,
    report: ReportOptions,
    definitions: tuple[str, ...],
) -> int:
    """Run the checks of each SUITE and report those that fail.

    The exit status is 0 when every check passes, 1 when one fails, 2 when a
    suite cannot be used. A failed check states by how much, where, and the
    command that shows it.

    \b
    Examples:
      lutbench verify --self
      lutbench verify day.lutbench.toml --junit report.xml
      lutbench verify day.lutbench.toml -k viewing --record
    """
    from lutbench.checks.runner import SuiteRun, run_suite
    from lutbench.checks.suite import read_suite

    if check_self == bool(suites):
        raise LutbenchError(
            "--self takes no suite" if suites else "no suite is named",
            accepted="SUITE.toml, or --self",
        )
    with _opened(suites, check_self) as paths:
        read = [read_suite(path, definitions) for path in paths]
        chosen = _chosen(read, selection, running.record)
        if report.only_list:
            return _list(chosen, report.as_json)
        reports = [
            run_suite(
                suite,
                checks,
                SuiteRun(running.jobs, running.scheduler, running.record, running.force),
                on_outcome=_silent if report.as_json else _printer(suite, report.verbose),
            )
            for suite, checks in chosen
        ]
    if report.junit is not None:
        from lutbench import files
        from lutbench.checks.junit import junit_xml

        # Each run replaces the report of the one before.
        files.write_bytes(report.junit, junit_xml(reports), force=True)
    passed = bool(reports) and all(each.passed for each in reports)
    if report.as_json:
        data = [each.to_data() for each in reports]
        print_json({"passed": passed, "suites": data})
    else:
        _print_summary(reports)
    return 0 if passed else 1


def _chosen(
    read: Sequence[Suite], selection: Selection, record: bool
) -> list[tuple[Suite, list[Any]]]:
    """The suites, each with its selected checks."""
    wanted = (selection.expression, selection.tags)
    suites = _with_any(read, *wanted) if len(read) > 1 else read
    chosen = [(suite, suite.selected(*wanted)) for suite in suites]
    if record:
        return [(suite, _recordable(suite, checks)) for suite, checks in chosen]
    return chosen


def _opened(suites: tuple[str, ...], check_self: bool) -> AbstractContextManager[Sequence[Any]]:
    from lutbench.resources import self_suite

    return self_suite() if check_self else nullcontext(suites)


def _with_any(suites: Sequence[Suite], expression: str, tags: tuple[str, ...]) -> Sequence[Suite]:
    """The suites in which the selection leaves a check; all of them if it leaves none."""

    def has_any(suite: Suite) -> bool:
        try:
            return bool(suite.selected(expression, tags))
        except LutbenchError:
            return False

    return [suite for suite in suites if has_any(suite)] or suites


def _recordable(suite: Suite, checks: list[Any]) -> list[Any]:
    kept = [check for check in checks if check.kind in ("baseline", "picture")]
    if not kept:
        raise LutbenchError(
            "none of the selected checks can be recorded",
            where=suite.path,
            accepted="checks of kind baseline or picture",
        )
    return kept


def _list(chosen: list[tuple[Suite, list[Any]]], as_json: bool) -> int:
    from rich.markup import escape

    from lutbench.cli.tables import plain_table

    if as_json:
        rows = [
            {"suite": str(suite.path), "name": each.name, "kind": each.kind}
            | {"tags": list(each.tags), "reason": each.reason}
            for suite, checks in chosen
            for each in checks
        ]
        print_json({"checks": rows})
        return 0
    screen = console(markup=True)
    for suite, checks in chosen:
        table = plain_table("check", "kind", "tags", "reason")
        for each in checks:
            row = (each.name, each.kind, ", ".join(each.tags), each.reason)
            table.add_row(*map(escape, row))
        screen.print(f"[bold]{escape(suite.title)}[/bold]")
        screen.print(table)
    return 0


def _silent(outcome: Outcome) -> None:
    """Print nothing: with --json the report comes at the end."""


def _printer(suite: Suite, verbose: bool) -> Callable[[Outcome], None]:
    """A function that prints the outcomes of a suite as they come, under its title."""
    from rich.markup import escape

    screen = console(markup=True)
    titled: list[bool] = []

    def show(outcome: Outcome) -> None:
        if not titled:
            screen.print(f"[bold]{escape(suite.title)}[/bold]")
            titled.append(True)
        _print(screen, outcome, verbose)

    return show


def _print(screen: Console, outcome: Outcome, verbose: bool) -> None:
    """Print an outcome: a line, and for a failure where, why and the command that shows it."""
    from rich.markup import escape
    from rich.text import Text

    mark, style = MARKS[outcome.status]
    screen.print(
        f"[{style}]{mark:8s}[/{style}] {escape(outcome.name)}  [dim]{outcome.kind}[/dim]",
        soft_wrap=True,
    )
    if outcome.holds and not verbose:
        return
    lines = [(with_options(outcome.summary), "dim" if outcome.holds else "")]
    if not outcome.holds:
        lines += [
            (outcome.where, ""),
            (outcome.reason and f"why it counts: {outcome.reason}", "dim"),
        ]
    for text, line_style in lines:
        for line in (
            Text(text, line_style).wrap(screen, screen.width - INDENT_COLUMNS) if text else []
        ):
            line.rstrip()
            screen.print(Text(" " * INDENT_COLUMNS) + line)
    if outcome.show and not outcome.holds:
        # Not wrapped, so that the command can be pasted.
        screen.print(f"{'':{INDENT_COLUMNS}}to see it: {escape(outcome.show)}", soft_wrap=True)


def _print_summary(reports: list[Report]) -> None:
    outcomes = [outcome for report in reports for outcome in report.outcomes]
    counts = {status: sum(each.status == status for each in outcomes) for status in MARKS}
    words = {"error": "could not be done"}
    parts = [f"{count} {words.get(status, status)}" for status, count in counts.items() if count]
    seconds = sum(each.seconds for each in outcomes)
    style = "bold green" if all(each.holds for each in outcomes) else "bold red"
    console(markup=True).print(
        f"[{style}]{', '.join(parts)}[/{style}] [dim]({seconds:.1f} s of work)[/dim]"
    )
