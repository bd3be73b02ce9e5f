"""A clip that loses nothing, of pictures made in memory."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray


def write_small_clip(path: Path, pictures: Iterable[NDArray[np.uint8]]) -> None:
    """Write pictures of shape (height, width, 3) as 10-bit 4:2:2 in FFV1, 25 a second."""
    frames = list(pictures)
    with av.open(str(path), "w") as file:
        stream = file.add_stream("ffv1", rate=25)
        stream.height, stream.width = frames[0].shape[:2]
        stream.pix_fmt = "yuv422p10le"
        for picture in frames:
            file.mux(stream.encode(av.VideoFrame.from_ndarray(picture)))
        file.mux(stream.encode(None))
