"""Sources and targets between which greys are a straight line in stops over some stretch.

Between a toe and a shoulder, each stop of light in gives the same number of stops out. Usually
only the right curves of source and target show this.
"""

from __future__ import annotations

import numpy as np

from lutbench.identification.common import DARK, GREYS
from lutbench.identification.curvebank import End
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.naming import most_missed
from lutbench.identification.samples import CODES, Samples
from lutbench.model.curves.hdr import HlgScene
from lutbench.model.transforms import Array

SAME = 3e-4
"""The share by which slopes of a straight stretch may differ: errors of tables and near black."""

FINEST, LEAST = 100.0, 4.0
"""How much finer than allowed an agreement of slopes still counts for more; and the least evidence
of a stretch in nats: two or three slopes that agree closely.
"""


def straight_ends(
    samples: Samples, knowledge: Knowledge, targets: list[End], most: int
) -> list[tuple[End, End]]:
    """Sources and targets with the longest straight stretches, the longest first."""
    if not targets or not knowledge.sources:
        return []
    clear = samples.inside(samples.neutral).all(axis=1)
    # Each channel shows it, also where gains make them differ.
    signal = samples.neutral[:, 1]
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
    off = np.nan_to_num(off, nan=np.inf)
    within = SAME + rounded
    # A slope that agrees far more closely than required is stronger evidence.
    gain = np.log(within / (np.minimum(off, within) + within / FINEST))
    run = np.zeros(gain.shape[:2])
    best = np.zeros(gain.shape[:2])
    for k in range(gain.shape[2]):
        run = np.where(off[..., k] <= within[k], run + gain[..., k], 0.0)
        best = np.maximum(best, run)
    order = np.argsort(-best, axis=None, kind="stable")[:most]
    places = [divmod(int(each), len(targets)) for each in order]
    return [(knowledge.sources[i], targets[j]) for i, j in places if best[i, j] >= LEAST]


def hlg_ends(samples: Samples, targets: list[End], knowledge: Knowledge) -> list[tuple[End, End]]:
    """HLG and the light of another display, where all greys lie along one line of stops.

    The OOTF of BT.2100 is a power of greys, whatever the display.
    """
    clear = samples.inside(samples.neutral).all(axis=1)
    signal = samples.neutral.mean(axis=1)
    with np.errstate(all="ignore"):
        rise = np.nan_to_num(np.gradient(signal) * CODES, posinf=CODES, neginf=0.0)
    found: list[tuple[float, int, End, End]] = []
    for source in knowledge.sources:
        for target in targets:
            is_hlg = [isinstance(end.curve.curve, HlgScene) for end in (source, target)]
            sides = {end.curve.curve.kind_of_light.side for end in (source, target)}
            if sum(is_hlg) != 1 or len(sides) < 2:
                continue
            x, y = _stops(source.of_axis(samples.neutral_in)), _stops(target.decode(signal))
            fine = clear & np.isfinite(x) & np.isfinite(y)
            if fine.sum() < GREYS:
                continue
            x, y = x[fine], y[fine]
            codes = np.clip(rise[fine] / np.maximum(np.gradient(y), 1e-9), 0.0, CODES)
            left = _off_line(x, y, codes)
            if left <= most_missed(samples.noise):
                found.append((left, len(found), source, target))
    return [(source, target) for _, _, source, target in sorted(found, key=lambda each: each[:2])]


def _off_line(x: Array, y: Array, codes: Array) -> float:
    """The residual of the best line, root mean square in codes; `codes` are those per unit of y."""
    weight = np.maximum(codes**2, 1e-12)
    x, y = x - np.average(x, weights=weight), y - np.average(y, weights=weight)
    spread = float(np.sum(weight * x * x))
    slope = float(np.sum(weight * x * y)) / spread if spread > 0 else 0.0
    return float(np.sqrt(np.mean((codes * (y - slope * x)) ** 2)))


def _stops(light: Array) -> Array:
    with np.errstate(all="ignore"):
        return np.where(np.isfinite(light) & (light > DARK), np.log2(light), np.nan)
