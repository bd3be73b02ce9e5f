"""Where chroma samples sit among the luma samples: as the stream says, or as is usual.

Left of a pair of columns and between two lines is what MPEG-2 and H.264 mean unless they say
something else; on the first line too is what Recommendations ITU-R BT.2020-2 and BT.2100-2
have for 4:2:0.
"""

from __future__ import annotations

import re
from threading import Lock
from typing import Any

from lutbench.media.clip.codecs import load_av
from lutbench.media.clip.ycbcr import SITINGS, Matrix, Siting

_PLACES = (*SITINGS, "bottomleft", "bottom")
_UNREAD: dict[str, Siting] = {"bottomleft": "left", "bottom": "center"}

# FFmpeg's level of messages belongs to the process.
_LEVEL = Lock()


def siting_of(stream: Any, matrix: Matrix | None) -> tuple[Siting, list[str]]:
    """Where the chroma of a 4:2:0 stream sits, and what had to be assumed."""
    told = _told(stream)
    if told in _UNREAD:
        return _UNREAD[told], [f"its chroma sits {told}, which is read as {_UNREAD[told]}"]
    for known in SITINGS:
        if told == known:
            return known, []
    if str(stream.codec_context.pix_fmt).startswith("yuvj"):
        return "center", []
    return usual_siting(matrix), []


def usual_siting(matrix: Matrix | None) -> Siting:
    """Where the chroma of 4:2:0 sits for a matrix, unless somebody says otherwise."""
    return "topleft" if matrix == "BT.2020" else "left"


def _told(stream: Any) -> str:
    """What FFmpeg says of the stream, which it does in words only; empty where it is nothing."""
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
