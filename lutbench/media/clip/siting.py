"""The position of chroma samples: as the stream states, or the usual one.

On the left column and between two lines is the default of MPEG-2 and H.264; on the left column
and the first line is that of Recommendations ITU-R BT.2020-2 and BT.2100-2 for 4:2:0.
"""

from __future__ import annotations

import re
from threading import Lock
from typing import Any

from lutbench.media.clip.codecs import load_av
from lutbench.media.clip.ycbcr import SITINGS, Matrix, Siting

_PLACES = (*SITINGS, "bottomleft", "bottom")
_UNREAD: dict[str, Siting] = {"bottomleft": "left", "bottom": "center"}

# FFmpeg's log level is global to the process.
_LEVEL = Lock()


def siting_of(stream: Any, matrix: Matrix | None) -> tuple[Siting, list[str]]:
    """The chroma position of a 4:2:0 stream, and notes on what was assumed."""
    stated = _stated(stream)
    if stated in _UNREAD:
        read_as = _UNREAD[stated]
        return read_as, [f"its chroma position is {stated}, which is read as {read_as}"]
    for known in SITINGS:
        if stated == known:
            return known, []
    if str(stream.codec_context.pix_fmt).startswith("yuvj"):
        return "center", []
    return usual_siting(matrix), []


def usual_siting(matrix: Matrix | None) -> Siting:
    """The usual chroma position of 4:2:0 with a Y'CbCr matrix."""
    return "topleft" if matrix == "BT.2020" else "left"


def _stated(stream: Any) -> str:
    """The position in FFmpeg's description of the stream, its only source; empty if none."""
    logging = load_av().logging
    with _LEVEL:
        before = logging.get_level()
        logging.set_libav_level(logging.VERBOSE)
        logging.set_level(logging.INFO)
        try:
            text = stream.container.dumps_format()
        finally:
            logging.set_level(before)
            logging.set_libav_level(logging.INFO)
    form = re.escape(str(stream.codec_context.pix_fmt))
    for line in text.splitlines():
        if re.match(rf"\s*Stream #0:{stream.index}\b.*: Video:", line):
            found = re.search(rf"\b{form}\(([^)]*)\)", line)
            words = {each.strip() for each in found[1].split(",")} if found else set()
            return next((place for place in _PLACES if place in words), "")
    return ""
