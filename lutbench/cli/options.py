"""Options that several commands share, how they print, and what they say beside their reports."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from functools import wraps
from typing import TYPE_CHECKING, Any, TypeVar

import click

from lutbench import underway
from lutbench.files import OUTSIDE_VARIABLE, json_text
from lutbench.plaintext import STEERING, harmless, harmless_json
from lutbench.plaintext import printable as printable

if TYPE_CHECKING:
    from rich.console import Console
    from rich.segment import Segment

    from lutbench.hands import Hands
    from lutbench.model.catalogue import Catalogue
    from lutbench.model.signal import Range
    from lutbench.tables.carried import ValueRanges

WORTH_PROCESSES = 16
"""Files from which on processes of their own pay: each takes about a second to start."""

NOT_A_TERMINAL = 100
"""Columns where the output goes into a file or a pipe, and no terminal tells its width."""

LEAST_COLUMNS = 40
"""Columns under which no table can be read: a smaller width is not believed."""

F = TypeVar("F", bound=Callable[..., Any])


def gathered(**kinds: type[Any]) -> Callable[[F], Callable[..., Any]]:
    """Hand a command its options in groups, as settings objects.

    Each keyword names an argument of the command and a dataclass; the options that
    are named as its fields go into it; a field without an option keeps its default.
    """

    def decorate(command: F) -> Callable[..., Any]:
        @wraps(command)
        def call(**options: Any) -> Any:
            for name, kind in kinds.items():
                names = [each.name for each in fields(kind) if each.name in options]
                given = {name: options.pop(name) for name in names}
                options[name] = kind(**given)
            return command(**options)

        return call

    return decorate


def number_option(name: str, unit: str, text: str, **more: Any) -> Callable[[F], F]:
    """An option that takes a number; `more` is what click takes, `text` its help."""
    return click.option(*name.split(), type=float, metavar=unit, help=text, **more)


def text_option(name: str, text: str) -> Callable[[F], F]:
    """An option that takes a text, none unless given."""
    return click.option(name, default="", metavar="TEXT", help=text)


@dataclass(frozen=True)
class Reporting:
    """How a command writes and reports: ``--force`` and ``--json``."""

    force: bool
    as_json: bool


@dataclass(frozen=True)
class LutRanges:
    """The ranges of the values that a LUT takes and gives: see `range_options`."""

    source_range: Range
    target_range: Range


def definitions_option(function: F) -> F:
    """``--definitions FILE``, any number of times, and ``--no-user-definitions``."""
    own = click.option(
        "--user-definitions/--no-user-definitions",
        default=None,
        expose_value=False,
        callback=_set_user_definitions,
        help="Read the definitions in your own folder, or do not. [default: yes; no for verify]",
    )
    outside = click.option(
        "--allow-outside",
        is_flag=True,
        expose_value=False,
        callback=_allow_outside,
        help="Let recipes, suites and definitions read files outside their own folder.",
    )
    return click.option(
        "--definitions",
        "definitions",
        multiple=True,
        metavar="FILE",
        help="A TOML file with curves and gamuts of your own. May be given more than once.",
    )(own(outside(function)))


def _allow_outside(ctx: click.Context, parameter: click.Parameter, value: bool) -> None:
    if value:
        _set_for_the_command(ctx, OUTSIDE_VARIABLE, "yes")


def _set_user_definitions(
    ctx: click.Context, parameter: click.Parameter, value: bool | None
) -> None:
    if value is None:
        return
    from lutbench.model.catalogue import USER_VARIABLE

    _set_for_the_command(ctx, USER_VARIABLE, "yes" if value else "no")


def _set_for_the_command(ctx: click.Context, variable: str, value: str) -> None:
    """Say it by the environment, so that processes that this one starts know it too."""
    before = os.environ.get(variable)
    os.environ[variable] = value

    def restore() -> None:
        if before is None:
            os.environ.pop(variable, None)
        else:
            os.environ[variable] = before

    ctx.call_on_close(restore)


@dataclass(frozen=True)
class RunOptions:
    """Who does the work: see `hands_options`."""

    jobs: int | None
    scheduler: str | None

    def hands(self, count: int) -> Hands:
        """For `count` files: all cores unless told, this process alone where that is sooner."""
        from lutbench.hands import Hands
        from lutbench.tables.threads import thread_limit

        usual = thread_limit() if count >= WORTH_PROCESSES else 1
        return Hands(self.jobs or usual, self.scheduler)


def hands_options(what: str) -> Callable[[F], F]:
    """``--jobs`` and ``--scheduler``, for work on many of `what`."""

    def decorate(function: F) -> F:
        jobs = click.option(
            "--jobs",
            type=click.IntRange(1, 256),
            metavar="N",
            help=f"{what} processed at once. [default: one for each core]",
        )
        scheduler = click.option(
            "--scheduler",
            metavar="ADDRESS",
            help=f"Hand the {what} to the Dask scheduler at ADDRESS (tcp://HOST:PORT).",
        )
        return jobs(scheduler(function))

    return decorate


def json_option(function: F) -> F:
    """``--json``."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print the report as JSON instead of a table."
    )(function)


