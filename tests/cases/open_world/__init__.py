"""LUTs made by formulas from elsewhere, to judge what `identify` says of them.

One family of LUTs to a file: `NAME`, a docstring that names the source of its
formulas, and `generate(rng)`, which gives a `Case`: the LUT as its file gives it
back, and what is true of it. The formulas are those of published documents and
of colour-science; nothing here is taken from the code that is judged, whose model
of curves and gamuts only names what is true.
"""

from __future__ import annotations

import pkgutil
import zlib
from importlib import import_module
from types import ModuleType

import numpy as np

from open_world.case import Case

PARTS_OF_THE_HOUSE = {"case", "ends", "tones", "spaces"}


def families() -> dict[str, ModuleType]:
    """Every family by its name, in the order of the alphabet."""
    files = sorted(
        each.name for each in pkgutil.iter_modules(__path__) if each.name not in PARTS_OF_THE_HOUSE
    )
    modules = [import_module(f"open_world.{name}") for name in files]
    return {module.NAME: module for module in modules}


def case(family: str, seed: int) -> Case:
    """The case of a family with a seed: the same bytes for the same two."""
    rng = np.random.default_rng([zlib.crc32(family.encode()), seed])
    return families()[family].generate(rng)
