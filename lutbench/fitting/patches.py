"""A LUT fitted to the patches of a chart that came back from a device."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.algebra.result import CodeError, code_error
from lutbench.errors import LutbenchError
from lutbench.fitting.scattered import ScatteredFit, smooth_curves
from lutbench.model.signal import CODES_10_BIT
from lutbench.results import Result
from lutbench.tables.lut import SIZES_3D, USUAL_SIZE, Lut1D, Lut3D, lattice
from lutbench.tables.nodes import check_size

Array = NDArray[np.float64]

SMOOTHNESS = tuple(10.0**power for power in (-4, -4.5, -5, -5.5, -6, -6.5, -7, -8))
"""What is tried, from stiff to loose; see `lutbench.fitting.scattered` for the unit."""

HELD_OUT = 0.15
"""The share of patches that the choice of smoothness does not see."""

POOR = 8.0
"""10-bit code values: a 95th percentile of the held-out error over this is named."""


@dataclass(frozen=True, repr=False)
class PatchFit(Result):
    """A LUT from patches.

    Parameters
    ----------
    lut
        The LUT, held to 0..1.
    smoothness
        The one that foretold patches best that it had not seen.
    held_out
        The error at such patches, in 10-bit code values. It holds the noise of the
        patches themselves, so the LUT is nearer the device than this.
    residual
        What the final fit leaves at all patches, in 10-bit code values.
    node_error
        Standard error of the LUT's values from noise in the patches, 10-bit code
        values: median and 95th percentile over all nodes, by fits to noised patches.
    """

    lut: Lut3D
    smoothness: float
    held_out: CodeError
    residual: CodeError
    node_error: tuple[float, float]
    notes: tuple[str, ...] = ()

    def to_data(self) -> dict[str, Any]:
        """The fit as plain data."""
        return {
            "lut": self.lut.to_data(),
            "smoothness": self.smoothness,
            "held_out_code_10bit": self.held_out.to_data(),
            "residual_code_10bit": self.residual.to_data(),
            "node_error_code_10bit": {"median": self.node_error[0], "p95": self.node_error[1]},
            "notes": list(self.notes),
        }


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
        Signal sent and signal found, shape (patches, 3).
    uncertainty
        Standard deviation of an output, in signal units; where None, what the fit leaves.
    smoothness
        How strongly the LUT is pulled straight; chosen by hold-out where None.
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
    if held_out.p95 > POOR:
        notes = (
            f"a twentieth of the patches come out {held_out.p95:.0f} codes of 1023 or more away"
            " from what their neighbours foretell: the device bends more sharply than the chart"
            " can show (a chart of a larger size may help), or is not a LUT",
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
    """The smoothness that foretells patches best that the fit has not seen, and its error there."""
    best, chosen, held_out, table = np.inf, 0.0, CodeError(0.0, 0.0, 0.0), None
    for amount in tried:
        table = trial.solve(amount, start=table)
        found = Lut3D(table).apply(inputs)
        squares = float(((found - outputs) ** 2).mean())
        if squares > 1.5 * best:
            break  # looser still would follow the noise only more
        if squares < best:
            best, chosen, held_out = squares, amount, code_error(found, outputs)
    return chosen, held_out


def neutral_curves(inputs: Array, outputs: Array) -> Callable[[Array], Array]:
    """What the neutral patches tell of tone, as a curve for each channel of any colour.

    What a device does beside it, the departure from these curves, bends less, so that a
    coarse lattice of colours shows it better.
    """
    neutral = np.ptp(inputs, axis=1) < 1e-9
    levels = len(np.unique(inputs[neutral, 0]))
    if levels < 33:
        return lambda colours: colours
    table = smooth_curves(inputs[neutral], outputs[neutral])
    return Lut1D(table).apply


def _split(inputs: Array, random: np.random.Generator) -> tuple[Any, Any]:
    """Patches to fit and patches to judge by; those on the faces of the cube are all fitted,
    since nothing beyond them could foretell them."""
    inside = ((inputs > 0) & (inputs < 1)).all(axis=1)
    unseen = inside & (random.random(len(inputs)) < HELD_OUT)
    if unseen.sum() < 5:
        unseen = random.random(len(inputs)) < HELD_OUT
    return ~unseen, unseen


def _node_error(
    inputs: Array, size: int, smoothness: float, noise: float, random: np.random.Generator
) -> tuple[float, float]:
    """How much noise of the patches moves the nodes: the fit is linear, so noise alone
    goes through it."""
    rounds = 4
    total = np.zeros((size, size, size, 3))
    for _ in range(rounds):
        pure = random.normal(0, noise, inputs.shape)
        total += ScatteredFit(inputs, pure, size).solve(smoothness, rtol=1e-3) ** 2
    spread = np.sqrt(total / rounds) * CODES_10_BIT
    return float(np.median(spread)), float(np.percentile(spread, 95))
