"""Plots of what a LUT does to colours, and of its table."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.foreign import foreign
from lutbench.inspection.hue import HUES, HueShift, hue_shift
from lutbench.inspection.inspection import Inspection
from lutbench.inspection.subject import CODES
from lutbench.measure.delta_e import view_of
from lutbench.model.gamuts import Gamut
from lutbench.report.drawing import THEMED, add_axes, new_figure, plain_text
from lutbench.report.pictures import source_of
from lutbench.report.plots import Sliced, slice_nodes

# Each hue in its own colour, in tones that can be seen on light and dark backgrounds.
_HUE_COLOURS = ("#d0402b", "#b59a00", "#2f9a3e", "#1f9fa8", "#3b66d6", "#c0489f")


def hue_of(found: Inspection) -> HueShift:
    """The ramps of the plot, in the source encoding, or the target's where it is not known."""
    source = source_of(found) or found.target
    return found.hue or hue_shift(found.lut, source, found.seen_as)


def hue_plot(found: Inspection) -> Any:
    """Six ramps of constant hue on the T–P plane: before dashed, after solid."""
    ramps = hue_of(found)
    figure = new_figure(4.7, 4.2)
    axes = add_axes(figure)
    for row, name in enumerate(HUES):
        before = np.concatenate([[[0, 0]], ramps.before[row]])
        after = np.concatenate([[ramps.after[row, 0] * 0], ramps.after[row]])
        colour = _HUE_COLOURS[row]
        axes.plot(*before.T, color=colour, linewidth=1.0, linestyle=(0, (3, 2)))
        axes.plot(*after.T, color=colour, linewidth=1.8)
        axes.plot(*before[-1], marker="o", markersize=4.5, color=colour, markerfacecolor="none")
        axes.plot(*after[-1], marker="o", markersize=4.5, color=colour)
        axes.annotate(
            name, max(before[-1], after[-1], key=lambda end: float(np.hypot(*end))),
            xytext=_away(after[-1]), textcoords="offset points",
            fontsize=8, color=THEMED.ink, ha="center", va="center",
        )  # fmt: skip
    axes.axhline(0, color=THEMED.line, linewidth=0.8)
    axes.axvline(0, color=THEMED.line, linewidth=0.8)
    axes.margins(0.16)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("T, blue to yellow")
    axes.set_ylabel("P, green to red")
    return figure


def _away(point: NDArray[Any]) -> tuple[float, float]:
    """An offset away from the centre, in points."""
    length = float(np.hypot(*point)) or 1.0
    return 20 * float(point[0]) / length, 13 * float(point[1]) / length


def gamut_plot(found: Inspection) -> Any:
    """CIE xy: the target gamut, the source gamut where known, and the colours that come out."""
    figure = new_figure(4.7, 4.2)
    axes = add_axes(figure)
    axes.plot(*_locus().T, color=THEMED.faint, linewidth=1.0)
    gamuts: list[tuple[Gamut, str, str, Any]] = [
        (found.target.gamut, THEMED.second, "target", (0, (4, 2)))
    ]
    if found.source_gamut is not None:
        gamuts.append((found.source_gamut, THEMED.accent, "source", (0, (1.2, 1.4))))
    for gamut, colour, word, dash in gamuts:
        _triangle(axes, gamut, colour, f"{word}: {gamut.name}", dash)
    points = output_chromaticities(found)
    axes.plot(
        *points.T, color=THEMED.mark, linestyle="none", marker=".", markersize=3,
        label="colours that come out",
    )  # fmt: skip
    axes.set_xlim(-0.05, 0.80)
    axes.set_ylim(-0.05, 0.90)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("x")
    axes.set_ylabel("y")
    axes.legend(frameon=False, fontsize=7.5, labelcolor=THEMED.ink, loc="upper right")
    return figure


