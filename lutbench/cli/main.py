"""The ``lutbench`` command: a group that imports each command's module when it is called."""

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

from lutbench import __version__, long_work
from lutbench.cli.options import add_logging_options, is_quiet, is_verbose, start_logging
from lutbench.cli.spelling import (  # now: later there may be no descriptor left
    IN_OTHER_SIGNS,
    in_plain_words,
    with_options,
)
from lutbench.errors import LutbenchError, nearest_names
from lutbench.given import printable

COMPLETION_VARIABLE = "_LUTBENCH_COMPLETE"
"""Set by the shell when it asks for completions."""

# Command name to (module under lutbench.cli, one line of help). The line stands
# here so that `lutbench --help` imports no command.
COMMANDS: dict[str, tuple[str, str]] = {
    "build": ("build", "Build LUTs from a recipe, or one from options."),
    "inspect": ("inspect", "Report what a LUT does, and what is wrong with it."),
    "identify": ("identify", "Find what each LUT expects, gives, and adds as a look."),
    "split": ("split", "Split a LUT into gamut, curve and look."),
    "compare": ("compare", "Measure how far two LUTs or pipelines are apart, and why."),
    "verify": ("verify", "Run a suite of checks, or check this installation."),
    "apply": ("apply", "Put stills, sequences and clips through a LUT."),
    "sheet": ("sheet", "Draw a contact sheet: frames before and after a LUT."),
    "convert": ("convert", "Convert a LUT to another format, size or signal range."),
    "rework": ("rework", "Chain, invert, resample, repair, blend LUTs."),
    "learn": ("learn", "Learn the LUT between a still and the same still graded."),
    "match": ("match", "Match one camera to another, from a chart that both recorded."),
    "chart": ("chart", "Draw a chart of known colours to send through a device."),
    "capture": ("capture", "Make the LUT of a device from the chart that came back."),
    "monitor": ("monitor", "Find out what a monitor does with a LUT."),
    "display": ("display", "Measure a display, calibrate it with a LUT, and check it."),
    "bench": ("bench", "Write a set of LUTs as a page for viewing, exposing and measuring."),
    "levels": ("levels", "Show where grey, skin and white lie on a curve, and after a LUT."),
    "list": ("list", "List the names of curves, gamuts, tones and gamut mappings."),
    "schema": ("schema", "Print the JSON Schema of a file or a report."),
    "demo": ("demo", "Run the whole job on an invented production."),
}


def register(name: str, module: str, says: str) -> None:
    """Add a command from outside: `module` is an importable module that has it as `command`.

    Raises LutbenchError when the name is taken.
    """
    if name in COMMANDS:
        raise LutbenchError(f"there is a command named {name!r} already", accepted="another name")
    COMMANDS[name] = (module, says)


INTERNAL_ERROR = 70
"""The exit status after an internal error; EX_SOFTWARE in the BSD `sysexits.h`."""


class PipeClosedError(Exception):
    """The reader of the output has closed it; kept from click, which would exit with 1."""


@contextmanager
def _pipe_closed() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError as error:
        raise PipeClosedError from error


class LazyGroup(click.Group):
    """A group whose commands are imported on first use."""

    def make_context(self, *args: Any, **more: Any) -> click.Context:
        with _pipe_closed():  # while --help is printed
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
        _apply_common_rules(command)
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
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


