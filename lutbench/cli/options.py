"""What commands share: options, the project file, JSON output, messages on standard error."""

from __future__ import annotations

import logging
import os
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import partial, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from lutbench import long_work
from lutbench.cli.spelling import NUMBER
from lutbench.files import OUTSIDE_VARIABLE, json_text
from lutbench.given import harmless_json, one_of, printable

if TYPE_CHECKING:
    from lutbench.long_work import Workers
    from lutbench.model.catalogue import Catalogue
    from lutbench.model.signal import Range
    from lutbench.recipes.project import Project

WORTH_PROCESSES = 16
"""Number of files from which several processes save time: each takes about a second to start."""

F = TypeVar("F", bound=Callable[..., Any])


def grouped_options(**kinds: type[Any]) -> Callable[[F], Callable[..., Any]]:
    """Pass a command its options in groups, as settings objects.

    Each keyword is an argument of the command, its value a dataclass. Options with the name
    of a field fill that field; a field without an option keeps its default.
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
    """An option that takes a number; `text` is its help, `more` are arguments of click."""
    return click.option(*name.split(), type=NUMBER, metavar=unit, help=text, **more)


def text_option(name: str, text: str) -> Callable[[F], F]:
    """An option that takes a text, empty by default."""
    return click.option(name, default="", metavar="TEXT", help=text)


@dataclass(frozen=True)
class Reporting:
    """How a command writes and reports: ``--force`` and ``--json``."""

    force: bool
    as_json: bool


def definitions_option(function: F) -> F:
    """``--definitions FILE``, any number of times, and ``--no-user-definitions``."""
    own = click.option(
        "--user-definitions/--no-user-definitions",
        default=None,
        expose_value=False,
        callback=_set_user_definitions,
        help="Whether to read the definitions in your own folder. [default: yes; no for verify]",
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
        _set_variable(ctx, OUTSIDE_VARIABLE, "yes")


def _set_user_definitions(
    ctx: click.Context, parameter: click.Parameter, value: bool | None
) -> None:
    if value is None:
        return
    from lutbench.model.catalogue import USER_VARIABLE

    _set_variable(ctx, USER_VARIABLE, "yes" if value else "no")


def _set_variable(ctx: click.Context, variable: str, value: str) -> None:
    """Set an environment variable while the command runs; child processes inherit it."""
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
    """What does the work: see `worker_options`."""

    jobs: int | None
    scheduler: str | None

    def workers(self, count: int) -> Workers:
        """Workers for `count` files: by default all cores, or this process where that is faster."""
        from lutbench.long_work import Workers, thread_limit

        usual = thread_limit() if count >= WORTH_PROCESSES else 1
        return Workers(self.jobs or usual, self.scheduler)


def worker_options(what: str) -> Callable[[F], F]:
    """``--jobs`` and ``--scheduler``, for work on many of `what`."""

    def decorate(function: F) -> F:
        jobs = click.option(
            "--jobs",
            type=click.IntRange(1, 256),
            metavar="N",
            help=f"{what[0].upper()}{what[1:]} processed at the same time. "
            "[default: one for each core]",
        )
        scheduler = click.option(
            "--scheduler",
            metavar="ADDRESS",
            help=f"Send {what} to the Dask scheduler at ADDRESS (tcp://HOST:PORT).",
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


def end_options(**helps: str) -> Callable[[F], F]:
    """An option for each end that is named (``source_curve``, ...), with its help."""

    def decorate(function: F) -> F:
        for name, text in reversed(helps.items()):
            of_value: dict[str, Any] = {"metavar": "NAME"}
            if name.endswith("_range"):
                of_value = {"type": click.Choice(["full", "legal"])}
            function = click.option(f"--{name.replace('_', '-')}", help=text, **of_value)(function)
        return function

    return decorate


@dataclass(frozen=True)
class LutRanges:
    """The ranges of a LUT's input and output values: see `range_options`."""

    source_range: Range | None = None
    target_range: Range | None = None


@dataclass(frozen=True)
class EndOptions(LutRanges):
    """Curves and gamuts before and after a LUT by name, and the ranges of its values."""

    source_curve: str | None = None
    source_gamut: str | None = None
    target_curve: str | None = None
    target_gamut: str | None = None

    def found(self, catalogue: Catalogue, *, exact: bool = True) -> dict[str, Any]:
        """Curves, gamuts and ranges by parameter name; None where one is not given.

        `exact` is False for curves to look at, not to build from: they are found sooner.
        """
        finders: dict[str, Callable[..., Any]] = {
            "curve": partial(catalogue.curve, exact=exact),
            "gamut": catalogue.gamut,
        }
        found: dict[str, Any] = dict(vars(self))
        for name, value in vars(self).items():
            kind = name.partition("_")[2]
            if value is not None and kind in finders:
                found[name] = finders[kind](value, where=f"--{name.replace('_', '-')}")
        return found


def range_options(function: F) -> F:
    """``--source-range`` and ``--target-range``; the default is as the file or the curve says."""
    return _range_options(
        function, "as the file says, else as the curve's codes are published, else full"
    )


