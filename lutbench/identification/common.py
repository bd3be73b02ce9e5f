"""Numbers that several parts of identification have in common."""

from __future__ import annotations

SIX_DECIMALS = 1e-6
"""The step of a file with six decimals, as most are: values nearer than it are the same."""

LEAST = 0.02
"""10-bit codes added to an error before its logarithm is taken, which zero has none of."""

EXACT = 0.5
"""10-bit codes of error up to which an answer is as good as exact: rounding to 10 bits."""

DARK = 1e-6
"""Light below which nothing is compared: its logarithm is unreliable."""

STOPS = 0.02
"""Stops of exposure up to which two are alike, and one is none: it would read 0.0."""

CLIPS = 2e-3
"""The share of the range at its ends that counts as clipped where two LUTs are compared."""

STEP = 1e-5
"""The change of a number over which a slope is taken: far above what arithmetic rounds."""

ROWS = 300
"""Nodes that a form of few sources is fitted on, which keeps the time short."""

STEPS = 6
"""Steps of a fit of a bent curve, after which it hardly changes."""

EARNED = 20.0
"""Nats by which a form with more freedom must explain more than one with less."""

GREYS = 5
"""The fewest greys that show a curve: four steps that agree."""

DENSE = 2048
"""Points of a table that stands for a smooth curve."""

TINY = 1e-12
"""What is added to a divisor that may be zero: beneath all that a file can hold."""

ROUNDING_CODES = 0.004
"""10-bit codes by which the residual of an exact answer may exceed rounding, and a twentieth more:
arithmetic, and the interpolation of tables.
"""


def rounded(error: float) -> float:
    """The largest root mean square error in codes of an exact answer, of that of rounding."""
    return 1.05 * error + ROUNDING_CODES
