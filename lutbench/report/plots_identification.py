"""Plots of an identification: ranking, tone curve, the look on a vectorscope, the remainder."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from lutbench.model.curves.base import MID_GREY
from lutbench.report.drawing import THEMED, add_axes, new_figure, plain_text
from lutbench.report.plots import Sliced, slice_nodes

if TYPE_CHECKING:
    from lutbench.identification import Candidate, Identification

RANKED_CANDIDATES = 6
"""Number of candidates in the plot: as many as in the table."""

NEAR_GREY_STOPS = 1.5
"""Stops from mid grey within which another label would overlap the label of mid grey."""


# Each hue in its own colour, in tones that can be seen on light and dark backgrounds.
_COLOURS = {
    "reds": "#d0402b",
    "skin-side reds": "#c97b4a",
    "yellows": "#b59a00",
    "greens": "#2f9a3e",
    "cyans": "#1f9fa8",
    "blues": "#3b66d6",
    "magentas": "#c0489f",
}


def ranking_plot(found: Identification) -> Any:
    """Median and 95th percentile of the errors of the first candidates, on a logarithmic scale."""
    shown = found.candidates[:RANKED_CANDIDATES]
    figure = new_figure(4.7, 1.0 + 0.52 * len(shown))
    axes = add_axes(figure)
    least = 0.01
    for row, each in enumerate(shown):
        colour = THEMED.accent if row == 0 else THEMED.faint
        low, high = max(each.error_median, least), max(each.error_p95, least)
        axes.plot([low, high], [row, row], color=colour, linewidth=2.4, solid_capstyle="butt")
        axes.plot([low], [row], marker="o", markersize=6, color=colour)
        axes.plot([high], [row], marker="|", markersize=9, color=colour, markeredgewidth=2)
        axes.annotate(
            plain_text(f"{row + 1}  {_named(each)}"), (0.01, row), xytext=(0, 7),
            xycoords=("axes fraction", "data"), textcoords="offset points",
            fontsize=7.5, color=THEMED.ink, ha="left", va="bottom",
        )  # fmt: skip
    axes.set_xscale("log")
    axes.set_xlim(0.6 * least, max(1.0, *(each.error_p95 for each in shown)) * 1.6)
    axes.set_ylim(len(shown) - 0.6, -0.85)
    axes.set_yticks([])
    axes.grid(False, axis="y")
    axes.spines["left"].set_visible(False)
    axes.set_xticks([0.01, 0.1, 1, 10, 100])
    axes.set_xticklabels(["≤ 0.01", "0.1", "1", "10", "100"])
    axes.minorticks_off()
    axes.set_xlabel("10-bit codes off")
    return figure


def _named(each: Candidate) -> str:
    def side(curve: str | None, gamut: str | None) -> str:
        first = curve or "its own curve"
        return first if gamut in (None, curve) else f"{first} / {gamut}"

    source, target = each.source, each.target
    return f"{side(source.curve, source.gamut)} → {side(target.curve, target.gamut)}"


def tone_plot(found: Identification) -> Any:
    """Signal by stops, with mid grey, the roll-off and white marked."""
    tone = found.tone
    assert tone is not None
    table = np.array(tone.curve)
    table = table[table[:, 0] > MID_GREY * 2.0**-9]
    stops, signal = np.log2(table[:, 0] / MID_GREY), 100 * table[:, 1]
    top = 100 * tone.white_signal
    figure = new_figure(4.7, 3.1)
    axes = add_axes(figure)
    axes.plot(stops, np.minimum(signal, top), color=THEMED.accent, linewidth=1.8)
    # Near grey the label is on the other side of the curve, away from the label of grey.
    near = tone.roll_off_stops is not None and abs(tone.roll_off_stops) < NEAR_GREY_STOPS
    marks: list[tuple[float | None, str, tuple[float, float], str]] = [
        (0.0, f"mid grey {100 * tone.grey_signal:.0f} %", (9, -9), "left"),
        (
            tone.roll_off_stops,
            "rolls off",
            (-9, 5) if near else (9, -11),
            "right" if near else "left",
        ),
        (tone.white_stops, f"{top:.0f} %", (8, -11), "left"),
    ]
    for place, word, offset, side in marks:
        if place is None:
            continue
        height = float(np.interp(place, stops, np.minimum(signal, top)))
        axes.plot([place], [height], marker="o", markersize=5, color=THEMED.second)
        axes.annotate(
            word, (place, height), xytext=offset, textcoords="offset points",
            fontsize=8, color=THEMED.ink, ha=side, va="center",
        )  # fmt: skip
    axes.set_xlim(max(float(stops[0]), -8), min(float(stops[-1]) + 1.0, 12.5))
    axes.set_ylim(min(0.0, float(signal.min())), max(100.0, top) * 1.04)
    axes.set_xlabel("stops from mid grey")
    axes.set_ylabel("signal out, %")
    return figure


def look_plot(found: Identification) -> Any:
    """Each hue before (hollow, on the ring) and after (solid), as on a vectorscope."""
    from lutbench.identification.scope import angles_of, weights_for

    best = found.best
    gamut = best.target.gamut if best is not None else None
    angles = angles_of(weights_for(gamut or ""))
    figure = new_figure(4.7, 4.2)
    axes = add_axes(figure)
    ring = np.exp(1j * np.linspace(0, 2 * np.pi, 181))
    axes.plot(ring.real, ring.imag, color=THEMED.faint, linewidth=0.9, linestyle=(0, (3, 2)))
    reach = 1.0
    for each in found.look.hues:
        before = np.exp(1j * np.deg2rad(angles[each.hue]))
        after = before * each.saturation * np.exp(1j * np.deg2rad(each.turned))
        reach = max(reach, abs(after))
        colour = _COLOURS[each.hue]
        axes.plot([before.real, after.real], [before.imag, after.imag], color=colour, linewidth=2.2)
        axes.plot(
            [before.real], [before.imag], marker="o", markersize=5, color=colour,
            markerfacecolor="none", markeredgewidth=1.2,
        )  # fmt: skip
        axes.plot([after.real], [after.imag], marker="o", markersize=4.5, color=colour)
        far = max(abs(before), abs(after)) * before
        word = each.hue.replace("-side reds", "")
        axes.annotate(
            word, (far.real, far.imag), xytext=(21 * before.real, 14 * before.imag),
            textcoords="offset points", fontsize=8, color=THEMED.ink, ha="center", va="center",
        )  # fmt: skip
    axes.axhline(0, color=THEMED.line, linewidth=0.8)
    axes.axvline(0, color=THEMED.line, linewidth=0.8)
    limit = 1.32 * reach
    axes.set_xlim(-limit, limit)
    axes.set_ylim(-limit, limit)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("Cb; the dashed ring is the saturation before")
    axes.set_ylabel("Cr")
    return figure


def tints_plot(found: Identification) -> Any:
    """What the look does to shadows, mid tones and highlights: L*, a* and b* side by side."""
    tones = found.look.tones
    figure = new_figure(4.7, 4.2)
    axes = add_axes(figure)
    series = (
        ("L*: brighter up", THEMED.faint, "", [each.lightness for each in tones]),
        ("a*: magenta up, green down", THEMED.mark, "//", [each.a for each in tones]),
        ("b*: warm up, cool down", THEMED.second, "..", [each.b for each in tones]),
    )
    places = np.arange(len(tones))
    for number, (name, colour, hatch, values) in enumerate(series):
        axes.bar(
            places + 0.27 * (number - 1), values, 0.23, color=colour, label=name, hatch=hatch,
            edgecolor=THEMED.ground, linewidth=0,
        )  # fmt: skip
    axes.axhline(0, color=THEMED.faint, linewidth=0.9)
    reach = max(2.0, *(abs(value) for *_, values in series for value in values))
    axes.set_ylim(-1.15 * reach, 1.6 * reach)
    axes.set_xticks(places, [each.part for each in tones])
    axes.grid(False, axis="x")
    axes.set_ylabel("change in CIELAB")
    axes.legend(frameon=False, fontsize=7.5, labelcolor=THEMED.ink, loc="upper left")
    return figure


def has_map(found: Identification) -> bool:
    """Whether there is a 3D LUT to draw the remainder on."""
    samples = found.samples
    return samples is not None and found.forecast is not None and not samples.one_d


def remainder_plot(found: Identification) -> Any:
    """ΔE 2000 of the remainder on five slices of constant blue; uncounted nodes are grey."""
    from lutbench.identification.look import remainder

    delta, counted = remainder(found)
    size = delta.shape[0]
    top = max(float(np.percentile(delta[counted], 99)), 1.0)
    axis = 100 * np.asarray(found.samples.axis) if found.samples is not None else np.zeros(size)
    edges = (float(axis[0]), float(axis[-1]))
    image = None
    blues = slice_nodes(size)
    sliced = Sliced([float(axis[blue]) for blue in blues], edges)
    for axes, blue in zip(sliced, blues, strict=True):
        image = axes.imshow(
            np.ma.masked_array(delta[:, :, blue], ~counted[:, :, blue]).T, origin="lower",
            interpolation="none", cmap="cividis", vmin=0, vmax=top, extent=(*edges, *edges),
        )  # fmt: skip
        # A grey area under the map shows where the map is masked.
        axes.axhspan(*edges, color=THEMED.line, alpha=0.55, linewidth=0, zorder=-1)
    sliced.bar(image, "ΔE 2000", extend="max")
    return sliced.figure
