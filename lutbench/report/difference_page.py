"""The page of a comparison: figures, difference maps, patches side by side, the worst colours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from lutbench.measure.comparison import Comparison
from lutbench.measure.delta_e import DELTA_E_NAMES
from lutbench.measure.difference import Spread, measure
from lutbench.measure.samples import chart_patches, neutral_ramp
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.report.drawing import THEMED, add_axes, legend_above, new_figure, svg
from lutbench.report.templates import render
from lutbench.report.words import SPREAD_WORDS
from lutbench.tables.nodes import domain_of

MAP_SIZE = 65
"""Points along a side of a map: finer than can be seen on the page."""

SLICES = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Blue signal, 0 to 1, of each map."""

MAP_INCHES = (1.8, 1.85)
"""Of a map: six stand in a row, or two on a phone."""

MAP_COLOURS = "viridis"

LEAST_TOP_DELTA_E = 0.05
"""ΔE that the scale of the maps reaches at least, so that rounding does not look like much."""

Sides = tuple[Transform, Transform]


def difference_html(
    found: Comparison, names: tuple[str, str], sides: Sides, limits: Sequence[Any] = ()
) -> str:
    """The page as self-contained HTML; `limits` are the limits that were checked, if any."""
    unit = DELTA_E_NAMES[found.view.measure]
    return render(
        "difference.html",
        names=names,
        found=found,
        limits=limits,
        set_heads=_set_heads(unit, found.bits),
        set_rows=_set_rows(found),
        worst_heads=["A, B", f"in, {found.bits} bit", "A", "B", *DELTA_E_NAMES.values(), "codes"],
        worst_rows=_worst_rows(found),
        maps=[
            svg(figure, f"map{k}", words)
            for k, (figure, words) in enumerate(difference_maps(found, sides))
        ],
        neutral=svg(
            neutral_difference(found, sides),
            "neutral",
            "B minus A on the neutral axis, in code values, by channel",
        ),
        patches=_patches(found, sides),
    )


def _set_heads(unit: str, bits: int) -> list[str]:
    seen = [f"{unit} {word}" for word in SPREAD_WORDS.values()]
    codes = [f"{bits}-bit codes {SPREAD_WORDS[name]}" for name in ("mean", "p95", "max")]
    heads = ["test colours", "count", *seen, *codes]
    return [each.replace(" %", "\u00a0%") for each in heads]


def _set_rows(found: Comparison) -> list[list[str]]:
    """A row for each set of test colours, then one for all."""
    rows = [(name, found.counts[name], spreads) for name, spreads in found.sets.items()]
    rows.append(("all", sum(found.counts.values()), found.overall))
    return [[name, str(count), *_spread_cells(found, spreads)] for name, count, spreads in rows]


def _spread_cells(found: Comparison, spreads: Mapping[str, Spread]) -> list[str]:
    seen, codes = spreads[found.view.measure], spreads["code_10bit"]
    shown = [f"{value:.3f}" for value in (seen.mean, seen.p95, seen.p99, seen.max)]
    scale = _scale(found)
    return shown + [f"{scale * value:.2f}" for value in (codes.mean, codes.p95, codes.max)]


def _worst_rows(found: Comparison) -> list[list[str | tuple[str, str, str]]]:
    top = 2**found.bits - 1

    def codes(signal: Sequence[float]) -> str:
        return " ".join(str(round(top * value)) for value in signal)

    return [
        [
            (each.swatch_a, each.swatch_b, each.label or each.set),
            codes(each.input),
            codes(each.a),
            codes(each.b),
            f"{each.delta_e_2000:.2f}",
            f"{each.delta_e_itp:.2f}",
            f"{_scale(found) * each.code_10bit:.1f}",
        ]
        for each in found.worst
    ]


def _scale(found: Comparison) -> float:
    """Codes of the comparison's depth in a 10-bit code."""
    return float(2**found.bits - 1) / CODES_10_BIT


