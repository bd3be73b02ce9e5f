"""An ASC CDL fitted to the signals of the same colours before and after a grade."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lutbench.model.grade import CDL_WEIGHTS, Cdl
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array

MOST_ROWS = 1500
"""Rows that are used in the final fit: plenty for ten parameters."""

FIRST_ROWS = 250
"""Rows that are used in the first fit, which finds the neighbourhood of the solution."""

FEWEST_ROWS = 40
"""Rows: fewer do not determine ten parameters against noise."""

OUTLIER_CODES = 2.0
"""10-bit codes: a row with a larger residual counts little, as it may be clipped."""

STRONGEST = (1.6, 0.5, 1.4, 1.6)
"""Bounds of log slope, offset, log power and log saturation: stronger than any grade."""

DECIMALS = 6
"""Decimals of the numbers of a CDL, as in a CDL file or a recipe."""


@dataclass(frozen=True)
class CdlFit:
    """A CDL, and its residual in 10-bit codes, shape (n, 3)."""

    cdl: Cdl
    left: Array


def fit_cdl(
    before: Array, after: Array, *, start: Cdl | None = None, mixes: bool = True
) -> CdlFit | None:
    """The CDL that takes `before` to `after`, signals of shape (n, 3); None with too few rows.

    The formula is that of ASC CDL 1.2: (in·slope + offset)^power, then saturation, each
    clamped to 0..1. Outliers count little (a soft L1 loss). Without `mixes` the saturation
    stays 1, since neutral rows do not determine it.
    """
    if len(before) < FEWEST_ROWS:
        return None
    rows = np.arange(len(before))
    if len(rows) > MOST_ROWS:
        rows = np.sort(np.random.default_rng(2).choice(rows, MOST_ROWS, replace=False))
    x, y = before[rows], after[rows]
    # The first fits use only some of the rows, to save time.
    few = slice(None, None, max(1, len(rows) // FIRST_ROWS))
    fits = [_refined(x[few], y[few], each, mixes) for each in (Cdl(), start) if each is not None]
    cdl = min(fits, key=lambda each: float(np.median(np.abs(each.apply(x) - y))))
    cdl = _refined(x, y, cdl, mixes)
    return CdlFit(cdl, (after - cdl.apply(before)) * CODES_10_BIT)


def _refined(x: Array, y: Array, start: Cdl, mixes: bool) -> Cdl:
    from scipy.optimize import least_squares

    limits = np.array([*[STRONGEST[0]] * 3, *[STRONGEST[1]] * 3, *[STRONGEST[2]] * 3, STRONGEST[3]])
    first = np.clip(_state(start), -0.99 * limits, 0.99 * limits)
    count = 10 if mixes else 9

    def slopes(state: Array) -> Array:
        return _jacobian(state, x)[:, :count]

    found = least_squares(
        lambda state: (_applied(state, x) - y).ravel() * CODES_10_BIT,
        first[:count],
        jac=slopes,
        bounds=(-limits[:count], limits[:count]),
        loss="soft_l1",
        f_scale=OUTLIER_CODES,
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
    """The CDL of fitted parameters, rounded to the decimals of a file."""
    saturation = float(np.exp(state[9])) if len(state) > 9 else 1.0
    slope, offset, power = np.exp(state[:3]), state[3:6], np.exp(state[6:9])
    return Cdl(_three(slope), _three(offset), _three(power), round(saturation, DECIMALS))


def _three(values: Array) -> tuple[float, float, float]:
    first, second, third = np.round(values, DECIMALS).tolist()
    return first, second, third


def _applied(state: Array, x: Array) -> Array:
    """The CDL without the last clamp, which has no gradient."""
    graded = np.clip(x * np.exp(state[:3]) + state[3:6], 1e-9, 1) ** np.exp(state[6:9])
    if len(state) < 10:
        return np.asarray(graded)
    luma = (graded @ np.array(CDL_WEIGHTS))[:, None]
    return np.asarray(luma + np.exp(state[9]) * (graded - luma))


def _jacobian(state: Array, x: Array) -> Array:
    """The change of each output, in 10-bit codes, by each parameter, shape (3n, 10)."""
    slope, power = np.exp(state[:3]), np.exp(state[6:9])
    saturation = float(np.exp(state[9])) if len(state) > 9 else 1.0
    base = x * slope + state[3:6]
    free = (base > 1e-9) & (base < 1)
    base = np.clip(base, 1e-9, 1)
    graded = base**power
    by_base = np.where(free, power * graded / base, 0.0)
    # Before the saturation each channel depends on its own three parameters only.
    own = np.stack([by_base * x * slope, by_base, graded * np.log(base) * power], axis=-1)
    weights = np.array(CDL_WEIGHTS)
    mix = saturation * np.eye(3) + (1 - saturation) * np.outer(np.ones(3), weights)
    full = np.empty((len(x), 3, 10))
    for kind in range(3):
        full[:, :, 3 * kind : 3 * kind + 3] = mix[None] * own[:, None, :, kind]
    full[:, :, 9] = saturation * (graded - (graded @ weights)[:, None])
    return full.reshape(-1, 10) * CODES_10_BIT
