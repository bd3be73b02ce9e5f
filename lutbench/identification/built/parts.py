"""The parts of a conversion with parameters: which are free, and how they are set.

Limits and defaults are those that the model declares at its fields, so every tone mapper of the
model is supported.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import Conversion, Place, mapping_into
from lutbench.model.curves.hdr import HlgScene
from lutbench.model.gamut_map import KNEE, MOST_KNEE
from lutbench.model.grade import Cdl, Saturation, gains
from lutbench.model.light import Display
from lutbench.model.parameter import Parameter, parameters
from lutbench.model.tone import ToneMapper, tone_mapper, tone_names
from lutbench.model.transforms import Array

MOST_STOPS = 6.0
"""The most stops of exposure in a LUT: as in the longest sets of viewing LUTs."""

KILO = 1000.0
"""cd/m² in the unit of an HLG display's peak: the reference display has 1000."""

MOST_GAIN = 4.0
"""The highest gain of a channel in a white balance, or slope of a CDL."""

LEFT = (
    *("grey_in", "grey_out", "white", "white_out", "below", "above", "gamma"),
    "source_black",
)
"""Settings of a tone that follow from the exposure or from source and target: not fitted."""


Put = Callable[[Conversion, Array], Conversion]


@dataclass(frozen=True)
class Part:
    """A part with parameters: their starts and limits, and a function that sets them."""

    name: str
    start: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    put: Put
    default: tuple[float, ...] | None = None
    """The values that change nothing, or that a recipe has by default."""

    grades: bool = False
    """Whether it is a grade that tints greys."""

    @property
    def begin(self) -> Array:
        """`start`, as an array."""
        return np.array(self.start)

    @property
    def usual(self) -> tuple[float, ...]:
        """`default`, or where it starts."""
        return self.start if self.default is None else self.default


NOTHING = Part("nothing more", (), (), (), lambda task, _: task)


def _exposed(task: Conversion, v: Array) -> Conversion:
    return replace(task, exposure=float(v[0]))


EXPOSURE = Part("exposure", (0.0,), (-MOST_STOPS,), (MOST_STOPS,), _exposed)


def _balanced(task: Conversion, v: Array) -> Conversion:
    return replace(task, white_balance=gains(*map(float, v)))


WHITE_BALANCE = Part("white balance", (1.0,) * 3, (1 / MOST_GAIN,) * 3, (MOST_GAIN,) * 3, _balanced)


def _compressed(task: Conversion, v: Array) -> Conversion:
    limits = tuple(map(float, v))
    return replace(task, compression=GamutCompression(limits=limits))  # type: ignore[arg-type]


COMPRESSION = Part("compression", GamutCompression().limits, (1.001,) * 3, (3.0,) * 3, _compressed)


def _mapped(task: Conversion, v: Array) -> Conversion:
    return replace(task, mapping=mapping_into(task, knee=float(v[0])))


MAPPING = Part("mapping", (KNEE,), (0.0,), (MOST_KNEE,), _mapped)


def _displayed(task: Conversion, v: Array) -> Conversion:
    display = Display(float(v[0]) * KILO)
    source, target = (
        replace(end, display=display) if isinstance(end.curve, HlgScene) else end
        for end in (task.source, task.target)
    )
    return replace(task, source=source, target=target)


HLG_DISPLAY = Part("peak of the display of HLG", (1.0,), (0.2,), (10.0,), _displayed)


@cache
def cdl(place: Place) -> Part:
    """An ASC CDL at a place."""

    def graded(task: Conversion, v: Array) -> Conversion:
        s, o, p = (tuple(map(float, v[k : k + 3])) for k in (0, 3, 6))
        # As recipes have it: light is not limited to 0..1.
        made = Cdl(s, o, p, float(v[9]), clamp=place != "light")  # type: ignore[arg-type]
        return replace(task, grade=(made,), grade_place=place)

    start = (1.0,) * 3 + (0.0,) * 3 + (1.0,) * 3 + (1.0,)
    low = (0.2,) * 3 + (-0.5,) * 3 + (0.2,) * 3 + (0.0,)
    high = (MOST_GAIN,) * 3 + (0.5,) * 3 + (5.0,) * 3 + (4.0,)
    return Part(f"CDL {place}", start, low, high, graded, grades=True)


