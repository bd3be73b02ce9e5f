"""A LUT fitted to the patches of a chart that was sent through a device."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from lutbench.algebra.result import CodeError, code_error
from lutbench.errors import LutbenchError
from lutbench.fitting.scattered import ScatteredFit, smooth_curves
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Mask
from lutbench.results import PlainData, Result
from lutbench.tables.lut import SIZES_3D, USUAL_SIZE, Lut1D, Lut3D, lattice
from lutbench.tables.nodes import check_size

SMOOTHNESS = tuple(10.0**power for power in (-4, -4.5, -5, -5.5, -6, -6.5, -7, -8))
"""Smoothness values to try, from stiff to loose; `lutbench.fitting.scattered` gives the unit."""

HELD_OUT_SHARE = 0.15
"""Share of patches that are held out when the smoothness is chosen."""

POOR_CODES = 8.0
"""10-bit codes: the user is warned if the 95th percentile of the held-out error is above this."""


@dataclass(frozen=True)
class NodeError(PlainData):
    """An error in 10-bit code values: its median and 95th percentile over all nodes."""

    median: float
    p95: float


@dataclass(frozen=True, repr=False)
class PatchFit(Result):
    """A LUT from patches.

    Parameters
    ----------
    lut
        The LUT, clamped to 0..1.
    smoothness
        The value that predicted held-out patches best.
    held_out
        The error at those patches, in 10-bit code values. It includes the noise of the
        patches themselves, so the LUT is nearer to the device than this.
    residual
        The error of the final fit at all patches, in 10-bit code values.
    node_error
        Standard error of the LUT's values due to noise in the patches, by fits to simulated noise.
    """

    KEYS = (
        *("lut", "smoothness", "held_out_code_10bit=held_out", "residual_code_10bit=residual"),
        *("node_error_code_10bit=node_error", "notes"),
    )

    lut: Lut3D
    smoothness: float
    held_out: CodeError
    residual: CodeError
    node_error: NodeError
    notes: tuple[str, ...] = ()


def fit_patches(
    inputs: Array,
    outputs: Array,
    size: int = USUAL_SIZE,
    *,
    uncertainty: float | None = None,
    smoothness: float | None = None,
    title: str = "",
) -> PatchFit:
    """The LUT of a device from patches sent through it.

    Parameters
    ----------
    inputs, outputs
        Signals that were sent, 0..1, and signals that came back, shape (patches, 3).
    uncertainty
        Standard deviation of an output, in signal. Default: the RMS residual of the fit.
    smoothness
        How strongly the LUT is pulled straight. Default: chosen by held-out patches.

    Raises
    ------
    LutbenchError
        When there are fewer than 30 patches, or `size` is out of range.
    """
    check_size(size, SIZES_3D)
    if len(inputs) < 30:
        raise LutbenchError(f"{len(inputs)} patches are too few", accepted="30 or more")
    random = np.random.default_rng(9)
    seen, unseen = _split(inputs, random)
    trial_size = min(size, 17)
    curves = neutral_curves(inputs, outputs)
    departure = outputs - curves(inputs)
    trial = ScatteredFit(inputs[seen], departure[seen], trial_size)
    tried = SMOOTHNESS if smoothness is None else (smoothness,)
    chosen, held_out = _chosen(trial, tried, inputs[unseen], departure[unseen])
    fit = ScatteredFit(inputs, departure, size)
    table = fit.solve(chosen)
    residual = fit.predicted(table) - departure
    noise = float(np.sqrt((residual**2).mean())) if uncertainty is None else uncertainty
    nodes = lattice(size)
    lut = Lut3D(np.clip(table + curves(nodes), 0, 1), title=title)
    notes: tuple[str, ...] = ()
    if held_out.p95 > POOR_CODES:
        notes = (
            f"5 % of the held-out patches are more than {held_out.p95:.0f} 10-bit codes away from"
            " what their neighbours predict: the device has finer detail than the chart (try a"
            " chart of a larger size), or it is not a LUT",
        )
    return PatchFit(
        lut,
        chosen,
        held_out,
        code_error(lut.apply(inputs), outputs),
        _node_error(inputs, trial_size, chosen, noise, random),
        notes,
    )


def _chosen(
    trial: ScatteredFit, tried: Sequence[float], inputs: Array, outputs: Array
) -> tuple[float, CodeError]:
    """The smoothness that predicts held-out patches best, and its error there."""
    best, chosen, held_out, table = np.inf, 0.0, CodeError(0.0, 0.0, 0.0), None
    for amount in tried:
        table = trial.solve(amount, start=table)
        found = Lut3D(table).apply(inputs)
        squares = float(((found - outputs) ** 2).mean())
        if squares > 1.5 * best:
            break  # looser fits would only follow the noise more
        if squares < best:
            best, chosen, held_out = squares, amount, code_error(found, outputs)
    return chosen, held_out


def neutral_curves(inputs: Array, outputs: Array) -> Callable[[Array], Array]:
    """The tone curves of the channels by the neutral patches; no change with fewer than 33.

    The departure of a device from these curves is smoother than the curves themselves, so a
    coarse chart shows it better.
    """
    neutral = np.ptp(inputs, axis=1) < 1e-9
    levels = len(np.unique(inputs[neutral, 0]))
    if levels < 33:
        return lambda colours: colours
    table = smooth_curves(inputs[neutral], outputs[neutral])
    return Lut1D(table).apply


def _split(inputs: Array, random: np.random.Generator) -> tuple[Mask, Mask]:
    """Which patches are fitted and which are held out; those on the faces of the cube are always
    fitted, since they cannot be predicted from patches further out."""
    inside = ((inputs > 0) & (inputs < 1)).all(axis=1)
    unseen = inside & (random.random(len(inputs)) < HELD_OUT_SHARE)
    if unseen.sum() < 5:
        unseen = random.random(len(inputs)) < HELD_OUT_SHARE
    return ~unseen, unseen


def _node_error(
    inputs: Array, size: int, smoothness: float, noise: float, random: np.random.Generator
) -> NodeError:
    """Standard error of the nodes in 10-bit codes, due to noise.

    The fit is linear, so fits to pure noise show it.
    """
    rounds = 4
    total = np.zeros((size, size, size, 3))
    for _ in range(rounds):
        pure = random.normal(0, noise, inputs.shape)
        total += ScatteredFit(inputs, pure, size).solve(smoothness, rtol=1e-3) ** 2
    spread = np.sqrt(total / rounds) * CODES_10_BIT
    return NodeError(float(np.median(spread)), float(np.percentile(spread, 95)))
