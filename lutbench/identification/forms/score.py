"""One score, in nats: how likely the misses of a hypothesis are, whatever looks leave over."""

from __future__ import annotations

import numpy as np

from lutbench.identification.samples import CODES
from lutbench.model.transforms import Array

SHARES = np.array([0.01, 0.05, 0.15, 0.3, 0.5, 0.7])
"""The shares of values that nothing explains, of which the likeliest is taken."""

SCALES = 2.0 ** np.arange(0, 14, 0.5)
"""How many times the known noise the rest may miss by: what is not modelled looks like noise."""

INDEPENDENT = 300
"""Values that say something each for itself: neighbours miss alike."""


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
