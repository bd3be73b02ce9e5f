"""lutbench: a workbench for colour-pipeline LUTs.

Names are loaded on first use, so that ``import lutbench`` alone stays light. The names of
``__all__`` are promised, as docs/stable.md says; those of modules and packages below may change
with any version, unless a page of the manual imports them.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lutbench.errors import LutbenchError as LutbenchError
    from lutbench.errors import NotInvertibleError as NotInvertibleError
    from lutbench.face.exposing import levels as levels
    from lutbench.face.fitting import capture as capture
    from lutbench.face.fitting import learn as learn
    from lutbench.face.fitting import match as match
    from lutbench.face.hald import read_hald as read_hald
    from lutbench.face.hald import write_hald as write_hald
    from lutbench.face.making import apply as apply
    from lutbench.face.making import build as build
    from lutbench.face.making import sample as sample
    from lutbench.face.mixing import blend as blend
    from lutbench.face.mixing import strength as strength
    from lutbench.face.naming import curves as curves
    from lutbench.face.naming import gamuts as gamuts
    from lutbench.face.peers import from_colour as from_colour
    from lutbench.face.peers import to_colour as to_colour
    from lutbench.face.peers import to_pillow as to_pillow
    from lutbench.face.reworking import chain as chain
    from lutbench.face.reworking import change_range as change_range
    from lutbench.face.reworking import invert as invert
    from lutbench.face.reworking import neutral as neutral
    from lutbench.face.reworking import repair as repair
    from lutbench.face.reworking import resample as resample
    from lutbench.face.telling import compare as compare
    from lutbench.face.telling import identify as identify
    from lutbench.face.telling import inspect as inspect
    from lutbench.face.telling import split as split
    from lutbench.face.telling import verify as verify
    from lutbench.formats.edl import cdls_of_edl as cdls_of_edl
    from lutbench.formats.registry import open_lut as open_lut
    from lutbench.model.catalogue import Catalogue as Catalogue
    from lutbench.model.catalogue import open_catalogue as open_catalogue
    from lutbench.model.conversion import Conversion as Conversion
    from lutbench.model.curves.base import Curve as Curve
    from lutbench.model.encoding import Encoding as Encoding
    from lutbench.model.gamuts import Gamut as Gamut
    from lutbench.model.grade import Cdl as Cdl
    from lutbench.model.light import Display as Display
    from lutbench.model.transforms import Clamp as Clamp
    from lutbench.model.transforms import Matrix as Matrix
    from lutbench.model.transforms import Pipeline as Pipeline
    from lutbench.model.transforms import Transform as Transform
    from lutbench.tables.lut import Lut1D as Lut1D
    from lutbench.tables.lut import Lut3D as Lut3D
    from lutbench.tables.lut import ShaperLut3D as ShaperLut3D
    from lutbench.tables.pixels import apply_pixels as apply_pixels

__version__ = "0.1.0"

_HOMES = {
    # Errors
    "LutbenchError": "lutbench.errors",
    "NotInvertibleError": "lutbench.errors",
    # Read and write
    "open_lut": "lutbench.formats.registry",
    "read_hald": "lutbench.face.hald",
    "write_hald": "lutbench.face.hald",
    "cdls_of_edl": "lutbench.formats.edl",
    "from_colour": "lutbench.face.peers",
    "to_colour": "lutbench.face.peers",
    "to_pillow": "lutbench.face.peers",
    # Say
    "Catalogue": "lutbench.model.catalogue",
    "Cdl": "lutbench.model.grade",
    "Clamp": "lutbench.model.transforms",
    "Conversion": "lutbench.model.conversion",
    "Curve": "lutbench.model.curves.base",
    "Display": "lutbench.model.light",
    "Encoding": "lutbench.model.encoding",
    "Gamut": "lutbench.model.gamuts",
    "Lut1D": "lutbench.tables.lut",
    "Lut3D": "lutbench.tables.lut",
    "Matrix": "lutbench.model.transforms",
    "Pipeline": "lutbench.model.transforms",
    "ShaperLut3D": "lutbench.tables.lut",
    "Transform": "lutbench.model.transforms",
    "curves": "lutbench.face.naming",
    "gamuts": "lutbench.face.naming",
    "open_catalogue": "lutbench.model.catalogue",
    # Do
    "apply": "lutbench.face.making",
    "apply_pixels": "lutbench.tables.pixels",
    "blend": "lutbench.face.mixing",
    "build": "lutbench.face.making",
    "capture": "lutbench.face.fitting",
    "chain": "lutbench.face.reworking",
    "change_range": "lutbench.face.reworking",
    "compare": "lutbench.face.telling",
    "identify": "lutbench.face.telling",
    "inspect": "lutbench.face.telling",
    "invert": "lutbench.face.reworking",
    "learn": "lutbench.face.fitting",
    "levels": "lutbench.face.exposing",
    "match": "lutbench.face.fitting",
    "neutral": "lutbench.face.reworking",
    "repair": "lutbench.face.reworking",
    "resample": "lutbench.face.reworking",
    "sample": "lutbench.face.making",
    "split": "lutbench.face.telling",
    "strength": "lutbench.face.mixing",
    "verify": "lutbench.face.telling",
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