def _apply_common_rules(command: click.Command) -> None:
    """Add the options of every command, ignore the case of choices, and refuse empty texts.

    An empty text is usually a shell variable that was never set; taken as a path it would
    mean the current folder. Only a title may be empty.
    """
    if isinstance(command, click.Group):
        for each in command.commands.values():
            _apply_common_rules(each)
    else:
        add_logging_options(command)
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

    Without a command it prints first steps.
    """
    if ctx.invoked_subcommand is None:
        from lutbench.cli.first import FIRST

        click.echo(FIRST, nl=False)


def main(args: list[str] | None = None) -> NoReturn:
    """Run the command line; each error that a user can cause is one line on stderr, status 2."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=IN_OTHER_SIGNS)
    start_logging()
    if sys.stderr.isatty():
        from lutbench.cli.terminal import StatusLine

        long_work.set_listener(StatusLine(is_quiet))
    try:
        status = group.main(args=args, prog_name="lutbench", standalone_mode=False)
        long_work.clear()
        sys.stdout.flush()
    except LutbenchError as error:
        _exit_with(with_options(str(error)))
    except click.UsageError as error:
        text = in_plain_words(error.format_message()).rstrip(".?")
        _exit_with(text + (f"; see `{error.ctx.command_path} --help`" if error.ctx else ""))
    except click.ClickException as error:
        _exit_with(error.format_message())
    except (KeyboardInterrupt, click.Abort) as error:
        _exit_interrupted(error)
    except (BrokenPipeError, PipeClosedError):
        _end_by_sigpipe()
    except MemoryError:
        _exit_with("not enough memory for this input")
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        _exit_with(f"{where}{error.strerror or error}")
    except Exception as error:
        if _was_interrupted(error):
            _exit_interrupted(error)
        if shortage := _shortage(error):
            _exit_with(shortage)
        _exit_with_internal_error(error)
    sys.exit(status if isinstance(status, int) else 0)


def _exit_with(text: str, status: int = 2) -> NoReturn:
    long_work.clear()
    try:
        click.echo("lutbench: " + printable(text), err=True)
    except OSError:  # nobody can be told, and the status still is what it means
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stderr.fileno())
    sys.exit(status)


is_interruption_reported = False
"""Whether the line that tells of an interrupt is printed."""


def _exit_interrupted(error: BaseException) -> NoReturn:
    global is_interruption_reported
    long_work.clear()
    for each in (error, error.__cause__):  # click raises an error of its own from an interrupt
        # What the frames hold is closed now, and with it the processes that work for them.
        traceback.clear_frames(each.__traceback__ if each else None)
    is_interruption_reported = True
    click.echo("lutbench: interrupted", err=True)
    sys.exit(130)


def _was_interrupted(error: BaseException | None) -> bool:
    """Whether an interrupt caused the error: a library that was loading makes one of its own."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__cause__ or error.__context__
    return False


def _end_by_sigpipe() -> NoReturn:
    """End silently, as other programs do when the reader of their output is gone (`| head`)."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_DFL)
        signal.raise_signal(signal.SIGPIPE)
    sys.exit(141)  # 128 plus the number of SIGPIPE, as shells report it


def _shortage(error: BaseException | None) -> str:
    """Say which resource of the system ran out, if that caused the error; otherwise "".

    Libraries report it in different ways: a shared object cannot be mapped, no thread can be
    started, or the shortage is the cause of an error of their own.
    """
    while error is not None:
        if isinstance(error, MemoryError) or getattr(error, "errno", None) == errno.ENOMEM:
            return "not enough memory for this input"
        if getattr(error, "errno", None) in (errno.EMFILE, errno.ENFILE):
            return os.strerror(errno.EMFILE)
        text = str(error).splitlines()[0] if str(error) else ""
        if isinstance(error, ImportError) and ("shared object" in text or "map segment" in text):
            return f"a library cannot be loaded, perhaps for want of memory or open files: {text}"
        if isinstance(error, RuntimeError) and "start new thread" in text:
            return "the system allows no more threads"
        if isinstance(error, SystemError) and ("exception set" in text or "setting" in text):
            return "a library failed without giving a reason, perhaps for want of memory"
        error = error.__cause__ or error.__context__
    return ""


def _exit_with_internal_error(error: Exception) -> NoReturn:
    """Print one line that asks for a report of an internal error."""
    if is_verbose():
        traceback.print_exception(error)
    place = traceback.extract_tb(error.__traceback__)[-1]
    what = f"{type(error).__name__}: {error}"[:300]
    _exit_with(
        f"a fault of lutbench itself, not of your input: {what} "
        f"({os.path.basename(place.filename)}:{place.lineno}); please report this line and the "
        "command; --verbose shows where it happened",
        INTERNAL_ERROR,
    )