def difference_maps(found: Comparison, sides: Sides) -> list[tuple[Any, str]]:
    """The difference on slices of constant blue, then its scale, each with words for it."""
    grids = [_slice(found, sides, blue) for blue in SLICES]
    top = max(float(np.max(grids)), LEAST_TOP_DELTA_E)
    unit = DELTA_E_NAMES[found.view.measure]
    maps = [
        (_map(grid, top, f"blue in at {100 * blue:.0f} %"),
         f"{unit} with blue in at {100 * blue:.0f} %")
        for blue, grid in zip(SLICES, grids, strict=True)
    ]  # fmt: skip
    return [*maps, (_map_scale(top, unit), f"{unit} of the colours of the maps")]


def _map(grid: Array, top: float, title: str) -> Any:
    """One slice: red to the right, green up; brighter is larger."""
    axes = add_axes(new_figure(*MAP_INCHES))
    axes.grid(False)
    axes.imshow(grid, origin="lower", extent=(0, 100, 0, 100), vmin=0, vmax=top, cmap=MAP_COLOURS)
    axes.set_title(title, fontsize=9)
    axes.title.set_color(THEMED.ink)
    axes.set_xticks([0, 50, 100])
    axes.set_yticks([0, 50, 100])
    axes.set_xlabel("R in, %")
    axes.set_ylabel("G in, %")
    return axes.figure


def _map_scale(top: float, unit: str) -> Any:
    """What the colours of the maps stand for."""
    axes = add_axes(new_figure(*MAP_INCHES))
    axes.grid(False)
    ramp = np.linspace(0, top, 256)[:, None]
    axes.imshow(ramp, origin="lower", extent=(0, top / 8, 0, top), cmap=MAP_COLOURS)
    axes.set_title("scale", fontsize=9)
    axes.title.set_color(THEMED.ink)
    axes.set_xticks([])
    axes.set_ylabel(unit)
    return axes.figure


def _slice(found: Comparison, sides: Sides, blue: float) -> Array:
    low, high = domain_of(*sides)
    axis = np.linspace(0, 1, MAP_SIZE)
    green, red = np.meshgrid(axis, axis, indexing="ij")
    points = np.stack([red, green, np.full_like(red, blue)], axis=-1).reshape(-1, 3)
    inputs = low + (high - low) * points
    out_a, out_b = (np.asarray(side.apply(inputs), dtype=np.float64) for side in sides)
    values = getattr(measure(out_a, out_b, found.view), found.view.measure)
    return np.asarray(values.reshape(MAP_SIZE, MAP_SIZE))


def neutral_difference(found: Comparison, sides: Sides) -> Any:
    """B minus A along the neutral axis, in codes, with a line for each channel."""
    domain = domain_of(*sides)
    greys = neutral_ramp(domain=domain).signals
    out_a, out_b = (np.asarray(side.apply(greys), dtype=np.float64) for side in sides)
    codes = (out_b - out_a) * (2**found.bits - 1)
    figure = new_figure(4.4, 2.5)
    axes = add_axes(figure)
    along = np.linspace(0, 100, len(greys))
    marks = zip("RGB", THEMED.rgb, ("-", (0, (6, 2)), (0, (2, 2))), strict=True)
    for channel, (name, colour, dashes) in enumerate(marks):
        axes.plot(
            along, codes[:, channel], color=colour, linestyle=dashes, linewidth=1.6, label=name
        )
    axes.axhline(0, color=THEMED.faint, linewidth=0.8)
    axes.set_xlim(0, 100)
    if np.abs(codes).max() < 0.01:
        axes.set_ylim(-1, 1)
    axes.set_xlabel("neutral in, % of the domain")
    axes.set_ylabel(f"B − A, {found.bits}-bit codes")
    legend_above(axes)
    return figure


def _patches(found: Comparison, sides: Sides) -> list[dict[str, Any]]:
    """The chart at its own exposure: both sides' swatches and the difference."""
    chart = chart_patches(found.source, [0.0])
    out_a, out_b = (np.asarray(side.apply(chart.signals), dtype=np.float64) for side in sides)
    values = getattr(measure(out_a, out_b, found.view), found.view.measure)
    return [
        {
            "name": chart.label(i),
            "a": found.view.swatch(out_a[i]),
            "b": found.view.swatch(out_b[i]),
            "delta": float(values[i]),
        }
        for i in range(len(chart.signals))
    ]
