"""The ``lutbench`` command: a group that loads a command's module when it is called."""

from __future__ import annotations

import errno
import io
import os
import signal
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import Any, NoReturn

import click

from lutbench import __version__, underway
from lutbench.cli.options import (
    add_saying_options,
    is_quiet,
    is_verbose,
    printable,
    start_saying,
)
from lutbench.errors import LutbenchError, nearest_names

OLD_WORDS = frozenset(
    ("--source-peak", "--target-peak", "--peak", "--black", "--source", "--target", "resize")
)
"""What a command line with an old name holds: only then is `lutbench.cli.renaming` loaded."""

COMPLETION_VARIABLE = "_LUTBENCH_COMPLETE"
"""Set by the shell when it asks for completions."""

# Command name to (module under lutbench.cli, one line of help). The line stands
# here so that `lutbench --help` imports no command.
COMMANDS: dict[str, tuple[str, str]] = {
    "build": ("build", "Build LUTs from a recipe, or one from options."),
    "inspect": ("inspect", "Say what a LUT does, and what is wrong with it."),
    "identify": ("identify", "Say what each LUT expects, gives, and adds as a look."),
    "split": ("split", "Take a LUT apart: gamut, curve and look."),
    "compare": ("compare", "Say how far two LUTs or pipelines are apart, and why."),
    "verify": ("verify", "Run a suite of checks, or check this installation."),
    "apply": ("apply", "Put stills, sequences and clips through a LUT."),
    "sheet": ("sheet", "Draw a contact sheet: frames before and after a LUT."),
    "convert": ("convert", "Convert a LUT to another format, size or signal range."),
    "rework": ("rework", "Chain, invert, resample, repair, blend LUTs."),
    "learn": ("learn", "Learn the LUT between a still and the same still graded."),
    "match": ("match", "Bring one camera to another, by a chart that both shot."),
    "chart": ("chart", "Draw a chart of known colours to send through a device."),
    "capture": ("capture", "Make the LUT of a device from the chart that came back."),
    "monitor": ("monitor", "Find out what a monitor does with a LUT."),
    "display": ("display", "Measure a display, calibrate it with a LUT, check it."),
    "bench": ("bench", "Write a set of LUTs as a page to look, expose and measure with."),
    "levels": ("levels", "Show where grey, skin and white lie on a curve, and after a LUT."),
    "list": ("list", "List the curves and gamuts that can be named."),
    "schema": ("schema", "Print the JSON Schema of a file or a report."),
    "demo": ("demo", "Run the whole job on an invented production."),
}


def register(name: str, module: str, says: str) -> None:
    """Know another command: `module` is a whole module name, and holds it as `command`.

    Raises
    ------
    LutbenchError
        When the name is taken.
    """
    if name in COMMANDS:
        raise LutbenchError(f"there is a command named {name!r} already", accepted="another name")
    COMMANDS[name] = (module, says)


OWN_FAULT = 70
"""The exit status of a fault of lutbench's own; EX_SOFTWARE in the BSD `sysexits.h`."""


class PipeClosedError(Exception):
    """The reader of the output went away; told apart here because click would exit with 1."""


@contextmanager
def _pipe_closed() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError as error:
        raise PipeClosedError from error


