"""Plots of a display check: gamma tracking, grey balance, colours, differences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from lutbench.display.check import DisplayCheck
from lutbench.display.reach import uv_of_xy
from lutbench.model.transforms import Array
from lutbench.report.drawing import THEMED, add_axes, legend_above, new_figure

DARK_SHARE = 0.005
"""Share of white under which chromaticities are not drawn: meters cannot read them reliably."""


GREY_SIZE = (2.9, 2.4)
"""Inches of a plot of the greys: three stand in a row, or one fills a phone."""

COLOUR_SIZE = (4.0, 3.7)
"""Inches of a plot of the colours: two stand in a row."""


def luminance_plot(found: DisplayCheck) -> Any:
    """Luminance of the greys, with that of the target."""
    axes = _signal_axes("luminance, cd/m²")
    level = [100 * step.level for step in found.greys]
    wanted = [step.wanted for step in found.greys]
    _target_and_read(axes, level, wanted, [step.luminance for step in found.greys])
    axes.set_yscale("log")
    return axes.figure


def gamma_plot(found: DisplayCheck) -> Any:
    """Gamma of the greys, with that of the target."""
    axes = _signal_axes("gamma")
    inner = [step for step in found.greys if step.gamma is not None and step.gamma_wanted]
    _target_and_read(
        axes,
        [100 * step.level for step in inner],
        [step.gamma_wanted for step in inner],
        [step.gamma for step in inner],
    )
    return axes.figure


def _signal_axes(label: str) -> Any:
    axes = add_axes(new_figure(*GREY_SIZE))
    axes.set_xlim(0, 100)
    axes.set_xlabel("signal, %")
    axes.set_ylabel(label)
    return axes


def _target_and_read(
    axes: Any, level: Sequence[Any], target: Sequence[Any], read: Sequence[Any]
) -> None:
    axes.plot(level, target, color=THEMED.faint, linestyle="--", lw=1.3, label="target")
    axes.plot(level, read, "o-", color=THEMED.accent, ms=3, lw=1.3, label="read")
    axes.legend(frameon=False, loc="lower right", labelcolor=THEMED.ink)


def balance_plot(found: DisplayCheck) -> Any:
    """Red, green and blue of each grey against neutral, in percent."""
    axes = _signal_axes("off neutral, %")
    bright = [step for step in found.greys if step.luminance > DARK_SHARE * found.target.peak]
    level = [100 * step.level for step in bright]
    marks = zip("RGB", THEMED.rgb, ("o-", "s--", "^:"), strict=True)
    for channel, (name, colour, mark) in enumerate(marks):
        off = [100 * (step.balance[channel] - 1) for step in bright]
        axes.plot(level, off, mark, color=colour, ms=3.5, lw=1.3, label=name)
    axes.axhline(0, color=THEMED.faint, linewidth=0.8)
    low, high = axes.get_ylim()
    top = max(-low, high, 2.0)
    axes.set_ylim(-top, top)
    legend_above(axes)
    return axes.figure


def colours_plot(found: DisplayCheck) -> Any:
    """CIE 1976 u'v': the target gamut, target colours as rings, colours read as dots."""
    figure = new_figure(*COLOUR_SIZE)
    axes = add_axes(figure)
    corners = uv_of_xy(np.array(found.target.gamut.primaries))
    closed = np.vstack([corners, corners[:1]])
    axes.plot(closed[:, 0], closed[:, 1], color=THEMED.faint, lw=1.2, label="target gamut")
    shown = (found.wanted[:, 1] > DARK_SHARE * found.target.peak) & ~found.neutral
    wanted, read = _uv(found.wanted[shown]), _uv(found.readings.xyz[shown])
    for a, b in zip(wanted, read, strict=True):
        axes.plot([a[0], b[0]], [a[1], b[1]], color=THEMED.line, lw=0.9, zorder=1)
    axes.plot(
        wanted[:, 0],
        wanted[:, 1],
        "o",
        mfc="none",
        mec=THEMED.faint,
        ms=6,
        mew=0.9,
        label="target",
    )
    axes.plot(read[:, 0], read[:, 1], "o", color=THEMED.accent, ms=2.6, label="read")
    axes.set_aspect("equal")
    axes.set_xlabel("u'")
    axes.set_ylabel("v'")
    axes.legend(frameon=False, loc="lower right", labelcolor=THEMED.ink)
    return figure


def differences_plot(found: DisplayCheck) -> Any:
    """The share of patches under each ΔE, in both measures."""
    figure = new_figure(*COLOUR_SIZE)
    sides = (("ΔE 2000", found.delta_e_2000), ("ΔE ITP", found.delta_e_itp))
    for place, (name, values) in enumerate(sides, 1):
        axes = add_axes(figure, 210 + place)
        ordered = np.sort(values)
        share = 100 * np.arange(1, len(ordered) + 1) / len(ordered)
        axes.step(ordered, share, where="post", color=THEMED.accent, lw=1.5)
        axes.axvline(1, color=THEMED.faint, lw=0.8, linestyle="--")
        axes.set_ylim(0, 102)
        axes.set_xlim(0, max(2.0, float(ordered[-1]) * 1.03))
        axes.set_xlabel(name)
        axes.set_ylabel("patches below, %")
    return figure


def _uv(xyz: Array) -> Array:
    total = np.maximum(xyz.sum(axis=1, keepdims=True), 1e-12)
    return uv_of_xy(xyz[:, :2] / total)
