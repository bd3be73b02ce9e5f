"""The tone curve: signal to signal, and stops to signal when the source is known."""

from __future__ import annotations

from typing import Any

import numpy as np

from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import MID_GREY
from lutbench.model.signal import RangeFromSignal
from lutbench.model.transforms import Array
from lutbench.report.drawing import THEMED, add_axes, new_figure
from lutbench.report.figures.base import (
    MARKED_REFLECTANCES,
    Figure,
    finished,
    neutral_inputs,
)
from lutbench.report.words import percent_words
from lutbench.tables.lut import Lut

STYLES = ("-", (0, (5, 2)), (0, (1, 1.5)))
"""One dash a channel, so that the three can be told apart without colour."""


def tone_figure(lut: Lut, source: Encoding | None = None) -> Figure:
    """Output over input on the neutral axis; with a source, also over stops from mid grey."""
    drawing = new_figure(8.4 if source else 4.6, 3.5)
    inputs = neutral_inputs(lut)
    left = add_axes(drawing, 121 if source else 111)
    _lines(left, 100 * inputs[:, 0], 100 * lut.apply(inputs))
    left.set_xlabel("input, % of full scale")
    left.set_ylabel("output, % of full scale")
    if source is not None:
        _mark_reflectances(left, lut, source)
        _stops(add_axes(drawing, 122), lut, source)
    alt = "The output of the LUT over its input on the neutral axis" + (
        ", and over stops from mid grey; " + _words(lut, source) if source else "."
    )
    return finished(
        drawing,
        "tone",
        "Tone curve",
        alt,
        "What neutral greys become. Where the three channels part, greys are tinted."
        + (" Dots: 0, 18, 36, 90 and 100 % reflectance." if source else ""),
    )


def _lines(axes: Any, x: Array, y: Array) -> None:
    if np.ptp(y, axis=1).max() < 0.05:
        axes.plot(x, y[:, 1], color=THEMED.ink, linewidth=1.6)
        return
    for channel, (colour, name) in enumerate(
        zip(THEMED.rgb, ("red", "green", "blue"), strict=True)
    ):
        style = STYLES[channel]
        axes.plot(x, y[:, channel], color=colour, linewidth=1.6, linestyle=style, label=name)
    axes.legend(frameon=False, fontsize=8, labelcolor=THEMED.faint)


def input_of(light: Array, source: Encoding) -> Array:
    """Full-scale input values of neutral light, shape (n, 3)."""
    signal = source.curve.encode(np.asarray(light))
    neutral = np.repeat(np.atleast_1d(signal)[:, None], 3, axis=1)
    return RangeFromSignal(source.range, source.bits).apply(neutral)


def _mark_reflectances(axes: Any, lut: Lut, source: Encoding) -> None:
    inputs = input_of(np.array(MARKED_REFLECTANCES), source)
    outputs = lut.apply(inputs)
    axes.plot(100 * inputs[:, 1], 100 * outputs[:, 1], "o", color=THEMED.mark, markersize=5)
    placed: list[float] = []
    for reflectance, x, y in zip(
        MARKED_REFLECTANCES, 100 * inputs[:, 1], 100 * outputs[:, 1], strict=True
    ):
        # 90 and 100 % lie so near each other that one label serves.
        if any(abs(x - other) < 4 for other in placed):
            continue
        placed.append(float(x))
        above = y < 85
        axes.annotate(
            percent_words(reflectance),
            (x, y),
            xytext=(-4, 5) if above else (5, -11),
            textcoords="offset points",
            ha="right" if above else "left",
            fontsize=8,
            color=THEMED.faint,
        )


def _stops(axes: Any, lut: Lut, source: Encoding) -> None:
    top = np.log2(max(source.curve.clip, 2 * MID_GREY) / MID_GREY)
    stops = np.linspace(-8, min(top, 12), 600)
    outputs = lut.apply(input_of(MID_GREY * 2.0**stops, source))
    _lines(axes, stops, 100 * outputs)
    axes.axvline(0, color=THEMED.mark, linewidth=1, linestyle=(0, (4, 3)))
    axes.set_xlabel("stops from mid grey")
    axes.set_ylabel("output, % of full scale")


def _words(lut: Lut, source: Encoding) -> str:
    grey, white = 100 * lut.apply(input_of(np.array([MID_GREY, 0.9]), source))[:, 1]
    return f"mid grey comes out at {grey:.0f} %, a 90 % white card at {white:.0f} %."
