"""An ASC CDL between two pictures of the same nodes: what a grade did, in its own terms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.identification.samples import CODES
from lutbench.model.grade import CDL_WEIGHTS, Cdl
from lutbench.model.transforms import Array

ROWS = 1500
"""Nodes that the fit looks at: ten numbers are asked of them."""

FEW, FEWEST = 250, 40
OUTLIER = 2.0
"""Codes from which a node counts as little: it may be clipped, or held in gamut."""

# No grade is stronger: log slope, offset, log power, log saturation.
BOUNDS = (1.6, 0.5, 1.4, 1.6)


@dataclass(frozen=True)
class CdlFit:
    """A CDL and what it leaves over of each row, in 10-bit codes, shape (n, 3)."""

    cdl: Cdl
    left: Array


def fit_cdl(
    before: Array, after: Array, *, start: Cdl | None = None, mixes: bool = True
) -> CdlFit | None:
    """The CDL that takes `before` to `after`, signals of shape (n, 3); None where too few.

    The formula is that of ASC CDL 1.2, (in·slope + offset)^power and then saturation,
    both held to 0..1. Far nodes count little (a soft L1 loss). Without `mixes` the
    saturation is held to 1: neutral rows say nothing of it.
    """
    if len(before) < FEWEST:
        return None
    rows = np.arange(len(before))
    if len(rows) > ROWS:
        rows = np.sort(np.random.default_rng(2).choice(rows, ROWS, replace=False))
    x, y = before[rows], after[rows]
    # The way there is found on a few of the rows.
    few = slice(None, None, max(1, len(rows) // FEW))
    fits = [_refined(x[few], y[few], each, mixes) for each in (Cdl(), start) if each is not None]
    cdl = min(fits, key=lambda each: float(np.median(np.abs(each.apply(x) - y))))
    cdl = _refined(x, y, cdl, mixes)
    return CdlFit(cdl, (after - cdl.apply(before)) * CODES)


def _refined(x: Array, y: Array, start: Cdl, mixes: bool) -> Cdl:
    from scipy.optimize import least_squares

    limits = np.array([*[BOUNDS[0]] * 3, *[BOUNDS[1]] * 3, *[BOUNDS[2]] * 3, BOUNDS[3]])
    first = np.clip(_state(start), -0.99 * limits, 0.99 * limits)
    count = 10 if mixes else 9

    def slopes(state: Array) -> Array:
        return _jacobian(state, x)[:, :count]

    found = least_squares(
        lambda state: (_applied(state, x) - y).ravel() * CODES,
        first[:count],
        jac=slopes,
        bounds=(-limits[:count], limits[:count]),
        loss="soft_l1",
        f_scale=OUTLIER,
        x_scale=np.array([*[0.1] * 3, *[0.02] * 3, *[0.1] * 3, 0.1])[:count],
        max_nfev=60,
    )
    return _cdl(found.x)


def _state(cdl: Cdl) -> Array:
    tiny = 1e-3
    return np.concatenate(
        [
            np.log(np.maximum(cdl.slope, tiny)),
            cdl.offset,
            np.log(cdl.power),
            [np.log(max(cdl.saturation, tiny))],
        ]
    )


def _cdl(state: Array) -> Cdl:
    values = [float(value) for value in np.exp(state)]
    offset = [float(value) for value in state[3:6]]
    return Cdl(
        (values[0], values[1], values[2]),
        (offset[0], offset[1], offset[2]),
        (values[6], values[7], values[8]),
        values[9] if len(state) > 9 else 1.0,
    )


def _applied(state: Array, x: Array) -> Array:
    """The CDL without the last clamp, where no slope would lead back."""
    graded = np.clip(x * np.exp(state[:3]) + state[3:6], 1e-9, 1) ** np.exp(state[6:9])
    if len(state) < 10:
        return np.asarray(graded)
    luma = (graded @ np.array(CDL_WEIGHTS))[:, None]
    return np.asarray(luma + np.exp(state[9]) * (graded - luma))


def _jacobian(state: Array, x: Array) -> Array:
    """Codes by each number, shape (3n, 10)."""
    slope, power = np.exp(state[:3]), np.exp(state[6:9])
    saturation = float(np.exp(state[9])) if len(state) > 9 else 1.0
    base = x * slope + state[3:6]
    free = (base > 1e-9) & (base < 1)
    base = np.clip(base, 1e-9, 1)
    graded = base**power
    by_base = np.where(free, power * graded / base, 0.0)
    # Before the saturation each channel hangs on its own three numbers.
    own = np.stack([by_base * x * slope, by_base, graded * np.log(base) * power], axis=-1)
    weights = np.array(CDL_WEIGHTS)
    mix = saturation * np.eye(3) + (1 - saturation) * np.outer(np.ones(3), weights)
    full = np.empty((len(x), 3, 10))
    for kind in range(3):
        full[:, :, 3 * kind : 3 * kind + 3] = mix[None] * own[:, None, :, kind]
    full[:, :, 9] = saturation * (graded - (graded @ weights)[:, None])
    return full.reshape(-1, 10) * CODES
