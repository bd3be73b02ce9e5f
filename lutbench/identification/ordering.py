"""The order of hypotheses: what differs only in the last digits of arithmetic is a tie.

Sums are rounded in another order by each linear algebra library, and hypotheses that are the same
conversion by other names have the same error but for that. The order in which they stand, which is
that of the catalogue, then decides.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

DECIMALS = 6
"""Decimals of errors in codes and of nats that count. Single precision is enough above them."""


def settled(score: float) -> float:
    """A score without the digits that arithmetic leaves to chance.

    >>> settled(0.1 + 0.2) == settled(0.3), settled(0.30001) == settled(0.3)
    (True, False)
    """
    return float(_settled(score))


def best_first(scores: ArrayLike) -> NDArray[np.int64]:
    """The indices of scores (n,), the smallest first; of a tie the first.

    >>> best_first(np.array([0.1 + 0.2, 0.1, 0.3])).tolist()
    [1, 0, 2]
    """
    return np.argsort(_settled(scores), axis=None, kind="stable")


def _settled(scores: ArrayLike) -> NDArray[np.float32]:
    with np.errstate(over="ignore"):  # of scores that no hypothesis in use has
        return np.round(np.asarray(scores, dtype=np.float64), DECIMALS).astype(np.float32)
