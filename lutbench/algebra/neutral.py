"""The neutral axis of a LUT as a curve LUT."""

from __future__ import annotations

import numpy as np

from lutbench.algebra.result import Change, Reworked, code_error
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Transform
from lutbench.tables.lut import USUAL_ROWS, Lut1D
from lutbench.tables.nodes import checked_apply, domain_of


def neutral_curve(
    transform: Transform, size: int = USUAL_ROWS, *, grey: bool = False, title: str = ""
) -> Reworked:
    """The tone curves of a transform: its output for neutral inputs, one curve for each channel.

    The error is that of the curve between its rows. It does not include what the curve
    leaves out, which is all that a matrix or a look does to colours.

    Parameters
    ----------
    grey
        Whether to give all channels the same curve, the mean of the three.

    Raises
    ------
    LutbenchError
        When an output is not finite, or exceeds half float.
    """
    domain = domain_of(transform)
    curve = checked_apply(transform, np.linspace(domain[0], domain[1], size))
    tint = float((curve.max(axis=1) - curve.min(axis=1)).max())
    changes = []
    if tint * CODES_10_BIT >= 0.5:
        message = f"the channels differ by up to {tint * CODES_10_BIT:.1f} 10-bit codes"
        changes.append(Change("tint", message + (", now averaged" if grey else ""), tint))
    if grey:
        curve = np.repeat(curve.mean(axis=1, keepdims=True), 3, axis=1)
    falls = np.minimum(np.diff(curve, axis=0), 0).sum(axis=0).min()
    if falls < -1e-9:
        changes.append(
            Change(
                "non_monotonic",
                f"the curve falls by {-falls * CODES_10_BIT:.1f} 10-bit codes in total",
                float(-falls),
            )
        )
    lut = Lut1D(curve, domain, title)
    between = np.linspace(domain[0], domain[1], 3 * size + 2)
    expected = checked_apply(transform, between)
    if grey:
        expected = np.repeat(expected.mean(axis=1, keepdims=True), 3, axis=1)
    return Reworked(lut, code_error(expected, lut.apply(between)), tuple(changes))
