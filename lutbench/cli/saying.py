"""What a command says beside its report: notes on standard error, through `logging`.

``--quiet`` leaves them out (progress bars too), ``--verbose`` adds how the work was done.
"""

from __future__ import annotations

import logging
from typing import Any

import click

LOG = logging.getLogger("lutbench")

_LEVELS = {"quiet": logging.ERROR, "usual": logging.INFO, "verbose": logging.DEBUG}


class _Lines(logging.Handler):
    """A line a record, on the standard error of the moment."""

    def emit(self, record: logging.LogRecord) -> None:
        text = printable(record.getMessage())
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


def printable(text: str) -> str:
    """`text` as one line: what a file or a name holds must not steer the terminal."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


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
