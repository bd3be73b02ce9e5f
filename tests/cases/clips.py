"""Frames and clips made by FFmpeg (through PyAV) from a photograph and a measured chart.

The photograph is one that scikit-image carries, the chart colour-science's 24 patches, both in
the open log encoding ACEScct (Academy S-2016-001), computed by colour-science.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import colour
import numpy as np
from numpy.typing import NDArray
from skimage import data

from lutbench.measure.samples import chart_light
from lutbench.model.gamuts import BT709

# The accurate converter of FFmpeg (its older one is up to 2.4 codes of 10 bits off), no dither.
EXACT = "flags=unstable+bicubic+accurate_rnd+full_chroma_int+full_chroma_inp:sws_dither=none"


def log_picture(height: int = 120, width: int = 160) -> NDArray[np.uint16]:
    """Above the photograph, below the chart, in log, as 16-bit codes."""
    photograph = (data.coffee()[: 2 * 72 : 2, : 2 * width : 2] / 255) ** 2.4
    patches = np.clip(chart_light(BT709), 0, None)
    below = np.repeat(np.repeat(patches.reshape(4, 6, 3), 12, axis=0), width // 6, axis=1)
    below = np.pad(below, ((0, 0), (0, width - below.shape[1]), (0, 0)), "edge")
    light = np.concatenate([photograph, below])[:height]
    log = colour.models.log_encoding_ACEScct(np.maximum(light, 1e-9))
    return np.rint(np.clip(log, 0, 1) * 65535).astype(np.uint16)


def filtered(frame: Any, *steps: str) -> Any:
    """A frame through FFmpeg's filters."""
    graph = av.filter.Graph()
    chain: list[Any] = [
        graph.add_buffer(
            width=frame.width, height=frame.height, format=frame.format, time_base=Fraction(1, 25)
        )
    ]
    for step in steps:
        name, _, options = step.partition("=")
        chain.append(graph.add(name, options or None))
        chain[-2].link_to(chain[-1])
    chain.append(graph.add("buffersink"))
    chain[-2].link_to(chain[-1])
    graph.configure()
    graph.push(frame)
    return graph.pull()


def rgb_frame(codes: NDArray[np.uint16]) -> Any:
    frame = av.VideoFrame(codes.shape[1], codes.shape[0], "gbrp16le")
    for plane, channel in zip(frame.planes, (1, 2, 0), strict=True):
        lines = np.frombuffer(plane, np.uint16).reshape(plane.height, -1)
        lines[:, : codes.shape[1]] = codes[..., channel]
    return frame


def rgb_codes(frame: Any) -> NDArray[np.uint16]:
    assert frame.format.name == "gbrp16le"
    out = np.empty((frame.height, frame.width, 3), np.uint16)
    for plane, channel in zip(frame.planes, (1, 2, 0), strict=True):
        lines = np.frombuffer(plane, np.uint16).reshape(plane.height, -1)
        out[..., channel] = lines[:, : frame.width]
    return out


def decoded(path: Path) -> Iterator[Any]:
    with av.open(str(path)) as container:
        yield from container.decode(video=0)


def coded_by_ffmpeg(form: str, matrix: str, span: str, codes: NDArray[np.uint16]) -> Any:
    whole = form[:3] + "444" + form[6:]
    steps = [
        f"scale=out_color_matrix={matrix}:out_range={span}:{EXACT}",
        f"format=pix_fmts={whole}",
    ]
    return filtered(rgb_frame(codes), *steps, *([] if whole == form else chroma_to(form)))


def chroma_to(form: str) -> list[str]:
    """The accurate converter does no chroma sampling: that is a step of its own."""
    same = "in_range=tv:out_range=tv:in_color_matrix=bt709:out_color_matrix=bt709"
    return [f"scale={same}:flags=bicubic+accurate_rnd:sws_dither=none", f"format=pix_fmts={form}"]


def planes_of(frame: Any) -> list[NDArray[np.int64]]:
    kind = np.uint8 if frame.format.components[0].bits == 8 else np.uint16
    return [
        np.frombuffer(plane, kind).reshape(plane.height, -1)[:, : plane.width].astype(np.int64)
        for plane in frame.planes
    ]
