"""A LUT learnt from a pair of pictures: a still, and the same still graded elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.algebra.repairing import repair
from lutbench.algebra.resampling import resample
from lutbench.algebra.result import CodeError, code_error
from lutbench.errors import LutbenchError
from lutbench.fitting.base import MixAndCurves, fit_base
from lutbench.fitting.registration import check_registration
from lutbench.fitting.robust import robust_spread
from lutbench.fitting.scattered import ScatteredFit
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array
from lutbench.results import Result
from lutbench.tables.lut import SIZES_3D, USUAL_SIZE, Lut3D, lattice
from lutbench.tables.nodes import check_size, diagonal

SMOOTHNESS = tuple(10.0**power for power in (-3, -3.5, -4, -4.5, -5, -5.5, -6, -6.5, -7))
"""Smoothness values to try, from stiff to loose; `lutbench.fitting.scattered` gives the unit."""

TILE_PX = 32
"""Pixels: the side of the squares that are held out as a whole, since neighbouring pixels have
nearly the same colour."""

HELD_OUT_SHARE = 0.2
"""Share of the squares that are held out to judge the fit."""

SUPPORT_PIXELS = 3.0
"""Pixels: a node counts as supported by the picture if its weights add up to this."""

MOST_PIXELS = 2_000_000
"""Pixels that are fitted: a larger picture is thinned out, as neighbouring pixels are alike."""

BINS = 96
"""Cells along an edge of the colour cube: the colours of a cell count by their mean."""

FINEST_NODES = 17
"""Nodes along an edge of the lattice for the residual of the base, which changes slowly."""

REACH_SHARE = 0.35
"""Share of the cube's edge, away from any colour seen, over which the residual fades to 0."""

MOST_WEIGHT_PIXELS = 30.0
"""Pixels: a colour that is seen more often gets no more weight, as its mean is known well."""


@dataclass(frozen=True, repr=False)
class PairFit(Result):
    """A LUT from a pair of pictures.

    Parameters
    ----------
    lut
        The LUT, its neutral axis rising.
    support
        The number of pixels that support each node, shape (n, n, n): its interpolation weight,
        summed over the picture. Pixels on edges count less.
    coverage
        The share of nodes that `SUPPORT_PIXELS` pixels or more support.
    neutral_covered
        The lowest and highest supported level of the neutral axis; (0, 0) if none is.
    held_out
        The error in 10-bit code values at pixels of the held-out squares.
    held_out_colours
        Fitted and wanted outputs at such pixels, shape (m, 3) each.
    residual
        The error at all pixels in the final fit, in 10-bit code values.
    outliers
        The share of pixels that do not follow the others (dust, titles, local grading).
    agreement
        The correlation of the pictures' edges: 1 if they lie exactly on each other.
    smoothness
        The smoothness that was used.
    notes
        Warnings for the user.
    """

    KEYS = (
        *("lut", "coverage", "neutral_covered", "held_out_code_10bit=held_out"),
        *("residual_code_10bit=residual", "outlier_share=outliers", "edge_agreement=agreement"),
        *("smoothness", "notes"),
    )

    lut: Lut3D
    support: Array
    coverage: float
    neutral_covered: tuple[float, float]
    held_out: CodeError
    held_out_colours: tuple[Array, Array]
    residual: CodeError
    outliers: float
    agreement: float
    smoothness: float
    notes: tuple[str, ...] = ()


