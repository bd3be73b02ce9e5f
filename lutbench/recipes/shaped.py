"""A recipe's LUT with a shaper before the 3D LUT."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lutbench.model.conversion import Conversion
from lutbench.model.curves.base import Decode
from lutbench.model.signal import SignalFromRange
from lutbench.model.transforms import Transform
from lutbench.recipes.schema import LutJob, Shaper
from lutbench.tables.lut import ShaperLut3D
from lutbench.tables.nodes import sample_behind
from lutbench.tables.shaping import Span, shaper_for, shaper_of

if TYPE_CHECKING:
    from lutbench.model.false_colour import FalseColour


def behind_shaper(job: LutJob, shaper: Shaper, transform: Transform) -> ShaperLut3D:
    """The transform of a job, sampled after a shaper of a curve or one that suits it."""
    span = Span(shaper.low, shaper.high, shaper.size)
    if shaper.curve is not None:
        rows = shaper_of(shaper.curve, span)
    else:
        rows = shaper_for(transform, to_light(job.task), span, job.size)
    return sample_behind(transform, rows, job.size, interpolation=job.interpolation)


def to_light(task: Conversion | FalseColour) -> Transform:
    """The transform from a LUT's input values to the light that they stand for."""
    end = task.source if isinstance(task, Conversion) else task
    decode = Decode(end.curve)
    return decode if end.range == "full" else SignalFromRange("legal", end.bits) | decode