def lut_range_options(function: F) -> F:
    """``--source-range`` and ``--target-range``; the default is as the LUT states."""
    return _range_options(function, "as the LUT's comments state, else full")


def _range_options(function: F, default: str) -> F:
    for name, what in (("--target-range", "output"), ("--source-range", "input")):
        function = click.option(
            name,
            type=click.Choice(["full", "legal"]),
            help=f"Whether the LUT's {what} values are full-range or legal-range codes. "
            f"[default: {default}]",
        )(function)
    return function


def changed_range_options(given: str, made: str) -> Callable[[F], F]:
    """``--source-range``, ``--target-range`` of the new LUT, ``--given-...`` of the given one."""

    def decorate(function: F) -> F:
        ranges = click.Choice(["full", "legal"])
        for end, values in (("target", "output"), ("source", "input")):
            text = f"The range of the {values} values of {given}. [default: full]"
            option = click.option(f"--given-{end}-range", type=ranges, default="full", help=text)
            function = option(function)
        for end, values in (("target", "output"), ("source", "input")):
            text = f"The range of the {values} values of {made}. [default: as {given}]"
            function = click.option(f"--{end}-range", type=ranges, help=text)(function)
        return function

    return decorate


def catalogue_of(definitions: tuple[str, ...], *, with_project: bool = True) -> Catalogue:
    """The catalogue with the project's definitions and those of ``--definitions``.

    A recipe is built without those of the project, so that it gives the same bytes everywhere.
    """
    from lutbench.cli.options import project_here
    from lutbench.model.catalogue import open_catalogue

    project = project_here() if with_project else None
    return open_catalogue(*(project.definitions if project else ()), *definitions)


def print_json(data: dict[str, Any], schema: int = 1) -> None:
    """Print a report as JSON, with the number of its schema; infinity and NaN become null."""
    long_work.clear()
    click.echo(harmless_json(json_text({"schema": schema} | data, indent=2)))


def json_line(data: dict[str, Any]) -> str:
    """A report as one line of JSON, for commands that report on several files."""
    return harmless_json(json_text({"schema": 1} | data))


def print_json_line(data: dict[str, Any]) -> None:
    """Print a report as one line of JSON."""
    click.echo(json_line(data))


LOG = logging.getLogger("lutbench")

_LEVELS = {"quiet": logging.ERROR, "usual": logging.INFO, "verbose": logging.DEBUG}


class _Lines(logging.Handler):
    """Prints each log record as a line on standard error."""

    def emit(self, record: logging.LogRecord) -> None:
        text = printable(record.getMessage())
        long_work.clear()
        click.echo(f"note: {text}" if record.levelno == logging.WARNING else text, err=True)


def start_logging() -> None:
    """Print what the library and the commands log, on standard error."""
    if not any(isinstance(handler, _Lines) for handler in LOG.handlers):
        LOG.addHandler(_Lines())
    LOG.setLevel(_LEVELS["usual"])
    # It says at length that it has no cache folder, which costs the user only a moment.
    logging.getLogger("matplotlib").setLevel(logging.ERROR)


def say(text: str) -> None:
    """Print what was done, as a line on standard error."""
    LOG.info("%s", text)


def note(text: str) -> None:
    """Print what a user ought to know, as a note on standard error."""
    LOG.warning("%s", text)


def is_quiet() -> bool:
    """Whether ``--quiet`` was given."""
    return LOG.level >= logging.ERROR


def is_verbose() -> bool:
    """Whether ``--verbose`` was given."""
    return LOG.level <= logging.DEBUG


def add_logging_options(command: click.Command) -> None:
    """Add ``--quiet`` and ``--verbose``, where the command does not define them itself."""
    own = {name for each in command.params for name in each.opts}
    for name, words in (
        ("quiet", "Print no notes and no progress, only errors."),
        ("verbose", "Print more about how the work is done."),
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


PROJECT_FILE = "lutbench.toml"
PROJECT_VARIABLE = "LUTBENCH_PROJECT"
"""Environment variable: ``no`` means that no project file is looked for."""


def project_here() -> Project | None:
    """The project of the current folder or of the nearest one above; None where there is none.

    A file that is owned by neither the user nor the system is ignored: on a shared disk
    another user must not decide what your commands do.

    Raises LutbenchError when a project file exists but cannot be used.
    """
    text = os.environ.get(PROJECT_VARIABLE, "").strip()
    if text and one_of("answer", text, ("yes", "no"), PROJECT_VARIABLE) == "no":
        return None
    here = Path.cwd()
    for place in (here, *here.parents):
        file = place / PROJECT_FILE
        if file.is_file() and trusted(file.stat().st_uid):
            from lutbench.recipes.project import read_project

            return read_project(file)
    return None


def trusted(owner: int) -> bool:
    """Whether a project file with that owner is used: the user, or the system."""
    return not hasattr(os, "getuid") or owner in (os.getuid(), 0)


def shown_path(project: Project) -> str:
    """The path of a project's file, relative to the current folder."""
    return os.path.relpath(project.path)


def say_taken(project: Project, what: str) -> None:
    """Log that something was taken from the project's file."""
    LOG.info("%s, as %s says", what, shown_path(project))
