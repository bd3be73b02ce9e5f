"""Thumbnails of pictures."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.media.still.pixels import Still


def thumbnail(still: Still, width: int) -> NDArray[np.float32]:
    """R G B of a still as signal values, scaled down to `width` pixels at most.

    Pixels are averaged over their area as signal. A sheet puts this small picture through the
    LUT, not the large one; at that size the results differ only at hard edges.

    Returns
    -------
    ndarray
        Shape (height, width, 3), float32.
    """
    return shrunk(still.signal(), width)


def shrunk(picture: NDArray[np.float32], width: int) -> NDArray[np.float32]:
    """A signal picture (height, width, 3), scaled down as `thumbnail` does."""
    height, full_width = picture.shape[:2]
    small = min(width, full_width)
    lines = max(1, round(height * small / full_width))
    if (lines, small) == (height, full_width):
        return picture
    import OpenImageIO as oiio

    buffer = oiio.ImageBuf(np.ascontiguousarray(picture))
    resized = oiio.ImageBufAlgo.resize(
        buffer, filtername="box", roi=oiio.ROI(0, small, 0, lines, 0, 1, 0, 3), nthreads=1
    )
    return np.asarray(resized.get_pixels(oiio.FLOAT), dtype=np.float32)
