"""Ends between which a mapper of display light takes greys nearly as the LUT does.

The mappers of BT.2390 and BT.2446 have no straight stretch of stops, but displays have few peaks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.common import GREYS
from lutbench.identification.curvebank import End, scale_of
from lutbench.identification.samples import CODES, Samples
from lutbench.model.curves.hdr import HlgScene, PqDisplay
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT2020
from lutbench.model.light import REFERENCE_WHITE_CD_M2, Display
from lutbench.model.tone import ToneMapper, tone_mapper, tone_names
from lutbench.model.transforms import Array

PEAKS = {
    "source_peak": (1000.0, 2000.0, 4000.0, 10000.0),
    "target_peak": (100.0, REFERENCE_WHITE_CD_M2, 400.0, 600.0, 800.0),
}
"""Peaks in cd/m² of the displays that HDR is graded on, and of those that it is mapped to."""

NEAR = 8.0
"""10-bit codes of error on greys, root mean square, up to which a mapper may be the right one with
other numbers, such as a black that is lifted.
"""


@dataclass(frozen=True)
class Mapped:
    """Two ends, the mapper between them, and its error on greys in codes."""

    source: End
    target: End
    mapper: ToneMapper
    error: float


def mapped_ends(
    samples: Samples, sources: list[End], targets: list[End], most: int
) -> list[Mapped]:
    """The ends of mappers of display light that come near to the greys, the nearest first."""
    if samples.inside(samples.neutral).all(axis=1).sum() < GREYS:
        return []
    best: dict[tuple[int, int, str], Mapped] = {}
    mappers = list(_mappers())
    shown = [(j, t) for j, t in enumerate(targets) if t.curve.curve.kind_of_light.side == "display"]
    for i, source in enumerate(sources):
        greys = _display_light(source, np.repeat(samples.neutral_in[:, None], 3, axis=1))
        if greys is None:
            continue
        for mapper in mappers:
            with np.errstate(all="ignore"):
                mapped = np.asarray(mapper.apply(greys))[:, :1]
            for j, target in shown:
                error = _error(mapped, mapper, target, samples)
                key = i, j, mapper.method
                if error <= NEAR and (key not in best or error < best[key].error):
                    best[key] = Mapped(source, target, mapper, error)
    return sorted(best.values(), key=lambda each: each.error)[:most]


def _display_light(source: End, greys: Array) -> Array | None:
    """Greys of a source as its display shows them, in cd/m²: PQ, and HLG on the reference one."""
    curve = source.curve.curve
    if isinstance(curve, PqDisplay):
        return np.asarray(source.decode(greys) * curve.white)
    if not isinstance(curve, HlgScene):
        return None
    low, span = scale_of(source.range)
    shown = Encoding(curve, BT2020, display=Display()).to_light("display")
    return np.asarray(shown.apply((greys - low) / span)) * REFERENCE_WHITE_CD_M2


def _mappers() -> Iterator[ToneMapper]:
    """Every mapper of display light, between usual peaks where it has peaks."""
    for name in tone_names()[1:]:
        kind = tone_mapper(name)
        if kind is None or kind.side != "display":
            continue
        peaks = {key: values for key, values in PEAKS.items() if key in kind.settings()}
        for values in product(*peaks.values()):
            try:
                yield kind(**dict(zip(peaks, values, strict=True)))
            except LutbenchError:
                continue  # No target is brighter than its source.


def _error(light: Array, mapper: ToneMapper, target: End, samples: Samples) -> float:
    """The error of mapped light, in cd/m², on the greys of the LUT in codes, root mean square."""
    white = target.curve.curve.display_white or mapper.target_white
    given = samples.held(np.repeat(target.encode(light / white), 3, axis=1))
    off = np.nan_to_num(given - samples.neutral, nan=1.0) * CODES
    return float(np.sqrt(np.mean(off**2)))
