"""Sources and targets between which greys go along a straight line of stops, as far as one goes.

A shoulder and a toe leave a stretch between them on which a stop of light in makes the same
number of stops of light out. Only the right curves, of a source and of a target, show it.
"""

from __future__ import annotations

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.samples import CODES, Samples
from lutbench.model.transforms import Array

SAME = 3e-4
"""How far slopes of a straight stretch may differ, as a share: tables, and light near black."""

FINEST, LEAST = 100.0, 4.0
"""How much finer than allowed slopes can be told to be the same; and what all in a row must say,
in nats: two that agree finely, or three that do.
"""

FAR = 1e3
"""What stands for slopes that nothing tells."""

DARK = 1e-7
"""Light under this is not looked at: its logarithm means little."""


def straight_ends(
    samples: Samples, knowledge: Knowledge, targets: list[End], most: int
) -> list[tuple[End, End]]:
    """Sources and targets with the longest straight stretches, the longest first."""
    clear = samples.inside(samples.neutral).all(axis=1)
    signal = samples.neutral.mean(axis=1)
    stops_in = _stops(np.array([end.of_axis(samples.neutral_in) for end in knowledge.sources]))
    stops_out = _stops(np.array([end.decode(signal) for end in targets]))
    stops_out[:, ~clear] = np.nan
    step = np.diff(stops_in, axis=1)[:, None]
    with np.errstate(all="ignore"):
        slope = np.diff(stops_out, axis=1)[None] / np.where(step > 0, step, np.nan)
        off = np.abs(slope[..., 1:] / slope[..., :-1] - 1)
    # Rounding of two neighbours, beside what they differ by.
    rise = np.maximum(np.abs(np.diff(signal)), 1e-9)
    rounded = 4 * samples.floor / CODES / np.minimum(rise[1:], rise[:-1])
    off = np.nan_to_num(off, nan=FAR, posinf=FAR)
    within = SAME + rounded
    # A slope that is the same to a hundredth of what is allowed says more than one that just is.
    gain = np.where(off <= within, np.log(within / (off + within / FINEST)), 0.0)
    run = np.zeros(gain.shape[:2])
    best = np.zeros(gain.shape[:2])
    for k in range(gain.shape[2]):
        run = np.where(off[..., k] <= within[k], run + gain[..., k], 0.0)
        best = np.maximum(best, run)
    order = np.argsort(-best, axis=None, kind="stable")[:most]
    places = [divmod(int(each), len(targets)) for each in order]
    return [(knowledge.sources[i], targets[j]) for i, j in places if best[i, j] >= LEAST]


def _stops(light: Array) -> Array:
    with np.errstate(all="ignore"):
        return np.where(np.nan_to_num(light) > DARK, np.log2(light), np.nan)
