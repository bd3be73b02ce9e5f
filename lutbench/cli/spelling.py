"""How the command line spells errors, which name an option where the library has a parameter,
signs that the encoding of an output lacks, and how people write numbers."""

from __future__ import annotations

import codecs
import math
import re
from typing import Any

import click

from lutbench.files import OUTSIDE_VARIABLE
from lutbench.given import as_written

_ACCEPTED = "; accepted: "
_PARAMETER = re.compile(r"(?<!\S)([a-z_]+)=(True|False|\d+)?(?=[\s,;]|$)")

NAMED_OTHERWISE = {f"{OUTSIDE_VARIABLE}=yes": "--allow-outside", "catalogue=": "--definitions"}
"""What an error of the library may name beside parameters of the same name as an option."""


def with_options(text: str) -> str:
    """The text of an error with options in place of parameters, in what would be accepted.

    >>> with_options("a.cube: the file exists; accepted: force=True to replace it")
    'a.cube: the file exists; accepted: --force to replace it'
    >>> with_options("day.mov: no such sound; accepted: .mkv, or audio=False")
    'day.mov: no such sound; accepted: .mkv, or --no-audio'
    >>> with_options("grab.png: the board is for 33 nodes, not 17; accepted: size=33")
    'grab.png: the board is for 33 nodes, not 17; accepted: --size 33'
    """
    what, sign, accepted = text.rpartition(_ACCEPTED)
    for written, option in NAMED_OTHERWISE.items():
        accepted = accepted.replace(written, option)
    return what + sign + _PARAMETER.sub(_option, accepted) if sign else text


_KINDS = re.compile(r"is not a valid (float|integer)( range)?")


def in_plain_words(text: str) -> str:
    """The text of click's errors without the words of programmers.

    >>> in_plain_words("Invalid value for '--filter': 'ND0.6' is not a valid float.")
    "Invalid value for '--filter': 'ND0.6' is not a number."
    """
    return _KINDS.sub(_kind, text)


def _kind(found: re.Match[str]) -> str:
    return "is not a number" if found[1] == "float" else "is not a whole number"


def _option(found: re.Match[str]) -> str:
    no = "no-" if found[2] == "False" else ""
    value = f" {found[2]}" if found[2] not in (None, "True", "False") else ""
    return f"--{no}{found[1].rstrip('_').replace('_', '-')}{value}"


IN_OTHER_SIGNS = "lutbench.in_other_signs"
"""The name of the handler of errors for a stream."""

SPELT = {"−": "-", "–": "-", "×": "x", "→": "->", "≤": "<=", "≥": ">="}
"""A number must not lose its sign, nor a limit its direction. Any other sign becomes ``?``."""


def _spelt(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    return "".join(SPELT.get(sign, "?") for sign in lacking), error.end


codecs.register_error(IN_OTHER_SIGNS, _spelt)


class _WrittenNumber(click.types.FloatParamType):
    """A number as people write it; of a percentage also with its sign."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        text = str(value)
        if param is not None and param.metavar == "PERCENT":
            text = text.strip().removesuffix("%")
        try:
            return as_written(text)
        except ValueError:
            return self.fail(f"{value!r} is not a number.", param, ctx)


NUMBER = _WrittenNumber()


class NumberIn(click.FloatRange):
    """The same within limits."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        number = NUMBER.convert(value, param, ctx)
        if math.isnan(number):  # which is under no limit and over none
            self.fail(f"{value!r} is not a number.", param, ctx)
        return super().convert(number, param, ctx)