def saturation(place: Place) -> Part:
    """A saturation at a place."""

    def graded(task: Conversion, v: Array) -> Conversion:
        return replace(task, grade=(Saturation(float(v[0])),), grade_place=place)

    return Part(f"saturation {place}", (1.0,), (0.0,), (4.0,), graded)


def fitted_settings(mapper: ToneMapper | type[ToneMapper]) -> list[Parameter]:
    """The numbers of a tone mapper that are fitted: those that the model declares with limits."""
    return [p for p in parameters(mapper) if p.limits and p.name not in (*LEFT, "blend")]


@cache
def tone(method: str) -> Part:
    """A tone mapper by its name, with its fitted settings."""
    mapper = tone_mapper(method)
    assert mapper is not None
    free = fitted_settings(mapper)
    names = [each.name for each in free]

    def toned(task: Conversion, v: Array) -> Conversion:
        given = {name: float(each) for name, each in zip(names, v, strict=True)}
        made = mapper.between(task.source, task.target, task.exposure, **given)
        return replace(task, tone=made)

    return _of_settings(method, free, toned)


def _of_settings(name: str, free: list[Parameter], put_them: Put) -> Part:
    """The part of some settings, which starts from their defaults."""
    low, high = (
        zip(*(each.limits or (0.0, 1.0) for each in free), strict=True) if free else ((), ())
    )
    usual = tuple(float(each.default) for each in free)
    start = tuple(map(_inside, usual, low, high))
    return Part(name, start, low, high, put_them, usual)


def tone_from(mapper: ToneMapper) -> Part:
    """`tone` of a mapper, starting from its settings."""
    part = tone(mapper.method)
    free = fitted_settings(mapper)
    start = (_inside(getattr(mapper, p.name), *(p.limits or (0.0, 1.0))) for p in free)
    return replace(part, start=tuple(start))


def toned_by(mapper: ToneMapper, names: list[str]) -> Part:
    """Some settings of an existing tone."""
    free = [each for each in parameters(mapper) if each.name in names]

    def toned(task: Conversion, v: Array) -> Conversion:
        given = {each.name: float(number) for each, number in zip(free, v, strict=True)}
        return replace(task, tone=replace(mapper, **given))

    return _of_settings("settings of the tone", free, toned)


def carried(on: str) -> Part:
    """A tone that acts on one value of a colour, with a blend to white."""

    def toned(task: Conversion, v: Array) -> Conversion:
        assert task.tone is not None
        made: Any = replace(task.tone, on=on, blend=float(v[0]))  # type: ignore[call-arg]
        return replace(task, tone=made)

    return Part(f"tone on {on}", (0.2,), (0.0,), (1.0,), toned, (0.0,))


def _inside(value: float, low: float, high: float) -> float:
    """A start a little inside its limits, where a step to either side can be taken."""
    reach = 0.02 * min(high - low, 10.0)
    return float(np.clip(value, low + reach, high - reach))


def tones(display: bool) -> list[str]:
    """The methods for display light, or for scene light, that have parameters."""
    found = []
    for name in tone_names()[1:]:
        mapper = tone_mapper(name)
        side = "display" if mapper is not None and mapper.side == "display" else None
        if mapper is not None and (side == "display") == display and parameters(mapper):
            found.append(name)
    return found


def put(task: Conversion | None, parts: tuple[Part, ...], values: Array) -> Conversion | None:
    """The description with the values of all parts; None where they are out of limits."""
    at = 0
    try:
        for part in parts:
            n = len(part.start)
            task = None if task is None else part.put(task, values[at : at + n])
            at += n
    except LutbenchError:
        return None
    return task