class LazyGroup(click.Group):
    """A group whose commands are imported on first use."""

    def make_context(self, *args: Any, **more: Any) -> click.Context:
        with _pipe_closed():  # of --help
            return super().make_context(*args, **more)

    def invoke(self, ctx: click.Context) -> Any:
        with _pipe_closed():
            return super().invoke(ctx)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        place = COMMANDS[name][0]
        module = import_module(place if "." in place else f"lutbench.cli.{place}")
        command = module.command
        assert isinstance(command, click.Command)
        _same_rules(command)
        if COMPLETION_VARIABLE in os.environ:
            from lutbench.cli.completion import offer_completions

            offer_completions(command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            close = nearest_names(args[0], COMMANDS) or list(COMMANDS)
            raise LutbenchError(f"no command is named {args[0]!r}", accepted=", ".join(close))
        name, command, left = super().resolve_command(ctx, args)
        if command is not None and OLD_WORDS & {each.partition("=")[0] for each in left}:
            from lutbench.cli.renaming import take_old_names

            take_old_names(command, str(name))
        return name, command, left

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


def _same_rules(command: click.Command) -> None:
    """Add what every command has; let the case of a choice not matter.

    No text may be empty, but a title.

    An empty name is a shell variable that was never set; taken as a path it
    would mean the current folder.
    """
    if isinstance(command, click.Group):
        for each in command.commands.values():
            _same_rules(each)
    else:
        add_saying_options(command)
    for parameter in command.params:
        if isinstance(parameter.type, click.Choice):
            parameter.type.case_sensitive = False
        text = isinstance(parameter.type, click.types.StringParamType)
        if text and parameter.callback is None and parameter.name != "title":
            parameter.callback = _not_empty


def _not_empty(ctx: click.Context, parameter: click.Parameter, value: Any) -> Any:
    given = value if isinstance(value, tuple) else (value,)
    if "" in given and value != parameter.default:
        where = parameter.human_readable_name
        if isinstance(parameter, click.Option):
            where = parameter.opts[0]
        raise LutbenchError("is empty", where=where, accepted="a name")
    return value


@click.command(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"]},
    invoke_without_command=True,
)
@click.version_option(__version__, prog_name="lutbench")
@click.pass_context
def group(ctx: click.Context) -> None:
    """Build, inspect, identify, verify and apply colour LUTs.

    Without a command: what one would do first.
    """
    if ctx.invoked_subcommand is None:
        from lutbench.cli.first import FIRST

        click.echo(FIRST, nl=False)


def main(args: list[str] | None = None) -> NoReturn:
    """Run the command line; every fault of the user's is one line on stderr, status 2."""
    for stream in (sys.stdout, sys.stderr):
        # A sign that the terminal or the file cannot hold becomes a question mark.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    start_saying()
    if sys.stderr.isatty():
        from lutbench.cli.status_line import StatusLine

        underway.listen(StatusLine(is_quiet))
    try:
        status = group.main(args=args, prog_name="lutbench", standalone_mode=False)
        underway.clear()
        sys.stdout.flush()
    except LutbenchError as error:
        _complain(str(error))
    except click.UsageError as error:
        _complain(error.format_message().rstrip(".?") + _where_to_look(error))
    except click.ClickException as error:
        _complain(error.format_message())
    except (KeyboardInterrupt, click.Abort):
        underway.clear()
        click.echo("lutbench: interrupted", err=True)
        sys.exit(130)
    except (BrokenPipeError, PipeClosedError):
        _end_as_pipes_do()
    except MemoryError:
        _complain("not enough memory for this input")
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        _complain(f"{where}{error.strerror or error}")
    except Exception as error:
        if shortage := _shortage(error):
            _complain(shortage)
        _own_fault(error)
    sys.exit(status if isinstance(status, int) else 0)


def _where_to_look(error: click.UsageError) -> str:
    return f"; see `{error.ctx.command_path} --help`" if error.ctx else ""


def _complain(text: str, status: int = 2) -> NoReturn:
    underway.clear()
    click.echo("lutbench: " + printable(text), err=True)
    sys.exit(status)


def _end_as_pipes_do() -> NoReturn:
    """The reader of the output went away (`| head`): not worth a word."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_DFL)
        signal.raise_signal(signal.SIGPIPE)
    sys.exit(141)  # 128 and the number of the signal, as a shell tells it


def _shortage(error: BaseException | None) -> str:
    """What the system ran out of, where that is what is behind an error; else nothing.

    Libraries tell it in their own ways: that a shared object cannot be mapped, that no
    thread can be started, or as the cause of an error of theirs.
    """
    while error is not None:
        if isinstance(error, MemoryError) or getattr(error, "errno", None) == errno.ENOMEM:
            return "not enough memory for this input"
        if getattr(error, "errno", None) in (errno.EMFILE, errno.ENFILE):
            return os.strerror(errno.EMFILE)
        text = str(error).splitlines()[0] if str(error) else ""
        if isinstance(error, ImportError) and ("shared object" in text or "map segment" in text):
            return f"a library cannot be loaded, for want of memory or descriptors: {text}"
        if isinstance(error, RuntimeError) and "start new thread" in text:
            return "the system lets no more threads be started"
        if isinstance(error, SystemError) and ("exception set" in text or "setting" in text):
            return "a library gave up without a reason, as for want of memory"
        error = error.__cause__ or error.__context__
    return ""


def _own_fault(error: Exception) -> NoReturn:
    """A fault of lutbench's own: one line that asks for a report."""
    if is_verbose():
        traceback.print_exception(error)
    place = traceback.extract_tb(error.__traceback__)[-1]
    what = f"{type(error).__name__}: {error}"[:300]
    _complain(
        f"a fault of lutbench itself, not of your input: {what} "
        f"({os.path.basename(place.filename)}:{place.lineno}); please report this line and the "
        "command; --verbose shows where it happened",
        OWN_FAULT,
    )
