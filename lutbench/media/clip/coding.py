"""How the code values of a clip are read: from its tags, the user's options, or by assumption.

Where a stream does not state the position of its chroma samples, it is the usual one: on the left
column and between two lines, the default of MPEG-2 and H.264, or on the left column and the first
line, for 4:2:0 of Recommendations ITU-R BT.2020-2 and BT.2100-2.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.media.clip.codecs import load_av
from lutbench.media.clip.ycbcr import SITINGS, Coding, Matrix, Siting, rgb_from_planes
from lutbench.media.still.checks import memory_limit
from lutbench.model.signal import Range

# Code points of Recommendation ITU-T H.273, matrix_coefficients.
_MATRICES: dict[int, Matrix] = {1: "BT.709", 5: "BT.601", 6: "BT.601", 9: "BT.2020"}
_UNSPECIFIED = 2
"""The code point of H.273 for a matrix that is not specified."""

LEGAL = 1
"""FFmpeg's number for legal range in a range tag."""

FULL = 2
"""FFmpeg's number for full range in a range tag."""


@dataclass(frozen=True)
class ClipCoding:
    """How the code values of a clip are read, with notes on what was assumed."""

    bits: int
    range: Range
    matrix: Matrix | None  # None for R G B
    across: int
    down: int
    siting: Siting
    alpha: bool
    notes: tuple[str, ...] = ()

    @property
    def chroma(self) -> str:
        """``"420"``, ``"422"`` or ``"444"``."""
        return {(2, 2): "420", (2, 1): "422"}.get((self.across, self.down), "444")

    def ycbcr(self) -> Coding:
        """The coding of the Y'CbCr planes."""
        assert self.matrix is not None
        return Coding(self.matrix, self.range, self.bits, self.across, self.down, self.siting)


def coding_of(
    stream: Any,
    matrix: Matrix | None = None,
    span: Range | None = None,
    where: str | Path = "",
) -> ClipCoding:
    """How the frames of a video stream are coded: from the arguments, else its tags, else assumed.

    Raises LutbenchError when the pixel format or the matrix is not supported.
    """
    name, bits, alpha = _form_of(stream, where)
    context = stream.codec_context
    notes: list[str] = []
    if name.startswith("gb"):
        chosen: Range = span or ("legal" if context.color_range == LEGAL else "full")
        return ClipCoding(bits, chosen, None, 1, 1, "left", alpha)
    across = _factor(context.width, context.format.chroma_width(context.width))
    down = _factor(context.height, context.format.chroma_height(context.height))
    if (across, down) not in ((1, 1), (2, 1), (2, 2)):
        raise LutbenchError(
            f"the pixel format {name} cannot be read",
            where=where,
            accepted="4:2:0, 4:2:2, 4:4:4",
        )
    if span is None:
        span, note = _tagged_range(context, name)
        notes += note
    if matrix is None:
        matrix, note = _tagged_matrix(context, where)
        notes += note
    siting: Siting = "left"
    if down == 2:
        siting, note = siting_of(stream, matrix)
        notes += note
    return ClipCoding(bits, span, matrix, across, down, siting, alpha, tuple(notes))


def _form_of(stream: Any, where: str | Path) -> tuple[str, int, bool]:
    """The name of the pixel format, its bits, and whether it has alpha."""
    context = stream.codec_context
    if context is None:
        raise LutbenchError("there is no decoder for its pictures", where=where)
    name = context.pix_fmt or "nothing"
    parts = context.format.components if context.format is not None else ()
    bits = parts[0].bits if parts else 0
    planar = len(parts) >= 3 and len({part.plane for part in parts}) == len(parts)
    known = name.startswith(("yuv", "gbrp", "gbrap")) and not name.endswith("be")
    if not planar or not known or not 8 <= bits <= 16:
        raise LutbenchError(
            f"the pixel format {name} cannot be read",
            where=where,
            accepted="planar Y'CbCr or R G B of 8 to 16 bits",
        )
    need = context.width * context.height * 3 * 4 * 3
    if need > memory_limit():
        raise LutbenchError(
            f"frames of {context.width}×{context.height} are larger than the memory limit",
            where=where,
            accepted=f"up to {memory_limit() >> 20} MiB for three frames in float32",
        )
    return name, bits, any(part.is_alpha for part in parts)


def rgb_of(frame: Any, coding: ClipCoding) -> NDArray[np.float32]:
    """R G B signal values of a decoded frame, shape (height, width, 3)."""
    planes = [plane_of(frame, index, coding.bits) for index in range(3)]
    if coding.matrix is not None:
        y, cb, cr = planes
        return rgb_from_planes(y, cb, cr, frame.width, coding.ycbcr())
    black, scale = Coding("BT.709", coding.range, coding.bits).luma_scale
    rgb = np.empty((frame.height, frame.width, 3), np.float32)
    for channel, plane in zip((1, 2, 0), planes, strict=True):  # FFmpeg's order is G B R
        np.subtract(plane[:, : frame.width], np.float32(black), out=rgb[..., channel])
    rgb /= np.float32(scale)
    return rgb


def plane_of(frame: Any, index: int, bits: int) -> NDArray[Any]:
    """The codes of a plane as an array (lines, samples and padding), not copied."""
    plane = frame.planes[index]
    kind = np.dtype(np.uint8 if bits == 8 else np.uint16)
    codes = np.frombuffer(plane, kind)
    return codes.reshape(plane.height, plane.line_size // kind.itemsize)


def _factor(size: int, chroma_size: int) -> int:
    return 1 if chroma_size == size else 2 if chroma_size == -(-size // 2) else 0


def _tagged_range(context: Any, form: str) -> tuple[Range, list[str]]:
    if form.startswith("yuvj") or context.color_range == FULL:
        return "full", []
    if context.color_range == LEGAL:
        return "legal", []
    return "legal", ["the clip does not state its range: legal is assumed (--file-range)"]


def _tagged_matrix(context: Any, where: str | Path) -> tuple[Matrix, list[str]]:
    code = int(context.colorspace)
    if code in _MATRICES:
        return _MATRICES[code], []
    if code != _UNSPECIFIED:
        raise LutbenchError(
            f"the clip's Y'CbCr matrix has code point {code} of H.273, which is not supported",
            where=where,
            accepted="BT.601, BT.709, BT.2020 (or source_matrix= to use one of these)",
        )
    if int(context.color_primaries) == 9:
        matrix: Matrix = "BT.2020"
    else:
        matrix = "BT.709" if context.width > 1024 or context.height > 576 else "BT.601"
    return matrix, [f"the clip does not state its matrix: {matrix} is assumed (--source-matrix)"]


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
