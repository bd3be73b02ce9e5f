"""Results drawn on a user's own matplotlib axes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.exposure.levels import Levels
from lutbench.fitting.match_report import CameraMatch
from lutbench.identification.result import Identification
from lutbench.inspection.inspection import Inspection
from lutbench.measure.comparison import Comparison
from lutbench.model.curves.base import MID_GREY
from lutbench.model.transforms import Array, Transform
from lutbench.report.words import SPREAD_WORDS
from lutbench.splitting.split import Split
from lutbench.tables.lut import UNIT_DOMAIN

# Colours after Okabe and Ito, safe for colour-blind viewers; the dashes differ in print.
_CHANNELS = (("R", "#c04a00", "-"), ("G", "#00795a", (0, (5, 2))), ("B", "#0067a3", (0, (1, 1))))
_ONE = "#333333"
_ALIKE_SIGNAL = 1.5e-3
"""Largest difference of signal at which channels are drawn as one line: less than its width."""


def plot(subject: Any, ax: Any = None) -> Any:
    """Draw a LUT, a transform or a result on `ax`, by default pyplot's current axes; returns it.

    Raises LutbenchError when the subject has no plot, or `ax` is not matplotlib axes.
    """
    drawings: dict[type, Callable[[Any], None]] = {
        Inspection: lambda ax: _neutral(ax, subject.lut, ""),
        Split: lambda ax: _parts(ax, subject),
        Levels: lambda ax: _levels(ax, subject),
        Comparison: lambda ax: _comparison(ax, subject),
        Identification: lambda ax: _identified(ax, subject),
        CameraMatch: lambda ax: _match(ax, subject),
        Transform: lambda ax: _neutral(ax, subject, ""),
    }
    draw = next((each for kind, each in drawings.items() if isinstance(subject, kind)), None)
    if draw is None and isinstance(lut := getattr(subject, "lut", None), Transform):
        return plot(lut, ax)
    if draw is None:
        raise LutbenchError(
            f"a {type(subject).__name__} has no plot",
            accepted="a LUT, what inspect, identify, split, compare, levels or match gives, or a "
            "result with a LUT",
        )
    if ax is None:
        import matplotlib.pyplot as plt

        ax = plt.gca()
    if not callable(getattr(ax, "plot", None)) or not callable(getattr(ax, "set_xlabel", None)):
        raise LutbenchError(f"{ax!r:.60} cannot be drawn on", accepted="matplotlib axes")
    draw(ax)
    return ax


def _neutral(ax: Any, lut: Transform, label: str, colour: str = _ONE, dash: Any = "-") -> None:
    """The neutral axis, signal in to signal out."""
    low, high = np.asarray(getattr(lut, "domain", UNIT_DOMAIN))
    part = np.linspace(0, 1, 513)[:, None]
    inputs = low + part * (high - low)
    _channels(ax, inputs, lut.apply(inputs), label, colour, dash)


def _channels(
    ax: Any, inputs: Array, outputs: Array, label: str, colour: str = _ONE, dash: Any = "-"
) -> None:
    """A line for each channel, or one line where the channels are equal."""
    if float(np.ptp(outputs, axis=1).max()) < _ALIKE_SIGNAL:
        ax.plot(inputs[:, 1], outputs[:, 1], color=colour, linestyle=dash, label=label or None)
    else:
        for channel, (name, own, own_dash) in enumerate(_CHANNELS):
            line = {"color": own, "linestyle": own_dash} if not label else {"linestyle": own_dash}
            line["label"] = f"{label} {name}".strip()
            ax.plot(inputs[:, channel], outputs[:, channel], **line)
        ax.legend(frameon=False)
    ax.set_xlabel("signal in")
    ax.set_ylabel("signal out")


def _parts(ax: Any, parts: Split) -> None:
    named = (("gamut", parts.gamut), ("curve", parts.curve_1d), ("look", parts.look))
    for (name, lut), (_, colour, dash) in zip(named, _CHANNELS, strict=True):
        _neutral(ax, lut, name, colour, dash)
    ax.legend(frameon=False)


def _identified(ax: Any, found: Identification) -> None:
    """The neutral axis of the LUT that was identified."""
    if found.samples is None:
        raise LutbenchError("an identification without samples has no plot")
    inputs = np.repeat(found.samples.neutral_in[:, None], 3, axis=1)
    _channels(ax, inputs, found.samples.neutral, "")


def _match(ax: Any, found: CameraMatch) -> None:
    """ΔE 2000 of each patch between the cameras, before and after the match."""
    x = np.arange(len(found.patches))
    for k, (name, label) in enumerate((("before", "before"), ("after", "matched"))):
        heights = [getattr(each, name) for each in found.patches]
        ax.bar(x + (k - 0.5) * 0.4, heights, 0.38, color=_CHANNELS[2 * k][1], label=label)
    ax.set_xticks(x, [each.name for each in found.patches], rotation=90, fontsize="small")
    ax.margins(y=0.25)  # room for the legend
    ax.set_ylabel("ΔE 2000")
    ax.legend(frameon=False)


def _levels(ax: Any, day: Levels) -> None:
    """Percent of signal by stops from mid grey, recorded and after the LUT."""
    lit = sorted((e for e in day.levels if e.reflectance > 0), key=lambda e: e.reflectance)
    x = [float(np.log2(each.reflectance / MID_GREY)) for each in lit]
    recorded = [100 * each.recorded.signal for each in lit]
    ax.plot(x, recorded, marker="o", color=_ONE, label="recorded")
    after = [np.nan if e.after_lut is None else 100 * e.after_lut.signal for e in lit]
    if not np.isnan(after).all():
        ax.plot(x, after, marker="s", color=_CHANNELS[0][1], linestyle="--", label="after the LUT")
        ax.legend(frameon=False)
    ax.set_xlabel("stops from mid grey")
    ax.set_ylabel("% of signal")


def _comparison(ax: Any, found: Comparison) -> None:
    """ΔE 2000 of each set of test colours: mean, 95 % and the largest."""
    measures = {name: SPREAD_WORDS[name] for name in ("mean", "p95", "max")}
    spreads = found.to_data()["sets"]
    names = [name for name in spreads if "delta_e_2000" in spreads[name]]
    for k, (measure, (_, colour, _)) in enumerate(zip(measures, _CHANNELS, strict=True)):
        heights = [spreads[name]["delta_e_2000"][measure] for name in names]
        ax.bar(
            np.arange(len(names)) + (k - 1) * 0.27,
            heights,
            0.25,
            color=colour,
            label=measures[measure],
        )
    ax.set_xticks(range(len(names)), names)
    ax.set_ylabel("ΔE 2000")
    ax.legend(frameon=False)
