"""What comes from outside: values, checked; text, made harmless.

A value of another type raises a `LutbenchError` of one line that says what would be accepted.

Titles, comments and the names of files and definitions may hold characters that control a
terminal, change the writing direction of the text around them, or begin a formula.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterable
from numbers import Integral, Real
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from lutbench.errors import DefinitionError, LutbenchError, UnknownNameError, unknown_name

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

NOT_AN_ARRAY = (TypeError, ValueError, OverflowError, RuntimeError)
"""What numpy raises for a value that is no array, and other libraries for one that stays theirs."""


Thing = TypeVar("Thing")


def double(value: Any) -> float:
    """A number of Python or numpy, or a fraction, as a float; NaN for what is no number."""
    if type(value) is float:
        return value  # Most are, and to ask whether it is a real number takes long.
    if not isinstance(value, Real) or isinstance(value, bool):
        return math.nan
    try:
        return float(value)
    except OverflowError:
        return math.inf


def whole(value: Any, what: str, low: int, high: int) -> int:
    """`value` as a whole number from `low` to `high`."""
    if not isinstance(value, Integral) or isinstance(value, bool):
        raise LutbenchError(
            f"{value!r:.60} is not a whole number", where=what, accepted=f"{low} to {high}"
        )
    number = int(value)
    if not low <= number <= high:
        raise _beyond(value, number < low, what, f"{low} to {high}")
    return number


def real(value: Any, what: str, low: float = -math.inf, high: float = math.inf) -> float:
    """`value` as a finite number from `low` to `high`."""
    found = double(value)
    limits = "a number" if math.isinf(low) else f"{low:g} to {high:g}"
    if not math.isfinite(found):
        raise LutbenchError(f"{value!r:.60} is not a number", where=what, accepted=limits)
    if not low <= found <= high:
        raise _beyond(value, found < low, what, limits)
    return found


def _beyond(value: Any, below: bool, what: str, accepted: str) -> LutbenchError:
    size = "small" if below else "large"
    return LutbenchError(f"{value!s:.60} is too {size}", where=what, accepted=accepted)


def text(value: Any, what: str) -> str:
    """`value` as a text."""
    if not isinstance(value, str):
        raise LutbenchError(f"{value!r:.60} is not text", where=what, accepted="a text")
    return value


def instance(value: Any, kind: type[Thing], what: str, accepted: str) -> Thing:
    """`value`, which must be of `kind`."""
    if not isinstance(value, kind):
        name = kind.__name__.lower()
        raise LutbenchError(f"{value!r:.60} is not a {name}", where=what, accepted=accepted)
    return value


def flag(value: Any, what: str) -> bool:
    """`value` as a bool."""
    import numpy as np

    if not isinstance(value, bool | np.bool_):
        raise LutbenchError(f"{value!r:.60} is not a bool", where=what, accepted="True, False")
    return bool(value)


def texts(value: Any, what: str) -> tuple[str, ...]:
    """`value` as texts: one, or several."""
    if isinstance(value, str):
        return (value,)
    try:
        return tuple(text(each, what) for each in value)
    except TypeError:
        raise LutbenchError(
            f"{value!r:.60} is not a list of texts", where=what, accepted="texts"
        ) from None


def one_of(what: str, value: object, accepted: Iterable[str], where: str | Path = "") -> str:
    """`value` as one of the `accepted` words, letter case ignored, spelt as they are.

    >>> one_of("signal range", "Legal", ("full", "legal"))
    'legal'
    """
    words = list(accepted)
    folded = value.casefold() if isinstance(value, str) else None
    for word in words:
        if folded == word.casefold():
            return word
    raise UnknownNameError(
        f"no {what} is named {value!r:.60}", where=where, accepted=", ".join(words)
    )


def named(kind: str, value: Any, known: Iterable[str], where: str = "") -> str:
    """`value` as one of many `known` names, letter case ignored; an error has the nearest.

    >>> named("kind of check", "Health", ("health", "levels"))
    'health'
    """
    known = list(known)
    by_folded = {each.casefold(): each for each in known}
    found = by_folded.get(text(value, where or kind).casefold())
    if found is None:
        raise unknown_name(kind, value, known, where)
    return found


def numbers(value: Any, what: str) -> NDArray[np.float64]:
    """`value` as an array of float64, of any shape."""
    import numpy as np

    try:
        return np.asarray(value, dtype=np.float64)
    except NOT_AN_ARRAY:
        raise LutbenchError(
            f"{value!r:.60} is not an array of numbers", where=what, accepted="numbers"
        ) from None


def triple(value: Any, what: str) -> tuple[float, float, float]:
    """`value` as three finite numbers."""
    import numpy as np

    try:
        found = np.asarray(value, dtype=np.float64)
    except NOT_AN_ARRAY:
        found = np.empty(0)
    if found.shape != (3,) or not np.isfinite(found).all():
        raise LutbenchError(
            f"{value!r:.60} is not three numbers", where=what, accepted="(red, green, blue)"
        )
    red, green, blue = found.tolist()
    return red, green, blue


def path(value: Any, what: str = "") -> Path:
    """`value` as a path."""
    if not isinstance(value, str | os.PathLike):
        raise LutbenchError(f"{value!r:.60} is not a path", where=what, accepted="a file name")
    return Path(value)


def as_written(text: str) -> float:
    """The number that a person wrote: ``1.5``, ``1/3``, with any minus sign.

    >>> as_written("−1"), as_written("+1/2")
    (-1.0, 0.5)
    """
    above, stroke, below = text.replace("−", "-").partition("/")
    divisor = float(below) if stroke else 1.0
    if not divisor:
        raise ValueError(f"{text!r} divides by zero")
    return float(above) / divisor


def number(value: Any, where: str) -> float:
    """`value` as a float; DefinitionError when it is not a finite number."""
    found = double(value)
    if not abs(found) <= 1e12:  # which NaN is not
        raise DefinitionError(f"{value!r:.60} is not a number", where=where, accepted="a number")
    return found


STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)
"""Control characters except tab and line feed, line separators, direction marks, and surrogates:
they stand for bytes of a file's name that are no text, and cannot be written."""

_FORMULA = re.compile(r"(?m)(^|[;,\t])(?=[=+@\t-])")
"""The beginning of what a spreadsheet may take for a formula: a cell may also begin after a
semicolon or a tab, which separate the cells of a CSV in many countries, within quotes too."""


def harmless(text: str, instead: str = "\ufffd") -> str:
    """`text` with `instead` in place of each control character or direction mark.

    >>> harmless("day\\x1b[2J\\u202e.cube", "?")
    'day?[2J?.cube'
    """
    return STEERING.sub(instead, text)


def harmless_json(text: str) -> str:
    r"""JSON text with such characters escaped; it parses to the same data.

    >>> print(harmless_json('"a\u202eb"'))
    "a\u202eb"
    """
    return STEERING.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def csv_text_cell(text: str) -> str:
    """`text` as a CSV cell that no spreadsheet takes for a formula.

    >>> csv_text_cell("-3 stops"), csv_text_cell("mid grey"), csv_text_cell("day;=1+1")
    ("'-3 stops", 'mid grey', "day;'=1+1")
    """
    return _FORMULA.sub(r"\1'", harmless(text))


def one_line(text: str) -> str:
    """`text` on one line, with a space in place of each control character or direction mark."""
    return harmless(text.replace("\n", " ").replace("\t", " "), " ")


def printable(text: str) -> str:
    """`text` on one line without characters that a terminal would not print."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
