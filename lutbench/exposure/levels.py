"""Levels: signal and code values of subjects on a curve, before and after a LUT.

Exposure is in stops from mid grey (18 % reflectance): stops = log2(reflectance / 0.18). In a
scene that is exposed over on purpose, every subject is recorded that many stops higher.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import ArrayLike

from lutbench.errors import LutbenchError
from lutbench.exposure.filters import NEUTRAL_DENSITIES, FilterChoice, NeutralDensity, choose_filter
from lutbench.exposure.luminance import Shown
from lutbench.exposure.reading import (
    BLACK,
    DARK_SKIN,
    GREY,
    SKIN,
    WHITE,
    WHITE_CARD,
    AfterLut,
    Level,
    Reading,
    stops_of,
)
from lutbench.exposure.zebra import MARKED, Signal, Zebra, zebra_of
from lutbench.given import real
from lutbench.model.curves.base import Curve
from lutbench.model.signal import CODES_10_BIT, Range, RangeFromSignal, SignalFromRange, check_range
from lutbench.model.transforms import Array, Transform
from lutbench.results import PlainData, Result

SUBJECTS: tuple[tuple[float, str], ...] = (
    (BLACK, "no light"),
    (0.02, "black card"),
    (DARK_SKIN, "dark skin"),
    (GREY, "mid grey"),
    (SKIN, "light skin"),
    (WHITE_CARD, "white card"),
    (WHITE, "full white"),
)
"""Reflectance and name of the named lines."""

MOST_EXPOSED_STOPS = 6.0
"""Stops by which a scene may be exposed over or under on purpose: nobody exposes by more."""

MOST_STOPS = 16
"""Stops from mid grey, up and down, that are listed: more than any camera records."""

ONE_CODE = 1 / CODES_10_BIT
"""Signal of a 10-bit code: stops nearer than this are not apart in 10 bits."""

RAMP_SAMPLES = 4097
"""Samples from end to end of the recording: four to a 10-bit code."""


@dataclass(frozen=True)
class EndLight(PlainData):
    """Light at an end of the signal; `stops` is None for no light."""

    KEYS = ("reflectance", "stops")

    reflectance: float

    @property
    def stops(self) -> float | None:
        return stops_of(self.reflectance) if self.reflectance > 0 else None


@dataclass(frozen=True)
class Ends(PlainData):
    """The reflectance at 0 % and at 100 % of a signal; None where the signal does not reach it."""

    KEYS = ("zero_percent", "hundred_percent")

    zero: float | None
    full: float | None

    @property
    def zero_percent(self) -> EndLight | None:
        return None if self.zero is None else EndLight(self.zero)

    @property
    def hundred_percent(self) -> EndLight | None:
        return None if self.full is None else EndLight(self.full)


@dataclass(frozen=True, repr=False)
class Levels(Result):
    """The levels of a curve for the day.

    `source_range` and `target_range` are those of the LUT, and mean nothing without one.
    `exposed`: stops over, by which every subject is recorded brighter than its reflectance.
    """

    KEYS = (
        *("schema", "curve=curve.name", "curve_note=curve.note?", "codes=curve.codes"),
        *("range_note", "lut", "source_range", "target_range", "exposed_stops=exposed", "levels"),
        *("ends", "after_lut_ends=after_ends", "zebra", "neutral_density", "filter_choice"),
        "display=shown",
    )
    schema: ClassVar[Literal[1]] = 1
    neutral_density: ClassVar[tuple[NeutralDensity, ...]] = NEUTRAL_DENSITIES

    curve: Curve
    levels: tuple[Level, ...]
    ends: Ends
    zebra: Zebra
    lut: str | None = None
    source_range: Range = "full"
    target_range: Range = "full"
    after_ends: Ends | None = None
    filter_choice: FilterChoice | None = None
    exposed: float = 0.0
    shown: Shown | None = None

    @property
    def range_note(self) -> str:
        """Which columns of codes to read, and with a LUT what to set on the monitor."""
        published = {
            "legal": "The codes of this curve are published in legal range: read the legal "
            "columns. Read the full ones only if the file or cable is stretched to full range.",
            "full": "The codes of this curve are published in full range: read the full columns. "
            "Read the legal ones only if the file or cable carries the signal in legal range.",
        }[self.curve.codes]
        if self.lut is None:
            return published
        takes = {
            "legal": "Set the monitor so that the LUT gets legal-range (video) codes unchanged: "
            "black at 64 and nominal white at 940 in 10 bits.",
            "full": "Set the monitor so that the LUT gets full range (data), black at 0 and white "
            "at 1023 in 10 bits: a legal-range signal has to be stretched before the LUT.",
        }[self.source_range]
        return f"{published} {takes}"

    def at(self, reflectance: float) -> Level:
        """The line of a reflectance.

        Raises
        ------
        LutbenchError
            When there is none.
        """
        reflectance = real(reflectance, "reflectance")
        for each in self.levels:
            if math.isclose(each.reflectance, reflectance, abs_tol=1e-12):
                return each
        raise LutbenchError(
            f"there is no level for a reflectance of {reflectance:g}",
            accepted=", ".join(f"{each.reflectance:.4g}" for each in self.levels),
        )


def levels(
    curve: Curve,
    lut: Transform | None = None,
    *,
    lut_name: str = "",
    source_range: Range | None = None,
    target_range: Range | None = None,
    exposed: float = 0.0,
    zebra_min: float = 0.0,
    zebra_step: float = 5.0,
    over_exposure: float | None = None,
    filters: Sequence[float] = (),
    shown: Shown | None = None,
) -> Levels:
    """The signal levels of reflectances and stops on `curve`, and what `lut` makes of them.

    The arguments are those of `lutbench.levels`, as objects: `lut` is any transform of the
    recorded signal, full-scale values 0..1, with `lut_name` in the report; `exposed` is
    ``expose`` there; `shown` (see `lutbench.exposure.luminance.shown_on`) adds cd/m².

    Raises
    ------
    LutbenchError
        When a range, exposure, zebra or filter is out of range.

    >>> from lutbench.model.catalogue import open_catalogue
    >>> day = levels(open_catalogue(user=False).curve("BT.2100 HLG"))
    >>> [round(day.at(x).recorded.percent) for x in (0.18, 0.9, 1.0)]  # Report ITU-R BT.2408
    [38, 73, 75]
    """
    source_range = check_range(curve.formula_codes if source_range is None else source_range)
    target_range = check_range("full" if target_range is None else target_range)
    camera = _Camera(curve, exposed)
    through = _Through(lut, source_range, target_range) if lut is not None else None
    rows = [
        _level(label, camera.reading(light), light, through, shown)
        for light, label in _lights(camera)
    ]
    return Levels(
        curve=curve,
        levels=tuple(rows),
        ends=Ends(camera.light_at(0.0), camera.light_at(1.0)),
        zebra=zebra_of(
            zebra_min,
            zebra_step,
            Signal(camera.light_at, [camera.reading(light) for light, _ in MARKED], camera.clip),
            None if through is None else _output(camera, through),
        ),
        lut=(lut_name or None) if lut is None else (lut_name or repr(lut)),
        source_range=source_range,
        target_range=target_range,
        after_ends=_ends_after(camera, through) if through else None,
        filter_choice=None if over_exposure is None else choose_filter(over_exposure, filters),
        exposed=exposed,
        shown=shown,
    )


@dataclass(frozen=True)
class _Camera:
    """From reflectance to signal: a curve, and the stops that the scene is exposed over."""

    curve: Curve
    exposed: float = 0.0

    def __post_init__(self) -> None:
        if not abs(self.exposed) <= MOST_EXPOSED_STOPS:
            raise LutbenchError(
                f"an exposure of {self.exposed:+g} stops is out of range",
                accepted=f"-{MOST_EXPOSED_STOPS:g} to {MOST_EXPOSED_STOPS:g}",
            )

    @property
    def gain(self) -> float:
        return float(2.0**self.exposed)

    @property
    def clip(self) -> float:
        """The reflectance that is recorded at the highest code."""
        return self.curve.clip / self.gain

    def signal(self, light: float) -> float:
        return float(self.curve.encode(light * self.gain))

    def light_at(self, signal: float) -> float:
        """The reflectance that a signal stands for."""
        return float(self.curve.decode(signal)) / self.gain

    def reading(self, light: float) -> Reading:
        low, high = self.curve.ends
        return Reading(self.signal(light), low=low, high=high)


@dataclass(frozen=True)
class _Through:
    """A LUT with the range conversions before and after it."""

    lut: Transform
    source_range: Range
    target_range: Range

    def __call__(self, signal: ArrayLike) -> np.ndarray[Any, np.dtype[np.float64]]:
        """Signals of neutrals, shape (n,), to R G B signals, shape (n, 3)."""
        from lutbench.tables.nodes import checked_apply

        recorded = np.asarray(signal, dtype=np.float64)
        coded = RangeFromSignal(self.source_range).apply(np.repeat(recorded[:, None], 3, axis=1))
        values = np.clip(coded, 0, 1)
        return SignalFromRange(self.target_range).apply(checked_apply(self.lut, values))


def _level(
    label: str, reading: Reading, light: float, through: _Through | None, shown: Shown | None
) -> Level:
    after = _after(through, reading)
    if shown is None:
        return Level(label, light, reading, after)
    watched = (reading.held,) * 3 if after is None else after.rgb
    return Level(label, light, reading, after, shown.luminance(watched))


def _after(through: _Through | None, reading: Reading) -> AfterLut | None:
    if through is None:
        return None
    red, green, blue = through([reading.held])[0].tolist()
    return AfterLut((red + green + blue) / 3, (red, green, blue))


def _lights(camera: _Camera) -> list[tuple[float, str]]:
    """Reflectances and labels from dark to bright: the subjects, whole stops, and clip."""
    clip = camera.clip
    lights = dict(SUBJECTS)
    for stop in range(-MOST_STOPS, MOST_STOPS + 1):
        light = GREY * 2.0**stop
        if light >= clip or any(math.isclose(light, known) for known in lights):
            continue
        # The next stop down is less than a 10-bit code away: not worth a line.
        if stop < 0 and camera.signal(light) - camera.signal(light / 2) < ONE_CODE:
            continue
        lights[light] = f"{stop:+d} stops" if abs(stop) > 1 else f"{stop:+d} stop"
    known = next((each for each in lights if math.isclose(each, clip, rel_tol=1e-6)), None)
    lights[clip if known is None else known] = "clip" if known is None else f"{lights[known]}, clip"
    return sorted(lights.items())


def _ramp(camera: _Camera, through: _Through) -> tuple[Array, Array]:
    """The recorded signals from end to end, and the LUT's output for each as a grey."""
    signal = np.linspace(*camera.curve.ends, RAMP_SAMPLES)
    return signal, through(signal).mean(axis=1)