def fit_pair(
    before: NDArray[Any],
    after: NDArray[Any],
    size: int = USUAL_SIZE,
    *,
    smoothness: float | None = None,
    title: str = "",
    where: str = "",
) -> PairFit:
    """The LUT that turns one picture into the other.

    Parameters
    ----------
    before, after
        Signals, shape (height, width, 3), of the same still, pixel by pixel.
    size
        Nodes along an edge of the LUT.
    smoothness
        How strongly the LUT is pulled to its base (a matrix and a curve for each channel).
        Default: the value that fits held-out squares best.
    where
        The files, for error messages.

    Raises
    ------
    LutbenchError
        When the pictures differ in more than colour, or the change is not one of colour alone.
    """
    check_size(size, SIZES_3D)
    registration = check_registration(before, after, where)
    pixels = before.shape[0] * before.shape[1]
    # In a large picture every second or third pixel is enough.
    step = math.ceil(math.sqrt(pixels / MOST_PIXELS))
    thinned = (np.asarray(each[::step, ::step], np.float64) for each in (before, after))
    x, y, seen, weight = _pixels(*thinned)
    base = fit_base(*_binned(x[seen], y[seen], weight[seen]))
    keep = _followers(x, y, weight, base)
    outliers = float(1 - keep.mean())
    held = ~seen & keep
    train = _binned(x[seen & keep], y[seen & keep], weight[seen & keep])
    chosen, held_out, found = _chosen(train, x[held], y[held], size, smoothness, base)
    _check_follows(found, y[held], where)
    inputs, outputs, weights = _binned(x[keep], y[keep], weight[keep])
    base = fit_base(inputs, outputs, weights)
    departure = _departure(inputs, outputs, weights, base, size)
    table = _enlarged(departure, chosen, size) + base.apply(lattice(size))
    lut = repair(Lut3D(np.clip(table, *_ends(y)), title=title), ("monotone",)).lut
    assert isinstance(lut, Lut3D)
    support = _support(inputs, weights, size) * (pixels / len(x))
    covered = support >= SUPPORT_PIXELS
    coverage, neutral = float(covered.mean()), _neutral_covered(covered)
    return PairFit(
        replace(lut, comments=(_coverage_comment(coverage, neutral),)),
        support,
        coverage,
        neutral,
        held_out,
        (found, y[held]),
        code_error(lut.apply(inputs), outputs),
        outliers,
        registration.agreement,
        chosen,
        _notes(covered, neutral, held_out, outliers),
    )


def _coverage_comment(coverage: float, neutral: tuple[float, float]) -> str:
    """What the file says of its coverage; `inspect` reads it back."""
    low, high = (100 * each for each in neutral)
    return (
        f"learnt from two pictures: they hold colours near {100 * coverage:.1f} % of the nodes, "
        f"greys from {low:.0f} % to {high:.0f} %"
    )


def _enlarged(fit: ScatteredFit, smoothness: float, size: int) -> NDArray[Any]:
    """The table of a fit at `size` nodes."""
    found = Lut3D(fit.solve(smoothness, reach=REACH_SHARE))
    return found.table if size == fit.size else resample(found, size, "cubic").lut.table


def _neutral_covered(covered: NDArray[np.bool_]) -> tuple[float, float]:
    """The lowest and highest covered level of the neutral axis; (0, 0) if none is."""
    levels = np.flatnonzero(diagonal(covered)) / (len(covered) - 1)
    return (float(levels.min()), float(levels.max())) if len(levels) else (0.0, 0.0)


