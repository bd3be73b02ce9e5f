"""Source curve and matrix for an unknown target: any tone curve, any mixing after it.

See `freefit` for the model. M, Q and G are found by Gauss-Newton steps for all sources, of
which the worse ones are dropped in rounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.curvebank import End
from lutbench.identification.freefit import CurveFit, CurveForm, spline_basis
from lutbench.identification.freesolve import Rows, StepSolved, measured_fits, solved_rows
from lutbench.identification.gamutbank import GamutBank
from lutbench.identification.ground import OTHERS, ROWS, CurveGround, Start
from lutbench.identification.samples import CODES, Samples
from lutbench.model.compression import GamutCompression
from lutbench.model.transforms import Array

STEPS = 6
"""The most steps of a fit."""

SETTLED = 2e-4
"""The change of a matrix entry in one step below which a fit has converged."""

HEATS = ((44, 1, 300), (22, 1, 300), (12, 2, 450), (6, STEPS, ROWS))
"""For each round: the number of sources, the steps, and the nodes that are used."""

PART_HEATS = ((36, 1, 200), (18, 1, 200), (10, 2, 300), (4, STEPS, ROWS))
"""The same for a part of the nodes."""

WIDE = 2.0
"""Times the error of the best first fit up to which a source takes part."""

WIDE_CODES = 0.4
"""10-bit codes added to that limit."""

FEW = 12
"""Sources that take part in any case: first fits on nodes near neutral are poor evidence."""

# The effect of the two free entries of each row of M on the row.
_FREE = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]])


def race(
    ground: CurveGround,
    samples: Samples,
    sources: list[End],
    starts: Sequence[Start | None],
    heats: Sequence[tuple[int, int, int]] = HEATS,
) -> list[CurveFit]:
    """The fits of the sources with good first fits, in rounds that drop the worse; best first."""
    began = [(start.error, i) for i, start in enumerate(starts) if start is not None]
    began.sort()
    fits: list[CurveFit] = []
    near = sum(error <= WIDE * began[0][0] + WIDE_CODES for error, _ in began)
    for _, i in began[: max(FEW, min(near, heats[0][0]))]:
        start = starts[i]
        assert start is not None
        fits.append(started(ground, CurveForm(ground.tinted), i, start.matrix, start.mixing))
    for count, steps, rows in heats:
        fits = sorted(fits, key=lambda fit: fit.error)[:count]
        some = ground.thinned(rows)
        fits = settle_all(some, samples, sources, fits, steps)
    return sorted((fit for fit in fits if fit.knots is not None), key=lambda fit: fit.error)


def started(
    ground: CurveGround, form: CurveForm, source: int, matrix: Array, mixing: Array
) -> CurveFit:
    """A fit before its first step."""
    pad = 0.02 * (ground.high - ground.low)
    return CurveFit(source, form, matrix, mixing, ground.low - pad, ground.high + pad)


def settle(
    ground: CurveGround, samples: Samples, sources: list[End], fit: CurveFit, steps: int = STEPS
) -> CurveFit:
    """The fit after a number of Gauss-Newton steps, or fewer if it converges."""
    return settle_all(ground, samples, sources, [fit], steps)[0]


def settle_all(
    ground: CurveGround,
    samples: Samples,
    sources: list[End],
    fits: Sequence[CurveFit],
    steps: int = STEPS,
) -> list[CurveFit]:
    """Fits of one form, each after a number of Gauss-Newton steps, or fewer if it converges."""
    found = list(fits)
    last: dict[int, StepSolved] = {}
    moving = list(range(len(found)))
    decoded = {fit.source: sources[fit.source].of_axis(samples.axis) for fit in fits}
    places = ground.axis_places.T
    for _ in range(steps):
        if not moving:
            break
        begun = [found[i] for i in moving]
        light_in = np.array([decoded[fit.source][places] for fit in begun])
        solved = _step(ground, [sources[fit.source] for fit in begun], light_in, begun)
        still = []
        for i, one in zip(moving, solved, strict=True):
            if one is None:
                continue
            change = float(np.abs(one.matrix - found[i].matrix).max())
            # The first step, or one on other nodes, cannot show convergence.
            settled = change < SETTLED and found[i].knots is not None
            found[i] = replace(
                found[i],
                matrix=one.matrix,
                mixing=one.mixing,
                knots=one.knots,
                settled=settled,
            )
            last[i] = one
            if not settled:
                still.append(i)
        moving = still
    for i, fit in enumerate(found):
        if fit.knots is None:
            found[i] = replace(fit, error=np.inf)
    measured = measured_fits([found[i] for i in last], list(last.values()))
    for i, fit in zip(last, measured, strict=True):
        found[i] = fit
    return found


def refitted(
    ground: CurveGround, samples: Samples, sources: list[End], fit: CurveFit, matrix: Array
) -> CurveFit:
    """G and Q fitted again with a given matrix (its rows scaled to a sum of one)."""
    rows = matrix / matrix.sum(axis=1, keepdims=True)
    form = replace(fit.form, held=True)
    return settle(ground, samples, sources, replace(fit, form=form, matrix=rows), 3)


def _step(
    ground: CurveGround, ends: Sequence[End], light_in: Array, fits: Sequence[CurveFit]
) -> list[StepSolved | None]:
    """One Gauss-Newton step of fits of one form, with outliers weighed down.

    Arrays are (fits, channels, nodes); nodes are last because there are most of them.
    """
    form = fits[0].form
    lights = np.array([fit.matrix for fit in fits]) @ light_in
    turns = None
    if form.compression:
        if form.rows:
            turns = _slopes_of(form.compression, lights)
        lights = np.moveaxis(form.compression.apply(np.moveaxis(lights, 1, -1)), -1, 1)
    near = [end.values_near(light) for end, light in zip(ends, lights, strict=True)]
    places, rises = (np.array(each) for each in zip(*near, strict=True))
    low, high = (
        np.array(each)[:, None, None]
        for each in zip(*((fit.low, fit.high) for fit in fits), strict=True)
    )
    seen: NDArray[np.bool_] = np.all(
        (places > low) & (places < high) & np.isfinite(rises) & (lights > 0), axis=1
    )
    place, weights, slopes = spline_basis(places, low, high)
    y = ground.outputs.T
    rest = np.empty((len(fits), 3, form.rows + 2, y.shape[1]))
    target = np.broadcast_to(y, (len(fits), *y.shape))
    if form.rows:
        rises = np.where(seen[:, None], rises, 0.0)
        channel = np.arange(3)[:, None]
        slope = np.empty_like(places)
        for i, fit in enumerate(fits):
            if fit.knots is None:
                slope[i] = ground.through_of(fit.mixing)[1].T
            else:
                slope[i] = (slopes[:, i] * fit.knots[channel, place[:, i]]).sum(axis=0)
        moves = (slope * rises)[:, :, None] * (_FREE.T @ light_in)[:, None]
        free = np.array([fit.matrix[:, :2] for fit in fits])
        of_matrix = rest[:, :, :-2]
        if turns is None:
            of_matrix[:] = moves
        else:
            for k in range(3):
                of_matrix[:, :, 2 * k : 2 * k + 2] = turns[:, :, k, None] * moves
            free = free.reshape(len(fits), 1, 6)
        target = target + (free[:, :, None] @ of_matrix)[:, :, 0]
    for c, others in enumerate(OTHERS):
        rest[:, c, -2:] = y[c] - y[others]
    return solved_rows(Rows(place[0], weights * CODES, rest * CODES, target * CODES, seen), fits)


def _slopes_of(compression: GamutCompression, lights: Array) -> Array:
    """The derivatives of compressed channels by those before, (fits, after, before, nodes)."""
    channels_last = np.moveaxis(lights, 1, -1)
    reach = 1e-4 * np.maximum(np.abs(channels_last).max(axis=-1), 1e-6)
    columns = []
    for k in range(3):
        step = np.zeros_like(channels_last)
        step[..., k] = reach
        off = compression.apply(channels_last + step) - compression.apply(channels_last - step)
        columns.append(np.moveaxis(off / (2 * reach[..., None]), -1, 1))
    return np.stack(columns, axis=2)


def match_free(fit: CurveFit, bank: GamutBank) -> Array:
    """For each pair of the bank, the root mean square error in codes."""
    assert fit.normal is not None
    rows = bank.matrices / bank.matrices.sum(axis=2, keepdims=True)
    off = rows[:, :, :2].reshape(-1, 6) - fit.matrix[:, :2].reshape(6)
    extra = np.einsum("ij,ij->i", off @ fit.normal, off)
    return np.asarray(np.sqrt(np.maximum(extra, 0) + fit.error**2))
