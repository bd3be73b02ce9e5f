"""HDR signals as a picture for a page: a page is SDR, so their light is brought to that range.

Method A of Report ITU-R BT.2446-1 from a display of 1000 cd/m², colours mapped into BT.709 with
their hue kept. Whoever shows such a picture says so with `LABEL`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.model.conversion import Conversion, mapping_into
from lutbench.model.curves.video import Bt1886
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709
from lutbench.model.light import Display
from lutbench.model.tone import tone_mapper
from lutbench.model.transforms import Pipeline

PEAK = 1000.0
"""cd/m² of the display that HDR pictures are taken to be made for: the nominal one of BT.2100."""

LABEL = "HDR, toned down to SDR for this page"

Picture = NDArray[np.float32]


def is_hdr(encoding: Encoding | None) -> bool:
    """Whether a signal would be taken for a flat, pale SDR picture on a page."""
    return encoding is not None and encoding.curve.hdr


def for_page(picture: NDArray[Any], encoding: Encoding | None) -> Picture:
    """Signals of an encoding as a page may show them: HDR toned down, all else as it is.

    Parameters
    ----------
    picture
        What comes out of a LUT, shape (height, width, 3), as its files carry it.
    """
    if encoding is None or not is_hdr(encoding):
        return np.asarray(picture, dtype=np.float32)
    held = np.clip(np.nan_to_num(np.asarray(picture, dtype=np.float64)), 0, 1)
    return np.asarray(toned_down(encoding).apply(held), dtype=np.float32)


@lru_cache(maxsize=8)
def toned_down(encoding: Encoding) -> Pipeline:
    """From signals of an HDR encoding to those of an SDR picture."""
    source = encoding
    if source.display is None:
        source = replace(encoding, display=Display(PEAK))
    target = Encoding(Bt1886(), BT709, display=Display(100.0))
    mapper = tone_mapper("bt2446-a")
    assert mapper is not None
    task = Conversion(source, target, tone=mapper.between(source, target, 0.0))
    return replace(task, mapping=mapping_into(task)).pipeline()
