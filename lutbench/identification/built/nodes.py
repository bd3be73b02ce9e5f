"""Descriptions compared with nodes: how far off each is, and how much work that was."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.samples import CODES, Samples
from lutbench.model.conversion import Conversion
from lutbench.model.transforms import Array, Transform

FAR = 300.0
"""10-bit codes of error assumed for parameters out of limits, and the most for any value."""

MOST_COLOURS = 2_000_000
"""Colours that a search for `split` converts before it gives up; a shoulder with a CDL after it was
found with 1.3 million."""

SOONER = 1_000_000
"""Colours of a search for `identify`, which looks at many LUTs: with half of it a shoulder over a
compressed gamut with a CDL after it is not found."""

Fits = dict[Any, tuple[Any, int]]
"""Fits by what was asked, each with the colours that it took."""


class GivenUp(Exception):
    """A search has converted as many colours as it may."""


@dataclass
class Work:
    """The colours that a search has converted, and the most that it may. They are counted, since
    seconds would not give the same answer twice."""

    most: int
    colours: int = 0

    def add(self, colours: int) -> None:
        """Count some more.

        Raises
        ------
        GivenUp
        """
        self.colours += colours
        if self.colours > self.most:
            raise GivenUp


@dataclass(frozen=True)
class Nodes:
    """Inputs and outputs, (n, 3), that a description is compared with."""

    inputs: Array
    outputs: Array
    samples: Samples
    work: Work
    fits: Fits = field(default_factory=dict)
    """What has been fitted to these nodes."""

    def misses(self, task: Conversion | None) -> Array:
        """The errors of a description in codes, (3n,)."""
        return np.asarray(self.all_misses([task])[0])

    def all_misses(self, tasks: Sequence[Conversion | None]) -> Array:
        """The errors of several descriptions in codes, (k, 3n); `FAR` for one that cannot be."""
        self.work.add(len(self.inputs) * len(tasks))
        return self.some_misses(tasks, 1)

    def some_misses(self, tasks: Sequence[Conversion | None], every: int) -> Array:
        """The same at one node of `every` so many, which are not counted."""
        inputs, outputs = self.inputs[::every], self.outputs[::every]
        given = np.full((len(tasks), *outputs.shape), np.nan)
        steps = {k: made for k, task in enumerate(tasks) if (made := _steps(task)) is not None}
        with np.errstate(all="ignore"):
            for k, values in zip(steps, together([*steps.values()], inputs), strict=True):
                given[k] = values
        off = (self.samples.held(given) - outputs) * CODES
        misses = np.clip(np.nan_to_num(off, nan=FAR), -FAR, FAR)
        return np.asarray(misses.reshape(len(tasks), outputs.size))


def _steps(task: Conversion | None) -> tuple[Transform, ...] | None:
    try:
        return None if task is None else task.pipeline().steps
    except LutbenchError:
        return None


def together(pipelines: Sequence[Sequence[Transform]], rgb: Array) -> list[Array]:
    """Colours, (n, 3), through each pipeline; each step is applied once for all that have it.

    Descriptions that differ in one parameter have most steps in common, and a call takes as long
    as a thousand colours.
    """
    held = [rgb] * len(pipelines)
    for place in range(max(map(len, pipelines), default=0)):
        going = [k for k, steps in enumerate(pipelines) if place < len(steps)]
        known: dict[Transform, dict[int, Array]] = {}
        mine = [known.setdefault(pipelines[k][place], {}) for k in going]
        for k, colours in zip(going, mine, strict=True):
            colours[id(held[k])] = held[k]
        for step, colours in known.items():
            after = step._apply(np.concatenate([*colours.values()]))
            colours.update(zip(colours, after.reshape(len(colours), *rgb.shape), strict=True))
        for k, colours in zip(going, mine, strict=True):
            held[k] = colours[id(held[k])]
    return held
