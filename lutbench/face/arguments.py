"""What a user gives, as what the rooms below take; all else is refused in one line."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.formats.open import open_lut
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.transforms import Transform
from lutbench.recipes.subjects import NamedTransform, open_subject

LutLike = Transform | str | os.PathLike[str]
"""A LUT or transform; the path of a file; or words: "CURVE, GAMUT to CURVE, GAMUT",
``RECIPE.toml#NAME``."""

Picture = ArrayLike | str | os.PathLike[str]
"""Pixels, R G B last; or the path of a still."""

ACCEPTED = 'a LUT, a path, or words like "ACEScct, ACEScg to BT.1886, BT.709"'


def named(subject: LutLike | BinaryIO, catalogue: Catalogue | None, what: str) -> NamedTransform:
    """The transform that is meant, and what is known of it."""
    if isinstance(subject, Transform):
        return NamedTransform(repr(subject), subject)
    if isinstance(subject, str):
        if not subject.strip():
            raise LutbenchError("is empty", where=what, accepted=ACCEPTED)
        return open_subject(subject, known(catalogue))
    if isinstance(subject, os.PathLike) or callable(getattr(subject, "read", None)):
        return NamedTransform(str(subject), open_lut(subject))
    if isinstance(lut := getattr(subject, "lut", None), Transform):  # a result that holds one
        return NamedTransform(repr(lut), lut)
    raise LutbenchError(f"{subject!r:.60} is no LUT", where=what, accepted=ACCEPTED)


def transform(
    subject: LutLike | BinaryIO, catalogue: Catalogue | None = None, what: str = "lut"
) -> Transform:
    """The transform that is meant."""
    return named(subject, catalogue, what).transform


def known(catalogue: Any) -> Catalogue:
    """The catalogue to look names up in."""
    if catalogue is None:
        return open_catalogue()
    if not isinstance(catalogue, Catalogue):
        raise LutbenchError(
            f"{catalogue!r:.60} is no catalogue", where="catalogue", accepted="open_catalogue(...)"
        )
    return catalogue


def whole(value: Any, what: str, low: int, high: int) -> int:
    """`value` as a whole number from `low` to `high`."""
    fits = isinstance(value, int | np.integer) and not isinstance(value, bool)
    if not fits or not low <= value <= high:
        raise LutbenchError(
            f"{value!r:.60} is no whole number", where=what, accepted=f"{low} to {high}"
        )
    return int(value)


def real(value: Any, what: str, low: float = -math.inf, high: float = math.inf) -> float:
    """`value` as a finite number from `low` to `high`."""
    fits = isinstance(value, int | float | np.integer | np.floating)
    if not fits or isinstance(value, bool) or not math.isfinite(value) or not low <= value <= high:
        limits = "a number" if math.isinf(low) else f"{low:g} to {high:g}"
        raise LutbenchError(f"{value!r:.60} is no number", where=what, accepted=limits)
    return float(value)


def text(value: Any, what: str) -> str:
    """`value` as a text."""
    if not isinstance(value, str):
        raise LutbenchError(f"{value!r:.60} is no text", where=what, accepted="a text")
    return value


def flag(value: Any, what: str) -> bool:
    """`value` as yes or no."""
    if not isinstance(value, bool | np.bool_):
        raise LutbenchError(f"{value!r:.60} is no answer", where=what, accepted="True, False")
    return bool(value)


def texts(value: Any, what: str) -> tuple[str, ...]:
    """`value` as texts: one, or several."""
    if isinstance(value, str):
        return (value,)
    try:
        return tuple(text(each, what) for each in value)
    except TypeError:
        raise LutbenchError(f"{value!r:.60} is no list of texts", where=what) from None


def picture(value: Picture, what: str) -> NDArray[np.float32]:
    """The signal of a still, shape (height, width, 3): from a file, or codes or floats."""
    if isinstance(value, str | os.PathLike):
        from lutbench.media.still.still import read_still

        return np.asarray(read_still(Path(value)).signal(), dtype=np.float32)
    from lutbench.tables.applying import as_pixels
    from lutbench.tables.interpolation import code_peak

    pixels = as_pixels(value)
    if pixels.ndim != 3:
        raise LutbenchError(
            f"an array of shape {pixels.shape}", where=what, accepted="(height, width, 3)"
        )
    return np.asarray(pixels / code_peak(pixels.dtype), dtype=np.float32)