def output_chromaticities(found: Inspection) -> NDArray[np.float64]:
    """Chromaticities, shape (m, 2), that a grid of colours around mid grey comes out at."""
    domain = found.subject.domain
    middle = found.mid_grey_in
    span = 0.3 * float(domain[1].min() - domain[0].max())
    axis = np.linspace(-span, span, 19)
    grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)
    grid -= grid.mean(axis=1, keepdims=True)  # as bright as mid grey, all chroma
    view = view_of(found.seen_as)
    xyz = view.xyz(np.asarray(found.lut.apply(np.clip(middle + grid, domain[0], domain[1]))))
    total = xyz.sum(axis=-1)
    lit = total > 1e-4
    points = xyz[lit][:, :2] / total[lit][:, None]
    return np.unique(np.round(points / 0.008), axis=0) * 0.008


def _triangle(axes: Any, gamut: Gamut, colour: str, label: str, dash: Any) -> None:
    corners = np.array([*gamut.primaries, gamut.primaries[0]])
    axes.plot(
        *corners.T, color=colour, linewidth=1.5, linestyle=dash, label=plain_text(label)
    )  # fmt: skip
    axes.plot(*gamut.white, marker="+", markersize=7, color=colour, linestyle="none")


@cache
def _locus() -> NDArray[np.float64]:
    """The spectral locus of the CIE 1931 observer from 400 to 700 nm, closed, as xy."""
    colour = foreign("colour")

    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    seen = (observer.wavelengths >= 400) & (observer.wavelengths <= 700)
    xyz = np.asarray(observer.values)[seen][::4]
    points = xyz[:, :2] / xyz.sum(axis=1, keepdims=True)
    return np.concatenate([points, points[:1]])


def slices_plot(found: Inspection) -> Any:
    """Five slices of constant blue, drawn in the colours that come out."""
    table = _table(found)
    sliced, nodes = _sliced(len(table))
    for axes, blue in zip(sliced, nodes, strict=True):
        shown = np.clip(table[:, :, blue].transpose(1, 0, 2), 0, 1)
        axes.imshow(
            np.rint(255 * shown).astype(np.uint8), origin="lower", interpolation="none",
            extent=(*sliced.extent, *sliced.extent),
        )  # fmt: skip
    return sliced.figure


def steps_plot(found: Inspection) -> Any:
    """The largest step to a neighbouring node on the same slices, with folded cells marked."""
    from matplotlib.colors import PowerNorm

    table = _table(found)
    widest = steps_of(table)
    folds = found.health.folds
    top = max(float(np.percentile(widest, 99.5)), 1.0)
    image = None
    sliced, nodes = _sliced(len(table))
    for axes, blue in zip(sliced, nodes, strict=True):
        layer = min(blue, widest.shape[2] - 1)
        image = axes.imshow(
            widest[:, :, layer].T, origin="lower", interpolation="none", cmap="cividis",
            norm=PowerNorm(0.5, vmin=0, vmax=top), extent=(*sliced.extent, *sliced.extent),
        )  # fmt: skip
        if folds is not None and folds.cells.any():
            r, g = np.nonzero(folds.cells[:, :, layer])
            scale = 100 / folds.cells.shape[0]
            axes.plot(
                (r + 0.5) * scale, (g + 0.5) * scale, linestyle="none", marker="x", markersize=3,
                color=THEMED.mark,
            )  # fmt: skip
    sliced.bar(image, "10-bit codes")
    return sliced.figure


def _sliced(size: int) -> tuple[Sliced, list[int]]:
    nodes = slice_nodes(size)
    return Sliced([100 * each / (size - 1) for each in nodes]), nodes


def steps_of(table: NDArray[Any]) -> NDArray[np.float64]:
    """The largest change of any channel to the next node along r, g or b, in 10-bit codes.

    Shape (n − 1, n − 1, n − 1) for a table of shape (n, n, n, 3).
    """
    m = table.shape[0] - 1
    cut = (slice(0, m),) * 3
    return np.asarray(
        np.maximum.reduce(
            [np.abs(np.diff(table, axis=axis))[cut].max(axis=-1) for axis in range(3)]
        )
        * CODES
    )


def _table(found: Inspection) -> NDArray[np.float64]:
    assert found.subject.lattice is not None
    return np.asarray(found.subject.lattice.table, dtype=np.float64)
