"""The page of a comparison: figures, difference maps, patches side by side, the worst colours."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from lutbench import files
from lutbench.measure.comparison import Comparison
from lutbench.measure.difference import measure
from lutbench.measure.samples import chart_patches, neutral_ramp
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.report.drawing import THEMED, Palette, add_axes, new_figure, svg
from lutbench.report.templates import render
from lutbench.tables.nodes import domain_of

MAP_SIZE = 65
"""Points along a side of a map: finer than can be seen on the page."""

SLICES = (0.0, 0.25, 0.5, 0.75, 1.0)
"""Blue signal, 0 to 1, of each map."""

MEASURES = {"delta_e_2000": "ΔE 2000", "delta_e_itp": "ΔE ITP"}

Sides = tuple[Transform, Transform]


def write_difference_page(
    found: Comparison,
    names: tuple[str, str],
    sides: Sides,
    path: str | Path,
    limits: Sequence[Any] = (),
    *,
    force: bool = False,
) -> None:
    """Write the page to `path` as one HTML file.

    Raises
    ------
    LutbenchError
        When the file exists and `force` is not set.
    """
    files.write_text(path, difference_html(found, names, sides, limits), force=force)


def difference_html(
    found: Comparison, names: tuple[str, str], sides: Sides, limits: Sequence[Any] = ()
) -> str:
    """The page as self-contained HTML; `limits` are the limits that were checked, if any."""
    unit = MEASURES[found.view.measure]
    scale = (2**found.bits - 1) / CODES_10_BIT
    return render(
        "difference.html",
        names=names,
        found=found,
        unit=unit,
        scale=scale,
        limits=limits,
        rows=[
            (name, found.counts[name], spreads[found.view.measure], spreads["code_10bit"])
            for name, spreads in found.sets.items()
        ],
        overall=(found.overall[found.view.measure], found.overall["code_10bit"]),
        maps=svg(difference_maps(found, sides), "maps", f"{unit} on five slices of the cube"),
        neutral=svg(
            neutral_difference(found, sides),
            "neutral",
            "B minus A on the neutral axis, in code values, by channel",
        ),
        patches=_patches(found, sides),
        top=2**found.bits - 1,
    )


def difference_maps(found: Comparison, sides: Sides, palette: Palette = THEMED) -> Any:
    """The difference on slices of constant blue: red to the right, green up; brighter is larger."""
    grids = [_slice(found, sides, blue) for blue in SLICES]
    top = max(float(np.max(grids)), 0.05)
    figure = new_figure(9.6, 2.25)
    image = None
    for place, (blue, grid) in enumerate(zip(SLICES, grids, strict=True), 1):
        axes = add_axes(figure, 100 + 10 * len(SLICES) + place, palette)
        axes.grid(False)
        image = axes.imshow(
            grid, origin="lower", extent=(0, 100, 0, 100), vmin=0, vmax=top, cmap="viridis"
        )
        axes.set_title(f"blue in at {100 * blue:.0f} %", fontsize=9)
        axes.title.set_color(palette.ink)
        axes.set_xticks([0, 50, 100])
        axes.set_yticks([0, 50, 100])
        axes.set_xlabel("R in, %")
        if place == 1:
            axes.set_ylabel("G in, %")
        else:
            axes.set_yticklabels([])
    bar = figure.colorbar(image, ax=figure.axes, shrink=0.72, aspect=14, pad=0.015)
    bar.set_label(MEASURES[found.view.measure], color=palette.faint, fontsize=8.5)
    bar.ax.tick_params(colors=palette.faint, labelcolor=palette.faint, labelsize=8, length=3)
    bar.outline.set_visible(False)
    return figure


def _slice(found: Comparison, sides: Sides, blue: float) -> Array:
    low, high = domain_of(*sides)
    axis = np.linspace(0, 1, MAP_SIZE)
    green, red = np.meshgrid(axis, axis, indexing="ij")
    points = np.stack([red, green, np.full_like(red, blue)], axis=-1).reshape(-1, 3)
    inputs = low + (high - low) * points
    out_a, out_b = (np.asarray(side.apply(inputs), dtype=np.float64) for side in sides)
    values = getattr(measure(out_a, out_b, found.view), found.view.measure)
    return np.asarray(values.reshape(MAP_SIZE, MAP_SIZE))


def neutral_difference(found: Comparison, sides: Sides, palette: Palette = THEMED) -> Any:
    """B minus A along the neutral axis, in codes, with a line for each channel."""
    domain = domain_of(*sides)
    greys = neutral_ramp(domain=domain).signals
    out_a, out_b = (np.asarray(side.apply(greys), dtype=np.float64) for side in sides)
    codes = (out_b - out_a) * (2**found.bits - 1)
    figure = new_figure(9.6, 2.6)
    axes = add_axes(figure, palette=palette)
    along = np.linspace(0, 100, len(greys))
    marks = zip("RGB", palette.rgb, ("-", (0, (6, 2)), (0, (2, 2))), strict=True)
    for channel, (name, colour, dashes) in enumerate(marks):
        axes.plot(
            along, codes[:, channel], color=colour, linestyle=dashes, linewidth=1.6, label=name
        )
    axes.axhline(0, color=palette.faint, linewidth=0.8)
    axes.set_xlim(0, 100)
    if np.abs(codes).max() < 0.01:
        axes.set_ylim(-1, 1)
    axes.set_xlabel("neutral in, % of the domain")
    axes.set_ylabel(f"B − A, {found.bits}-bit codes")
    axes.legend(frameon=False, ncols=3, loc="upper right", labelcolor=palette.ink)
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
