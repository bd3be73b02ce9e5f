"""Primaries in a free matrix, and the most likely display gamut that it leads to.

A LUT shows only the product of two gamuts. With the right target, the source's primaries
usually lie where those of camera gamuts do; with a narrower or wider one they usually do not.
"""

from __future__ import annotations

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.gamutbank import GamutBank, Pair
from lutbench.identification.measured import GAMUT
from lutbench.identification.plausible import SHOWN_SHARES
from lutbench.identification.result import LIKELY
from lutbench.model.gamuts import Gamut
from lutbench.model.transforms import Array

FAR = 6.0
"""Standard deviations at which the distance of a coordinate is capped, and beyond which it is no
primary's: something else than a pair of gamuts is in the matrix."""


def primaries_behind(matrix: Array, pair: Pair, bank: GamutBank) -> tuple[Gamut | None, str, bool]:
    """The source's primaries, the target they are relative to, and whether it is supposed.

    Without adaptation: the white is that of the target. No primaries where they lie where those of
    no wide gamut do.
    """
    known = {each.name: each.gamut for each in bank.gamuts if each.gamut is not None}
    possible = {bank.gamuts[int(t)].name for t in bank.targets[~bank.unchanged]}
    names = (
        list(possible) if len(possible) == 1 else [each for each in SHOWN_SHARES if each in known]
    )
    seen = {each: _seen(matrix, known[each]) for each in names or [pair.target.name]}
    usual = np.array([np.ravel(each.primaries) for each in known.values() if _is_wide(each)])
    if len(usual) < 2 or len(seen) == 1:
        against = next(iter(seen))
        return _gamut(seen[against], known[against]), against, len(possible) != 1
    middle, spread = np.median(usual, axis=0), usual.std(axis=0)
    nats = np.array(
        [
            0.5 * np.sum(np.minimum(np.abs(seen[each].ravel() - middle) / spread, FAR) ** 2)
            - np.log(SHOWN_SHARES[each])
            for each in seen
        ]
    )
    shares = np.exp(nats.min() - nats)
    best = list(seen)[int(nats.argmin())]
    if (np.abs(seen[best].ravel() - middle) > FAR * spread).any():
        return None, best, True
    return _gamut(seen[best], known[best]), best, bool(shares.max() / shares.sum() < LIKELY)


def _seen(matrix: Array, target: Gamut) -> Array:
    """Primaries in xy, (3, 2), of the source that `matrix` converts to the target."""
    columns = target.to_xyz @ matrix
    return np.asarray((columns[:2] / columns.sum(axis=0)).T)


def _is_wide(gamut: Gamut) -> bool:
    """Whether a gamut is clearly wider than that of standard dynamic range displays."""
    (ax, ay), (bx, by), (cx, cy) = gamut.primaries
    return 0.5 * abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) > WIDER_THAN


WIDER_THAN = 0.13
"""The area in xy of a triangle that is wider than BT.709's (0.112)."""


def _gamut(points: Array, target: Gamut) -> Gamut | None:
    red, green, blue = ((float(x), float(y)) for x, y in points)
    try:
        return Gamut(GAMUT, (red, green, blue), target.white, "measured in a LUT")
    except LutbenchError:
        return None
