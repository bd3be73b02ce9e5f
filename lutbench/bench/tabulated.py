"""A LUT as the page holds it: a table, and the limits that its values are clamped to.

Tables stay as they are. A chain of steps (a CLF, a CDL) is sampled in the form with the
smallest error. First steps that work on each channel alone become a curve, and a last clamp
stays a clamp, so that the corners of both stay sharp.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from lutbench.algebra.chaining import chain, is_curve
from lutbench.measure.samples import SEED
from lutbench.model.grade import Cdl, Saturation
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Clamp, Pipeline, Transform, steps_of
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import domain_of, sample, sample_1d

SAMPLED_NODES = 65
"""Nodes along an edge of a sampled chain."""

CURVE_ROWS = 16385
"""Rows of the curve that the first steps of a chain become."""

TRIED_COLOURS = 4096
"""Random colours on which a sampled chain is compared with the exact one."""


@dataclass(frozen=True)
class BenchTable:
    """A table, the limits of its output, and its error in 10-bit codes if it is sampled."""

    table: Lut1D | Lut3D | ShaperLut3D
    held: tuple[float, float] | None = None
    error: float | None = None


def tabulated(lut: Transform) -> BenchTable:
    """`lut` as a table for the page."""
    if isinstance(lut, Lut1D | Lut3D | ShaperLut3D):
        return BenchTable(lut)
    steps = tuple(_single_steps(lut))
    held = None
    if isinstance(steps[-1], Clamp) and len(steps) > 1:
        held, steps = (steps[-1].low, steps[-1].high), steps[:-1]
    colours = np.random.default_rng(SEED).random((TRIED_COLOURS, 3))
    wanted = lut.apply(colours)

    def off(table: Transform) -> float:
        found = table.apply(colours)
        return CODES_10_BIT * float(
            np.abs((np.clip(found, *held) if held else found) - wanted).max()
        )

    tables = [sample(Pipeline(steps), SAMPLED_NODES), *_behind_its_curves(steps)]
    errors = [off(each) for each in tables]
    best = int(np.argmin(errors))
    return BenchTable(tables[best], held, errors[best])


def _single_steps(lut: Transform) -> Iterator[Transform]:
    """The steps, with a CDL split into its curves, its saturation and its clamp."""
    for step in steps_of(lut):
        if isinstance(step, Cdl) and step.saturation != 1:
            yield replace(step, saturation=1.0)
            yield Saturation(step.saturation)
            if step.clamp:
                yield Clamp(0.0, 1.0)
        else:
            yield step


def _behind_its_curves(steps: tuple[Transform, ...]) -> list[Lut1D | Lut3D | ShaperLut3D]:
    """The chain with its first steps as a curve, if these work on each channel alone."""
    domain = domain_of(steps[0])
    curves = 0
    while curves < len(steps) and is_curve(Pipeline(steps[: curves + 1]), domain):
        curves += 1
    if curves == 0:
        return [chain(steps, SAMPLED_NODES).lut] if isinstance(steps[0], ShaperLut3D) else []
    first = sample_1d(Pipeline(steps[:curves]), CURVE_ROWS, domain=domain)
    return [chain([first, *steps[curves:]], None if curves == len(steps) else SAMPLED_NODES).lut]