def force_option(function: F) -> F:
    """``--force``."""
    return click.option("--force", is_flag=True, help="Replace files that exist.")(function)


def interpolation_option(function: F) -> F:
    """``--interpolation tetrahedral|trilinear``."""
    return click.option(
        "--interpolation",
        type=click.Choice(["tetrahedral", "trilinear"]),
        help="How values between the nodes of a 3D LUT are found. [default: as the LUT says, "
        "else tetrahedral]",
    )(function)


def range_options(function: F) -> F:
    """``--source-range`` and ``--target-range``: as the curve's codes are published unless told."""
    return _range_options(function, "as the curve's codes are published, else full")


def lut_range_options(function: F) -> F:
    """``--source-range`` and ``--target-range``: as a LUT says unless told (`value_ranges`)."""
    return _range_options(function, "as the LUT's comments say, else full")


def _range_options(function: F, default: str) -> F:
    for name, what in (("--target-range", "gives"), ("--source-range", "takes")):
        function = click.option(
            name,
            type=click.Choice(["full", "legal"]),
            help=f"Whether the values that the LUT {what} are full-range or legal codes. "
            f"[default: {default}]",
        )(function)
    return function


def changed_range_options(given: str, made: str) -> Callable[[F], F]:
    """The ranges that a LUT is to be for, and (``--given-...``) those that it is for now."""

    def decorate(function: F) -> F:
        ranges = click.Choice(["full", "legal"])
        for end, does in (("target", "give"), ("source", "take")):
            says = f"The range that {given} was made to {does}. [default: full]"
            now = click.option(f"--given-{end}-range", type=ranges, default="full", help=says)
            function = now(function)
        for end, does in (("target", "give"), ("source", "take")):
            says = f"The range that {made} is to {does}. [default: as {given}]"
            function = click.option(f"--{end}-range", type=ranges, help=says)(function)
        return function

    return decorate


def clip_coding_options(function: F) -> F:
    """``--source-matrix`` and ``--file-range``: how the code values of the file are read."""
    matrix = click.option(
        "--source-matrix",
        type=click.Choice(["BT.601", "BT.709", "BT.2020"], case_sensitive=False),
        help="The Y'CbCr matrix of a clip, in place of what its tags say.",
    )
    span = click.option(
        "--file-range",
        type=click.Choice(["legal", "full"]),
        help="The range that IN carries its codes in. [default: of a clip, as its tags say; of "
        "a still, as the LUT takes them]",
    )
    return matrix(span(function))


def value_ranges(lut: Any, named: Any) -> ValueRanges:
    """The ranges of a LUT's values: as the options `named` say, else as its comments tell.

    Where neither does they are full.
    """
    from lutbench.inspection.comments import ends_in_comments
    from lutbench.tables.carried import ValueRanges

    told = ends_in_comments(getattr(lut, "comments", ()))
    return ValueRanges(
        named.source_range or (told["source"].range if "source" in told else "full"),
        named.target_range or (told["target"].range if "target" in told else "full"),
    )