def _pixels(before: Array, after: Array) -> tuple[Array, Array, NDArray[np.bool_], Array]:
    """Inputs, outputs, whether the trial fit sees them, and a weight that is lower on edges."""
    height, width = before.shape[:2]
    random = np.random.default_rng(21)
    rows, columns = -(-height // TILE_PX), -(-width // TILE_PX)
    tiles = random.random((rows, columns)) >= HELD_OUT_SHARE
    seen = tiles.repeat(TILE_PX, axis=0).repeat(TILE_PX, axis=1)[:height, :width].ravel()
    # On an edge, resampling and compression make mixed colours.
    slope = sum(
        np.abs(np.gradient(picture, axis=axis)).max(axis=-1)
        for picture in (before, after)
        for axis in (0, 1)
    )
    weight = (1 / (1 + (np.asarray(slope) / 0.05) ** 2)).ravel()
    x, y = before.reshape(-1, 3), after.reshape(-1, 3)
    fine = np.isfinite(x).all(axis=1) & np.isfinite(y).all(axis=1)
    fine &= (x >= -1e-6).all(axis=1) & (x <= 1 + 1e-6).all(axis=1)
    index = np.flatnonzero(fine)
    if not (seen[index].any() and (~seen[index]).any()):
        raise LutbenchError("too few pixels of the first picture are within 0..1")
    return np.clip(x[index], 0, 1), y[index], seen[index], weight[index]


def _binned(x: Array, y: Array, weight: Array) -> tuple[Array, Array, Array]:
    """Mean input, mean output and total weight of the pixels in each cell of the colour cube."""
    place = np.minimum((x * BINS).astype(np.int64), BINS - 1)
    key = (place[:, 0] * BINS + place[:, 1]) * BINS + place[:, 2]
    _, inverse = np.unique(key, return_inverse=True)
    total = np.asarray(np.bincount(inverse, weight), dtype=np.float64)
    inputs = np.stack([np.bincount(inverse, weight * x[:, c]) for c in range(3)], 1)
    outputs = np.stack([np.bincount(inverse, weight * y[:, c]) for c in range(3)], 1)
    return inputs / total[:, None], outputs / total[:, None], total


def _departure(
    inputs: Array, outputs: Array, weights: Array, base: MixAndCurves, size: int
) -> ScatteredFit:
    """The fit to the residual of the base, on a lattice of at most `FINEST_NODES` nodes."""
    return ScatteredFit(
        inputs,
        outputs - base.apply(inputs),
        min(size, FINEST_NODES),
        weights=np.minimum(weights, MOST_WEIGHT_PIXELS),
    )


def _followers(x: Array, y: Array, weight: Array, base: MixAndCurves) -> NDArray[np.bool_]:
    """The pixels whose colour changes as that of other pixels of the same colour does."""
    fit = _departure(*_binned(x, y, weight), base, 9)
    table = fit.solve(1e-4, reach=REACH_SHARE, rtol=1e-2)
    off = np.abs(y - base.apply(x) - Lut3D(table).apply(x)).max(axis=1)
    return np.asarray(off <= max(6 * float(robust_spread(off)), 12 / 255))


def _chosen(
    train: tuple[Array, Array, Array],
    x: Array,
    y: Array,
    size: int,
    smoothness: float | None,
    base: MixAndCurves,
) -> tuple[float, CodeError, Array]:
    """The smoothness that predicts the held-out squares best, its error and its colours there."""
    fit = _departure(*train, base, size)
    by_base = base.apply(x)
    best, chosen, found, table = np.inf, 0.0, y, None
    for amount in SMOOTHNESS if smoothness is None else (smoothness,):
        table = fit.solve(amount, reach=REACH_SHARE, start=table, rtol=1e-3)
        guess = np.clip(by_base + Lut3D(table).apply(x), *_ends(y))
        squares = float(((guess - y) ** 2).mean())
        if squares > 1.2 * best:
            break
        if squares < best:
            best, chosen, found = squares, amount, guess
    return chosen, code_error(found, y), found


def _check_follows(found: Array, wanted: Array, where: str) -> None:
    """Refuse pictures where the second picture's colours do not follow from the first's."""
    left = float(((found - wanted) ** 2).mean())
    spread = float(wanted.var(axis=0).mean())
    if spread < 1e-6 or left > 0.25 * spread:
        raise LutbenchError(
            f"the second picture's colours do not follow from the first's"
            f" ({100 * (1 - min(left / max(spread, 1e-12), 1)):.0f} % of them explained)",
            where=where,
            accepted="the same still before and after one grade of the whole picture",
        )


def _ends(y: Array) -> tuple[float, float]:
    """The bounds of the outputs: 0 and 1, or the picture's own if it goes further."""
    return min(0.0, float(y.min())), max(1.0, float(y.max()))


def _support(inputs: Array, weights: Array, size: int) -> Array:
    fit = ScatteredFit(inputs, inputs, size, weights=weights)
    return np.asarray(fit.support * weights.sum() / len(inputs))


def _notes(
    covered: NDArray[np.bool_], neutral: tuple[float, float], held_out: CodeError, outliers: float
) -> tuple[str, ...]:
    notes = []
    if covered.mean() < 0.004:
        notes.append(
            f"the picture's colours support only {100 * covered.mean():.1f} % of the nodes:"
            " everywhere else the LUT is a smooth guess. Use a picture with more colours"
        )
    if neutral[1] - neutral[0] < 0.5:
        notes.append(
            f"greys are supported only from {100 * neutral[0]:.0f} % to {100 * neutral[1]:.0f} %"
        )
    if outliers > 0.02:
        notes.append(
            f"{100 * outliers:.1f} % of the pixels do not follow the others and were left out:"
            " titles, dust, or a grade of part of the picture, which a LUT cannot do"
        )
    if held_out.p95 > 0.04 * CODES_10_BIT:
        notes.append(
            f"5 % of the held-out colours are off by more than {held_out.p95:.0f} 10-bit codes: the"
            " second picture was not made by a LUT alone, or it is noisy"
        )
    return tuple(notes)
