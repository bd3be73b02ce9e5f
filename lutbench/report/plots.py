"""Plots of tone: signal to signal, stops to signal, tint, waveforms; and slices of a 3D LUT."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.exposure.reading import GREY, SKIN, WHITE, WHITE_CARD, Level
from lutbench.inspection.inspection import Inspection
from lutbench.inspection.subject import CODES
from lutbench.model.curves.base import MID_GREY
from lutbench.model.signal import RangeFromSignal, SignalFromRange
from lutbench.report.drawing import THEMED, add_axes, new_figure
from lutbench.tables.nodes import greys

WIDTH_INCHES = 4.7
"""Width of a plot in inches: two fit side by side on a page."""

HEIGHT_INCHES = 3.7
"""Height of a plot in inches: about four to five."""

MARKED = ((GREY, "18 %"), (SKIN, "36 %"), (WHITE_CARD, "90 %"), (WHITE, "100 %"))
_DASHES = ("-", (0, (4, 1.5)), (0, (1.2, 1.2)))


def tone_plot(found: Inspection) -> Any:
    """The neutral axis, signal to signal, with the marked reflectances."""
    figure = new_figure(WIDTH_INCHES, HEIGHT_INCHES)
    axes = add_axes(figure)
    axis = found.neutral
    low, high = float(axis.inputs[0]), float(axis.inputs[-1])
    axes.plot([0, 100], [0, 100], color=THEMED.faint, linewidth=0.8, linestyle=(0, (1, 3)))
    _channels(axes, 100 * axis.inputs, 100 * axis.outputs)
    for name, clip in (("low", axis.clip_low), ("high", axis.clip_high)):
        if clip is not None:
            edge = 100 * (low if name == "low" else high)
            axes.axvspan(edge, 100 * clip.onset, color=THEMED.line, alpha=0.45, linewidth=0)
    if found.scene is not None:
        _marks(axes, [each for light, _ in MARKED for each in [found.scene.levels.at(light)]])
    else:
        _mark(axes, 100 * found.mid_grey_in, 100 * found.mid_grey_out, "half way")
    axes.set_xlabel("in, % of signal")
    axes.set_ylabel("out, % of signal")
    axes.set_xlim(100 * low, 100 * high)
    bottom, top = 100 * axis.outputs.min(), 100 * axis.outputs.max()
    axes.set_ylim(min(-2.0, bottom - 2), max(102.0, top + 2))
    return figure


def _channels(axes: Any, x: NDArray[Any], y: NDArray[Any]) -> None:
    """One line where the channels are equal, else three with different dashes."""
    if float(np.ptp(y, axis=1).max()) < 0.15:
        axes.plot(x, y.mean(axis=1), color=THEMED.accent, linewidth=1.8)
        return
    for channel, name in enumerate("RGB"):
        axes.plot(
            x,
            y[:, channel],
            color=THEMED.rgb[channel],
            linewidth=1.6,
            linestyle=_DASHES[channel],
            label=name,
        )
    legend = axes.legend(frameon=False, fontsize=8, labelcolor=THEMED.ink)
    legend.set_zorder(5)


def _marks(axes: Any, levels: list[Level]) -> None:
    names = dict(MARKED)
    for each in levels:
        if each.after_lut is None or each.clipped:
            continue
        # Without a name: it would overlap that of the 90 % mark.
        name = "" if each.reflectance == WHITE else names[each.reflectance]
        _mark(axes, each.recorded.percent, 100 * each.after_lut.signal, name)


def _mark(axes: Any, x: float, y: float, name: str) -> None:
    axes.plot([x], [y], marker="o", markersize=5, color=THEMED.mark, linestyle="none", zorder=4)
    if name:
        axes.annotate(
            name,
            (x, y),
            xytext=(7, -9),
            textcoords="offset points",
            fontsize=8,
            color=THEMED.mark,
            fontweight="bold",
        )


def stops_plot(found: Inspection) -> Any:
    """Stops to signal: recorded, and after the LUT. Needs the source curve."""
    assert found.scene is not None
    curve = found.scene.levels.curve
    figure = new_figure(WIDTH_INCHES, HEIGHT_INCHES)
    axes = add_axes(figure)
    top = min(float(np.log2(curve.clip / MID_GREY)), 12.0)
    stops = np.linspace(-8.0, top, 400)
    recorded = np.clip(curve.encode(MID_GREY * 2.0**stops), 0, 1)
    values = RangeFromSignal(found.source_range).apply(greys(recorded))
    after = SignalFromRange(found.target_range).apply(np.asarray(found.lut.apply(values)))
    axes.plot(stops, 100 * recorded, color=THEMED.second, linewidth=1.4, linestyle=_DASHES[1])
    axes.plot(stops, 100 * after.mean(axis=1), color=THEMED.accent, linewidth=1.8)
    for light, _ in MARKED[:3]:
        level = found.scene.levels.at(light)
        if level.after_lut is not None and not level.clipped:
            name = dict(MARKED)[light]
            _mark(axes, level.stops, 100 * level.after_lut.signal, name)
    for text, line, at, away, colour in (
        ("recorded", recorded, 0.04, (0, 8), THEMED.second),
        ("after the LUT", after.mean(axis=1), 0.62, (-6, 8), THEMED.accent),
    ):
        index = int(at * (len(stops) - 1))
        axes.annotate(
            text,
            (float(stops[index]), 100 * float(line[index])),
            xytext=away,
            textcoords="offset points",
            fontsize=8,
            color=colour,
            ha="right" if at > 0.5 else "left",
        )
    axes.set_xticks(range(-8, int(top) + 1, 2))
    axes.set_xlabel("stops from mid grey")
    axes.set_ylabel("signal, %")
    axes.set_xlim(-8, top)
    axes.set_ylim(-3, 105)
    return figure


def tint_plot(found: Inspection) -> Any:
    """Red and blue against green on the neutral axis, in 10-bit codes."""
    figure = new_figure(WIDTH_INCHES, 2.3)
    axes = add_axes(figure)
    axis = found.neutral
    x = 100 * axis.inputs
    for channel, name in ((0, "red − green"), (2, "blue − green")):
        away = (axis.outputs[:, channel] - axis.outputs[:, 1]) * CODES
        axes.plot(
            x,
            away,
            color=THEMED.rgb[channel],
            linewidth=1.6,
            linestyle=_DASHES[channel // 2],
            label=name,
        )
    limit = found.limits["tint"]
    axes.axhspan(-limit, limit, color=THEMED.line, alpha=0.45, linewidth=0)
    # At least a hundredth of a code, or a limit of 0 and no tint would leave an empty axis.
    reach = max(4 * limit, 1.15 * axis.tint[0] * CODES, 0.01)
    axes.set_ylim(-reach, reach)
    axes.set_xlim(x[0], x[-1])
    axes.set_xlabel("in, % of signal")
    axes.set_ylabel("10-bit codes")
    axes.legend(frameon=False, fontsize=8, labelcolor=THEMED.ink, ncol=2, loc="upper left")
    return figure


WAVE_COLUMNS = 240
"""Columns of a waveform in pixels: about as many as its plot has on a screen."""

WAVE_LEVELS = 180
"""Levels of a waveform in pixels: about as many as its plot has on a screen."""


def waveform_plot(picture: NDArray[Any]) -> Any:
    """R, G and B levels of a picture from left to right, on a dark background."""
    figure = new_figure(WIDTH_INCHES, 1.9)
    axes = add_axes(figure)
    axes.grid(True, axis="y", color=THEMED.line, linewidth=0.5)
    axes.imshow(
        waveform(picture), extent=(0, 1, -5, 105), aspect="auto", origin="lower",
        interpolation="none", zorder=0,
    )  # fmt: skip
    axes.set_axisbelow(False)
    axes.set_yticks([0, 25, 50, 75, 100])
    axes.set_xticks([])
    axes.set_ylabel("signal, %")
    axes.grid(True, axis="y", color="#8a8a8a", linewidth=0.4, alpha=0.6)
    return figure


def waveform(picture: NDArray[Any]) -> NDArray[np.uint8]:
    """The waveform as a picture: shape (levels, columns, 3), lowest level first.

    Levels from −5 to 105 %; brightness is the logarithm of the count.
    """
    height, width = picture.shape[:2]
    columns = np.broadcast_to(
        (np.arange(width) * WAVE_COLUMNS // width)[None, :], (height, width)
    ).ravel()
    ground = np.full((WAVE_LEVELS, WAVE_COLUMNS, 3), 24.0)
    for channel in range(3):
        signal = np.nan_to_num(np.asarray(picture[..., channel], dtype=np.float64)).ravel()
        rows = np.clip((signal + 0.05) / 1.10 * WAVE_LEVELS, 0, WAVE_LEVELS - 1).astype(int)
        count = np.zeros((WAVE_LEVELS, WAVE_COLUMNS))
        np.add.at(count, (rows, columns), 1.0)
        strength = np.log1p(count) / np.log1p(max(count.max(), 1))
        # Okabe–Ito vermilion, bluish green and blue; where they overlap it gets lighter.
        colour = np.array([[230, 110, 30], [0, 190, 130], [40, 130, 230]][channel], float)
        ground += strength[..., None] ** 0.8 * colour
    drawn: NDArray[np.uint8] = np.clip(np.rint(ground), 0, 255).astype(np.uint8)
    return drawn


SLICES = 5
"""Number of slices in a figure: both ends of blue, the middle, and one between each."""

COLUMNS = 3
"""Number of slices side by side: as many as a phone can show."""


class Sliced:
    """A figure with axes for each slice of constant blue.

    Parameters
    ----------
    blues
        The blue of each slice, in percent of the signal.
    extent
        The smallest and largest red and green, in percent.
    """

    def __init__(self, blues: Sequence[float], extent: tuple[float, float] = (0.0, 100.0)) -> None:
        self.figure = new_figure(WIDTH_INCHES, HEIGHT_INCHES)
        self.extent = extent
        self._blues = blues
        self._rows = -(-len(blues) // COLUMNS)
        self._grid = self.figure.add_gridspec(self._rows, COLUMNS)

    def __iter__(self) -> Iterator[Any]:
        """The axes of each slice."""
        ticks = np.linspace(*self.extent, 3)
        for number, blue in enumerate(self._blues):
            row, column = divmod(number, COLUMNS)
            axes = add_axes(self.figure, self._grid[row, column])
            axes.grid(False)
            axes.set_aspect("equal", adjustable="box")
            axes.set_title(f"blue {blue:.0f} %", fontsize=8.5, color=THEMED.ink)
            lowest = number + COLUMNS >= len(self._blues)
            axes.set_xticks(ticks, [f"{tick:.0f}" for tick in ticks] if lowest else [""] * 3)
            axes.set_yticks(ticks, [f"{tick:.0f}" for tick in ticks] if not column else [""] * 3)
            if lowest:
                axes.set_xlabel("red in, %")
            if column == 0:
                axes.set_ylabel("green in, %")
            yield axes

    def bar(self, image: Any, label: str, **options: Any) -> None:
        """Add a colour scale for `image` beside the slices."""
        bar = self.figure.colorbar(image, ax=self.figure.axes, fraction=0.04, pad=0.02, **options)
        bar.set_label(label, color=THEMED.faint, fontsize=8)
        bar.ax.tick_params(colors=THEMED.faint, labelsize=7)
        bar.outline.set_visible(False)


def slice_nodes(size: int) -> list[int]:
    """The blue nodes of the slices, evenly spaced from the first to the last.

    >>> slice_nodes(33), slice_nodes(3)
    ([0, 8, 16, 24, 32], [0, 1, 2])
    """
    count = min(SLICES, size)
    return sorted({int(each) for each in np.linspace(0, size - 1, count).round()})
