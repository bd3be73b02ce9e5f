"""Chromaticities: the gamuts that a LUT is about."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lutbench.model.gamuts import Gamut
from lutbench.model.transforms import Array
from lutbench.report.drawing import THEMED, add_axes, new_figure, plain_text
from lutbench.report.figures.base import Figure, finished

LINES = ((THEMED.blue, "-"), (THEMED.second, (0, (5, 2))), (THEMED.mark, (0, (1, 1.5))))


def spectral_locus() -> Array:
    """CIE 1931 xy of the spectral colours, 390 to 700 nm, shape (n, 2) (colour-science's data)."""
    import colour

    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    keep = (cmfs.wavelengths >= 390) & (cmfs.wavelengths <= 700)
    values = np.asarray(cmfs.values)[keep]
    return np.asarray(values[:, :2] / values.sum(axis=1, keepdims=True))


def gamut_figure(gamuts: Sequence[tuple[str, Gamut]]) -> Figure:
    """Triangles and whites of up to three gamuts in the CIE 1931 xy diagram.

    `gamuts` are pairs of a role (such as "source") and a gamut.
    """
    drawing = new_figure(4.6, 4.4)
    axes = add_axes(drawing)
    locus = spectral_locus()
    closed = np.vstack([locus, locus[:1]])
    axes.plot(*closed.T, color=THEMED.faint, linewidth=1)
    for (role, gamut), (colour, style) in zip(gamuts, LINES, strict=False):
        triangle = np.array([*gamut.primaries, gamut.primaries[0]])
        label = plain_text(f"{role}: {gamut.name}")
        axes.plot(*triangle.T, color=colour, linestyle=style, linewidth=1.7, label=label)
        axes.plot(*gamut.white, "+", color=colour, markersize=8, markeredgewidth=1.5)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("x")
    axes.set_ylabel("y")
    axes.legend(frameon=False, fontsize=8, labelcolor=THEMED.faint, loc="upper right")
    names = "; ".join(f"{role} {gamut.name}" for role, gamut in gamuts)
    return finished(
        drawing,
        "gamut",
        "Gamuts",
        f"Chromaticity diagram with the triangles of: {names}.",
        "CIE 1931 xy. Crosses are the whites; the grey outline is the spectral colours.",
    )
