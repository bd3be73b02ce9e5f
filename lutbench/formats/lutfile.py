"""What reading a LUT file gives: the transform, and what had to be tolerated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypeVar

from lutbench.model.transforms import Transform

T_co = TypeVar("T_co", bound=Transform, covariant=True)


@dataclass(frozen=True)
class LutFile(Generic[T_co]):
    """A file that was read.

    Parameters
    ----------
    lut
        What the file holds: a LUT, or for other formats a transform.
    format
        ``"cube"``, ``"clf"``, ``"cdl"``, ``"cc"`` or ``"ccc"``.
    notes
        One line for each thing that is not as the format says but was read all
        the same, or was left out; empty for a file without blemish.
    title, comments
        What the file says about itself.
    """

    lut: T_co
    format: str
    notes: tuple[str, ...] = ()
    title: str = ""
    comments: tuple[str, ...] = ()
