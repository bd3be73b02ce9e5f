"""Renamed options and commands: the old name still works, with a note on standard error.

The note names the new one. `lutbench.face.renaming` does the same in Python, with a
`DeprecationWarning`.
"""

from __future__ import annotations

from collections.abc import Iterable
from copy import copy
from typing import Any

import click

from lutbench.cli.options import note
from lutbench.errors import LutbenchError

OPTIONS: dict[str, dict[str, tuple[str, ...]]] = {
    "build": {
        "--source-peak": ("--source-display-peak",),
        "--target-peak": ("--target-display-peak",),
    },
    **{
        f"display {name}": {"--peak": ("--display-peak",)} for name in ("calibrate", "check", "fit")
    },
    "rework range": {
        "--source": ("--given-source-range", "--source-range"),
        "--target": ("--given-target-range", "--target-range"),
    },
}
"""By command: old options, each with the new option or options that take its value or values."""
OPTIONS["display check"]["--black"] = ("--display-black",)

COMMANDS = {"rework resize": "rework resample"}
"""Old commands, and their new names."""


class OldOption(click.Option):
    """A hidden option under its old name; it passes its value or values to the new options."""

    def __init__(self, old: str, new: tuple[click.Option, ...]) -> None:
        kind: Any = new[0].type if len(new) == 1 else tuple(each.type for each in new)
        says = f"The old name of {' and '.join(each.opts[0] for each in new)}."
        super().__init__(
            [old], type=kind, help=says, hidden=True, is_eager=True, expose_value=False
        )
        self.new = new

    def handle_parse_result(
        self, ctx: click.Context, opts: Any, args: list[str]
    ) -> tuple[Any, list[str]]:
        """Pass the value on; the option is eager, so that the new ones are parsed after it."""
        if self.name not in opts:
            return None, args
        given = opts.pop(self.name)
        names = [each.opts[0] for each in self.new]
        for each, value in zip(self.new, given if len(names) > 1 else (given,), strict=True):
            if each.name in opts:
                raise LutbenchError(
                    f"{self.opts[0]} is the old name of {each.opts[0]}", accepted=each.opts[0]
                )
            opts[each.name] = value
        if not opts.get("quiet"):
            note(f"{self.opts[0]} is deprecated: write {' and '.join(names)}")
        return None, args


def take_old_names(command: click.Command, path: str) -> None:
    """Make the command at `path` ("rework range"), and those in it, accept old names."""
    if isinstance(command, click.Group):
        for name, each in [*command.commands.items()]:
            take_old_names(each, f"{path} {name}")
        _take_old_commands(command, path)
        return
    named = {opt: each for each in command.params if isinstance(each, click.Option)
             for opt in each.opts}  # fmt: skip
    for old, new in OPTIONS.get(path, {}).items():
        if old not in named:
            command.params.append(OldOption(old, tuple(named[name] for name in new)))


def _take_old_commands(group: click.Group, path: str) -> None:
    for old, new in COMMANDS.items():
        within, _, name = old.rpartition(" ")
        if within == path and name not in group.commands:
            group.commands[name] = _old_command(group.commands[new.rpartition(" ")[2]], old, new)


def _old_command(command: click.Command, old: str, new: str) -> click.Command:
    known = copy(command)
    known.name, known.hidden = old.rpartition(" ")[2], True

    def callback(*given: Any, **options: Any) -> Any:
        note(f"`lutbench {old}` is deprecated: write `lutbench {new}`")
        assert command.callback is not None
        return command.callback(*given, **options)

    known.callback = callback
    return known


def old_words() -> set[str]:
    """Every old option, and the last word of every old command."""
    options = {old for each in OPTIONS.values() for old in each}
    return options | {old.rpartition(" ")[2] for old in COMMANDS}


def old_names() -> Iterable[tuple[str, str]]:
    """Each old name that still works, and the new one, as a user writes them."""
    yield from COMMANDS.items()
    for path, options in OPTIONS.items():
        for old, new in options.items():
            yield f"{path} {old}", " ".join(new)