def _ends_after(camera: _Camera, through: _Through) -> Ends:
    """The light at which grey leaves 0 % and reaches 100 % after the LUT."""
    signal, out = _ramp(camera, through)
    black, white = out <= 1e-6, out >= 1 - 1e-6
    zero = camera.light_at(signal[black][-1]) if black.any() else None
    full = camera.light_at(signal[white][0]) if white.any() else None
    return Ends(zero, full)


def _output(camera: _Camera, through: _Through) -> Signal:
    """The LUT's output as a zebra sees it: marked from the first light that reaches a level."""
    signal, out = _ramp(camera, through)
    highest = np.maximum.accumulate(out)

    def light_at(level: float) -> float | None:
        reached = np.flatnonzero(highest >= level - 1e-9)
        if not reached.size:
            return None
        first = int(reached[0])
        if first == 0:
            return camera.light_at(float(signal[0]))
        below, above = highest[first - 1], highest[first]
        part = (level - below) / (above - below) if above > below else 1.0
        return camera.light_at(
            float(signal[first - 1] + part * (signal[first] - signal[first - 1]))
        )

    readings = [_after(through, camera.reading(light)) for light, _ in MARKED]
    top = int(np.flatnonzero(highest >= highest[-1] - ONE_CODE / 4)[0])
    clip = camera.light_at(float(signal[top]))
    return Signal(light_at, [each for each in readings if each is not None], clip)
