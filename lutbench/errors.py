"""The error family: everything a user can cause is a `LutbenchError`."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path


class LutbenchError(Exception):
    """Something a user can mend.

    The text is one line that says what is wrong, where, and what would be
    accepted; the command line prints it and exits with status 2. A parameter is written as in
    Python (``force=True``, ``catalogue=``); the command line names its option instead.

    >>> str(LutbenchError("size 1 is too small", where="a.cube:3", accepted="2 to 256"))
    'a.cube:3: size 1 is too small; accepted: 2 to 256'
    """

    def __init__(self, what: str, *, where: str | Path = "", accepted: str = "") -> None:
        self.what = what
        self.where = str(where)
        self.accepted = accepted
        text = f"{_shown(self.where)}: {_shown(what)}" if self.where else _shown(what)
        # One line, whatever a name or a parser's message holds.
        super().__init__(" ".join((f"{text}; accepted: {accepted}" if accepted else text).split()))


MOST_CHARACTERS = 400
"""Characters of a part of an error: a longer one is no name or path that a person has typed."""


def _shown(text: str) -> str:
    """`text` without its middle where it is longer than `MOST_CHARACTERS`."""
    half = MOST_CHARACTERS // 2
    return text if len(text) <= MOST_CHARACTERS else f"{text[:half]} … {text[-half:]}"


class FormatError(LutbenchError):
    """A file is not what its format allows."""


class UnknownNameError(LutbenchError):
    """A curve, gamut or option value that is not known."""


class DefinitionError(LutbenchError):
    """A user's definition, recipe or suite that cannot be used."""


class NotInvertibleError(LutbenchError):
    """The transform has no inverse."""


PYTHONS = {"colour-clf-io": " on Python 3.11 to 3.13"}
"""Where a package cannot be installed on every Python that lutbench runs on: on which it can."""


class MissingExtraError(LutbenchError):
    """A part of lutbench needs a package that is not installed."""

    def __init__(self, package: str, extra: str, what: str) -> None:
        super().__init__(
            f"{what} needs the package {package!r}",
            accepted=f"pip install 'lutbench[{extra}]'{PYTHONS.get(package, '')}",
        )


def nearest_names(name: str, known: Iterable[str], count: int = 3) -> list[str]:
    """Up to `count` known names that are most like `name`, best first, letter case ignored.

    >>> nearest_names("bt709", ["BT.709", "BT.2020", "sRGB"])[0]
    'BT.709'
    """
    import difflib  # only errors need it

    by_folded = {each.casefold(): each for each in known}
    close = difflib.get_close_matches(name.casefold(), by_folded, n=count, cutoff=0.5)
    return [by_folded[each] for each in close]


MOST_NAMES = 20
"""Names in an error: more are not read."""

LISTED = ("curve", "gamut")
"""Kinds of names that are too many for an error; a command lists them."""


def unknown_name(kind: str, name: str, known: Iterable[str], where: str = "") -> UnknownNameError:
    """The error for a name that is not known, with the nearest known names, or else with all."""
    known = list(known)
    close = nearest_names(name, known)
    if not close and kind in LISTED:
        hint = f"see `lutbench list {kind}s`"
    else:
        hint = ", ".join(close or known[:MOST_NAMES]) + (
            "" if close or len(known) <= MOST_NAMES else ", …"
        )
    return UnknownNameError(f"no {kind} is named {name!r}", where=where, accepted=hint)
