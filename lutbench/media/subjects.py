"""Pictures to look at a LUT with: a photograph and the measured chart, as a camera records them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.analysis.samples import chart_light
from lutbench.media.stills import Still, read_still
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import BT709
from lutbench.model.signal import RangeFromSignal
from lutbench.resources import demo_files


def photograph() -> NDArray[np.float32]:
    """The photograph of the demo set as sRGB signal, shape (400, 600, 3)."""
    with demo_files() as folder:
        return read_still(folder / "photograph.png").signal()


def recorded(picture: NDArray[np.float32], encoding: Encoding) -> NDArray[np.float64]:
    """An sRGB picture (0..1, shape (h, w, 3)) as full-scale values of another encoding.

    The light that sRGB shows stands in for the light of the scene, so nothing
    in it is brighter than a perfect white diffuser.
    """
    return Conversion(Encoding(Srgb(), BT709), encoding).pipeline().apply(picture)


def chart_picture(encoding: Encoding, patch: int = 64) -> NDArray[np.float64]:
    """The measured 24-patch chart as full-scale values of an encoding, four rows of six."""
    signal = np.clip(encoding.curve.encode(chart_light(encoding.gamut)), 0, 1)
    values = RangeFromSignal(encoding.range, encoding.bits).apply(signal)
    return values.reshape(4, 6, 3).repeat(patch, axis=0).repeat(patch, axis=1)


def still_of(values: NDArray[np.float64]) -> Still:
    """Full-scale values as a 16-bit still."""
    codes = np.round(np.clip(values, 0, 1) * 65535).astype(np.uint16)
    return Still(codes, ("R", "G", "B"), "16")