def catalogue_of(definitions: tuple[str, ...], *, with_project: bool = True) -> Catalogue:
    """The catalogue with the project's definitions and those of ``--definitions``.

    A recipe is made without the project's: it gives the same bytes wherever it lies.
    """
    from lutbench.cli.project import project_here
    from lutbench.model.catalogue import open_catalogue

    project = project_here() if with_project else None
    return open_catalogue(*(project.definitions if project else ()), *definitions)


def print_json(data: dict[str, Any]) -> None:
    """Print a report as JSON, non-finite numbers as null so that every reader takes it."""
    underway.clear()
    click.echo(harmless_json(json_text(data, indent=2)))


def json_line(data: dict[str, Any]) -> str:
    """A report as one line of JSON, for commands that may report on many files."""
    return harmless_json(json_text(data))


def print_json_line(data: dict[str, Any]) -> None:
    """Print a report as one line of JSON."""
    click.echo(json_line(data))


def piped_width() -> int:
    """Columns for what goes into a pipe or a file: those of the terminal in front of the user.

    COLUMNS tells them, else the terminal that errors or the keyboard are on; 100 where there is
    no terminal at all.
    """
    told = os.environ.get("COLUMNS", "")
    if told.isdigit() and int(told) >= LEAST_COLUMNS:
        return int(told)
    for stream in (2, 0):
        try:
            columns = os.get_terminal_size(stream).columns
        except (OSError, ValueError):
            continue
        if columns >= LEAST_COLUMNS:
            return columns
    return NOT_A_TERMINAL


def console(*, stderr: bool = False, markup: bool = False) -> Console:
    """A rich console: NO_COLOR obeyed, as wide as the terminal, into a pipe too.

    Square brackets are text, unless `markup` is asked for: then every name that
    comes from outside must be escaped. Characters that steer a terminal are not printed.
    """
    from rich.console import Console
    from rich.segment import Segment

    class Screen(Console):
        def render(self, *args: Any, **options: Any) -> Iterable[Segment]:
            for segment in super().render(*args, **options):
                plain = segment.control or not STEERING.search(segment.text)
                yield segment if plain else Segment(harmless(segment.text), segment.style)

        def on_broken_pipe(self) -> None:
            # rich would exit with 1, which is for checks that fail.
            raise BrokenPipeError

    underway.clear()
    screen = Screen(stderr=stderr, highlight=False, markup=markup)
    if not screen.is_terminal:
        screen = Screen(stderr=stderr, highlight=False, markup=markup, width=piped_width())
    return screen


LOG = logging.getLogger("lutbench")

_LEVELS = {"quiet": logging.ERROR, "usual": logging.INFO, "verbose": logging.DEBUG}


class _Lines(logging.Handler):
    """A line a record, on the standard error of the moment."""

    def emit(self, record: logging.LogRecord) -> None:
        text = printable(record.getMessage())
        underway.clear()
        click.echo(f"note: {text}" if record.levelno == logging.WARNING else text, err=True)


def start_saying() -> None:
    """Print what the library and the commands log."""
    if not any(isinstance(handler, _Lines) for handler in LOG.handlers):
        LOG.addHandler(_Lines())
    LOG.setLevel(_LEVELS["usual"])


def say(text: str) -> None:
    """What was done, as a line on standard error."""
    LOG.info("%s", text)


def note(text: str) -> None:
    """What a user ought to know, as a line on standard error."""
    LOG.warning("%s", text)


def is_quiet() -> bool:
    """Whether ``--quiet`` was given."""
    return LOG.level >= logging.ERROR


def is_verbose() -> bool:
    """Whether ``--verbose`` was given."""
    return LOG.level <= logging.DEBUG


def add_saying_options(command: click.Command) -> None:
    """``--quiet`` and ``--verbose``, where the command has none of its own."""
    own = {name for each in command.params for name in each.opts}
    for name, words in (
        ("quiet", "Print no notes and no progress, only errors."),
        ("verbose", "Say more of how the work is done."),
    ):
        if f"--{name}" in own:
            continue
        option = click.Option(
            [f"--{name}"], is_flag=True, expose_value=False, callback=_set_level, help=words
        )
        command.params.append(option)


def _set_level(ctx: click.Context, parameter: click.Parameter, value: Any) -> None:
    if value:
        LOG.setLevel(_LEVELS[str(parameter.name)])
