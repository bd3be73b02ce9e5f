"""lutbench: a workbench for colour-pipeline LUTs.

Names are loaded on first use, so that ``import lutbench`` alone stays light.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lutbench.errors import LutbenchError as LutbenchError
    from lutbench.formats import open_lut as open_lut
    from lutbench.identification import identify as identify
    from lutbench.inspection.inspection import inspect as inspect
    from lutbench.measure.comparison import compare as compare
    from lutbench.recipes.make import build as build
    from lutbench.splitting.split import split as split
    from lutbench.tables.lut import Lut1D as Lut1D
    from lutbench.tables.lut import Lut3D as Lut3D
    from lutbench.tables.lut import ShaperLut3D as ShaperLut3D
    from lutbench.tables.pixels import apply_pixels as apply_pixels

__version__ = "0.1.0"

_HOMES = {
    "LutbenchError": "lutbench.errors",
    "build": "lutbench.recipes.make",
    "identify": "lutbench.identification",
    "compare": "lutbench.measure.comparison",
    "inspect": "lutbench.inspection.inspection",
    "open_lut": "lutbench.formats",
    "split": "lutbench.splitting.split",
    "Lut1D": "lutbench.tables.lut",
    "Lut3D": "lutbench.tables.lut",
    "ShaperLut3D": "lutbench.tables.lut",
    "apply_pixels": "lutbench.tables.pixels",
}

__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    try:
        home = _HOMES[name]
    except KeyError:
        raise AttributeError(f"module 'lutbench' has no attribute {name!r}") from None
    value = getattr(import_module(home), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
