"""Arguments of the public functions, checked and turned into what the packages below take."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.formats.registry import open_lut
from lutbench.given import flag as flag
from lutbench.given import path as path
from lutbench.given import real as real
from lutbench.given import text as text
from lutbench.given import texts as texts
from lutbench.given import whole as whole
from lutbench.model.catalogue import Catalogue, Entry
from lutbench.model.catalogue import known as known
from lutbench.model.conversion import Conversion
from lutbench.model.encoding import Encoding
from lutbench.model.signal import Range, check_range
from lutbench.model.transforms import Transform
from lutbench.recipes.subjects import NamedTransform, lut_subject, open_subject

LutLike = Transform | Conversion | str | os.PathLike[str]
"""A LUT, transform or conversion; the path of a file; or words: "CURVE, GAMUT to CURVE, GAMUT",
``RECIPE.toml#NAME``."""

Picture = ArrayLike | str | os.PathLike[str]
"""Pixels, R G B last; or the path of a still."""

ACCEPTED = 'a LUT, a path, or words like "ACEScct, ACEScg to BT.1886, BT.709"'


def named(subject: LutLike | BinaryIO, catalogue: Catalogue | None, what: str) -> NamedTransform:
    """The transform that `subject` stands for, with what is known of its ends.

    Raises
    ------
    LutbenchError
        When `subject` is no LUT, path or words; `what` is the name of the argument.
    """
    if isinstance(subject, Transform):
        return lut_subject(repr(subject), subject, known(catalogue))
    if isinstance(subject, Conversion):
        steps, ends = subject.pipeline(), (subject.source, subject.result)
        return NamedTransform(subject.title, steps, *ends, task=subject)
    if isinstance(subject, str):
        if not subject.strip():
            raise LutbenchError("is empty", where=what, accepted=ACCEPTED)
        return open_subject(subject, known(catalogue))
    if isinstance(subject, os.PathLike) or callable(getattr(subject, "read", None)):
        return lut_subject(str(subject), open_lut(subject), known(catalogue))
    if isinstance(lut := getattr(subject, "lut", None), Transform):  # a result that holds one
        return lut_subject(repr(lut), lut, known(catalogue))
    raise LutbenchError(f"{subject!r:.60} is not a LUT", where=what, accepted=ACCEPTED)


def transform(
    subject: LutLike | BinaryIO, catalogue: Catalogue | None = None, what: str = "lut"
) -> Transform:
    """The transform that `subject` stands for."""
    return named(subject, catalogue, what).transform


def encoding(value: Any, catalogue: Catalogue | None, what: str) -> Encoding:
    """An encoding as it is, or in words: "CURVE, GAMUT"."""
    if isinstance(value, Encoding):
        return value
    parts = [part.strip() for part in value.split(",")] if isinstance(value, str) else []
    if len(parts) != 2:
        raise LutbenchError(
            f"{value!r:.60} is not an encoding",
            where=what,
            accepted='an Encoding, or words like "ACEScct, ACEScg"',
        )
    names = known(catalogue)
    return Encoding(names.curve(parts[0], what), names.gamut(parts[1], what))


def name_of(value: Any, kind: type[Any], what: str) -> Any:
    """`value`, which must be a name or an object of `kind`; of an entry, its name."""
    if isinstance(value, Entry):
        return value.name
    if not isinstance(value, str | kind):
        raise LutbenchError(
            f"{value!r:.60} is not a name", where=what, accepted=f"a name, a {kind.__name__}"
        )
    return value


def picture(value: Picture, what: str) -> NDArray[np.float32]:
    """The signal of a still, shape (height, width, 3), from a file or an array.

    uint8 and uint16 arrays are full-range codes, floats are signal.
    """
    if isinstance(value, str | os.PathLike):
        from lutbench.media.still.still import read_still

        return np.asarray(read_still(Path(value)).signal(), dtype=np.float32)
    from lutbench.tables.pixels import as_pixels
    from lutbench.tables.programs import code_peak

    pixels = as_pixels(value)
    if pixels.ndim != 3:
        raise LutbenchError(
            f"an array of shape {pixels.shape}", where=what, accepted="(height, width, 3)"
        )
    return np.asarray(pixels / code_peak(pixels.dtype), dtype=np.float32)


def signal_range(value: Any, what: str) -> Range | None:
    """A signal range, or None where none is given."""
    return None if value is None else check_range(value, what)


def listed(value: Any, what: str) -> list[Any]:
    """`value` as a list."""
    try:
        return list(value)
    except TypeError:
        raise LutbenchError(f"{value!r:.60} is not a list", where=what) from None
