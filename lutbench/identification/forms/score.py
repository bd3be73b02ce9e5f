"""One score, in nats: the likelihood of a hypothesis's errors, robust against looks."""

from __future__ import annotations

import numpy as np

from lutbench.identification.samples import CODES
from lutbench.model.transforms import Array

SHARES = np.array([0.01, 0.05, 0.15, 0.3, 0.5, 0.7])
"""Assumed shares of unexplained values; the likeliest is used."""

SCALES = 2.0 ** np.arange(0, 14, 0.5)
"""Spreads of the errors, in times the known noise: errors of the model look like noise."""

INDEPENDENT = 300
"""Values that count as independent: neighbouring nodes have similar errors."""


def nats_of(misses: Array, floor: float) -> Array:
    """Minus the log likelihood of misses in codes, (..., n), NaN where nothing is foretold.

    A mixture: of a share nothing is known (any code is as likely), the rest is normal
    about the forecast, with a spread of `floor` codes or more. The likeliest of some
    spreads and shares counts.
    """
    sizes = np.where(np.isnan(misses), CODES, np.abs(misses))[..., None]
    best = np.full(misses.shape[:-1], np.inf)
    for scale in floor * SCALES:
        if scale > 64:
            break
        normal = np.exp(-0.5 * (sizes / scale) ** 2) / (scale * np.sqrt(2 * np.pi))
        nats = -np.log((1 - SHARES) * normal + SHARES / CODES).mean(axis=-2)
        np.minimum(best, nats.min(axis=-1), out=best)
    return best * INDEPENDENT
