"""The display of a LUT in a notebook: its grey scale as a curve, and swatches."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from lutbench.tables.lut import Lut

_COLOURS = ("#c04a00", "#00795a", "#0067a3")  # after Okabe and Ito
_CORNERS = ("black", "blue", "green", "cyan", "red", "magenta", "yellow", "white")


def html_of(lut: Lut) -> str:
    """HTML with the LUT's facts, its grey scale as SVG, and swatches of eight colours."""
    low, high = lut.domain
    inputs = np.linspace(0, 1, 65)[:, None] * (high - low) + low
    grey = np.clip(np.asarray(lut.apply(inputs), dtype=np.float64), -0.1, 1.1)
    corners = np.array([[r, g, b] for r in (0, 1) for g in (0, 1) for b in (0, 1)], dtype=float)
    shown = np.asarray(lut.apply(low + (0.5 + 0.3 * (corners - 0.5)) * (high - low)))
    swatches = "".join(
        f'<span title="{name}" style="display:inline-block;width:1.6em;height:1.1em;'
        f'background:{_hex(colour)}"></span>'
        for name, colour in zip(_CORNERS, shown, strict=True)
    )
    title = escape(" ".join(lut.title.split())) or "<i>no title</i>"
    domain = f"{float(low.min()):g} to {float(high.max()):g}"
    return (
        '<div style="display:flex;gap:1em;align-items:center">'
        f"{_curve(grey)}<div><b>{type(lut).__name__}</b>, size {lut.size}<br/>{title}<br/>"
        f"takes {domain}; gives {float(lut.table.min()):.3f} to {float(lut.table.max()):.3f}<br/>"
        f"{swatches}</div></div>"
    )


def _curve(grey: NDArray[np.float64]) -> str:
    """The grey scale of the three channels in a box of 120 pixels."""
    across = np.linspace(0, 120, len(grey))
    lines = []
    for channel in (0, 2, 1):
        points = " ".join(
            f"{x:.1f},{y:.1f}" for x, y in zip(across, 120 - 120 * grey[:, channel], strict=True)
        )
        lines.append(
            f'<polyline points="{points}" fill="none" stroke="{_COLOURS[channel]}" '
            'stroke-width="2"/>'
        )
    return (
        '<svg width="122" height="122" viewBox="-1 -1 122 122" role="img" '
        'aria-label="Grey scale, in to out">'
        '<rect width="120" height="120" fill="none" stroke="#999"/>'
        '<path d="M0 120L120 0" stroke="#999" stroke-dasharray="1 3"/>' + "".join(lines) + "</svg>"
    )


def _hex(colour: NDArray[np.float64]) -> str:
    codes = np.rint(255 * np.clip(colour, 0, 1)).astype(int)
    return "#" + "".join(f"{code:02x}" for code in codes.tolist())
