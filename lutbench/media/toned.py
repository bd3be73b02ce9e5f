"""Signals as pictures for a page, which is SDR in full range.

HDR is tone-mapped: Method A of Report ITU-R BT.2446-1 from a display of 1000 cd/m², with
colours mapped into BT.709 at constant hue. Where such a picture is shown, `LABEL` says so.
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
from lutbench.model.signal import SignalFromRange
from lutbench.model.tone import tone_mapper
from lutbench.model.transforms import Pipeline

PEAK_CD_M2 = 1000.0
"""Peak in cd/m² of the display that HDR pictures are assumed to be made for, that of BT.2100."""

LABEL = "HDR, toned down to SDR for this page"

Picture = NDArray[np.float32]


def is_hdr(encoding: Encoding | None) -> bool:
    """Whether a signal is HDR; shown unchanged on a page it would look flat and pale."""
    return encoding is not None and encoding.curve.hdr


def for_page(picture: NDArray[Any], encoding: Encoding | None) -> Picture:
    """A picture as a page can show it: HDR is tone-mapped, legal range stretched to full.

    Parameters
    ----------
    picture
        The output of a LUT, shape (height, width, 3), in the range of its encoding.
    """
    if encoding is None:
        return np.asarray(picture, dtype=np.float32)
    if not is_hdr(encoding):
        signal = SignalFromRange(encoding.range, encoding.bits).apply(picture)
        return np.asarray(signal, dtype=np.float32)
    clipped = np.clip(np.nan_to_num(np.asarray(picture, dtype=np.float64)), 0, 1)
    return np.asarray(hdr_to_sdr(encoding).apply(clipped), dtype=np.float32)


@lru_cache(maxsize=8)
def hdr_to_sdr(encoding: Encoding) -> Pipeline:
    """The tone mapping from signals of an HDR encoding to those of an SDR picture."""
    source = encoding
    if source.display is None:
        source = replace(encoding, display=Display(PEAK_CD_M2))
    target = Encoding(Bt1886(), BT709, display=Display(100.0))
    mapper = tone_mapper("bt2446-a")
    assert mapper is not None
    task = Conversion(source, target, tone=mapper.between(source, target, 0.0))
    return replace(task, mapping=mapping_into(task)).pipeline()
