"""Checks of the values that a user gives: numbers, texts, yes or no, paths.

A value of another type raises a `LutbenchError` of one line that says what would be accepted.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable
from numbers import Integral, Real
from pathlib import Path
from typing import Any

from lutbench.errors import DefinitionError, LutbenchError, UnknownNameError


def double(value: Any) -> float:
    """A number of Python or numpy, or a fraction, as a float; NaN for what is no number."""
    if not isinstance(value, Real) or isinstance(value, bool):
        return math.nan
    try:
        return float(value)
    except OverflowError:
        return math.inf


def whole(value: Any, what: str, low: int, high: int) -> int:
    """`value` as a whole number from `low` to `high`."""
    fits = isinstance(value, Integral) and not isinstance(value, bool)
    if not fits or not low <= value <= high:
        raise LutbenchError(
            f"{value!r:.60} is not a whole number", where=what, accepted=f"{low} to {high}"
        )
    return int(value)


def real(value: Any, what: str, low: float = -math.inf, high: float = math.inf) -> float:
    """`value` as a finite number from `low` to `high`."""
    found = double(value)
    if not math.isfinite(found) or not low <= found <= high:
        limits = "a number" if math.isinf(low) else f"{low:g} to {high:g}"
        raise LutbenchError(f"{value!r:.60} is not a number", where=what, accepted=limits)
    return found


def text(value: Any, what: str) -> str:
    """`value` as a text."""
    if not isinstance(value, str):
        raise LutbenchError(f"{value!r:.60} is not text", where=what, accepted="a text")
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


def triple(value: Any, what: str) -> tuple[float, float, float]:
    """`value` as three finite numbers."""
    import numpy as np

    try:
        found = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
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


def number(value: Any, where: str) -> float:
    """`value` as a float; DefinitionError when it is not a finite number."""
    found = double(value)
    if not abs(found) <= 1e12:  # which NaN is not
        raise DefinitionError(f"{value!r:.60} is not a number", where=where, accepted="a number")
    return found
