"""Where light lands: signal levels and code values of a curve, before and after a LUT.

Exposure is in stops from mid grey (18 % reflectance); stops = log2(reflectance / 0.18).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from lutbench.errors import LutbenchError
from lutbench.exposure.luminance import Shown
from lutbench.model.curves.base import MID_GREY, Curve
from lutbench.model.signal import (
    Range,
    RangeFromSignal,
    SignalFromRange,
    check_range,
    code_from_signal,
    signal_from_full_scale,
)
from lutbench.model.transforms import Transform
from lutbench.results import Result
from lutbench.tables.nodes import examined

SCHEMA = 1
BIT_DEPTHS = (8, 10, 12)

BLACK, GREY, SKIN, WHITE_CARD, WHITE = 0.0, MID_GREY, 0.36, 0.90, 1.0

# Reflectance and name of the lines that do not stand on a whole stop by themselves.
# 36 % is one stop over mid grey, where light skin is commonly held.
SUBJECTS: tuple[tuple[float, str], ...] = (
    (BLACK, "no light"),
    (0.02, "black card"),
    (GREY, "mid grey"),
    (SKIN, "light skin"),
    (WHITE_CARD, "white card"),
    (WHITE, "full white"),
)

# Stops under this are not listed: a 10-bit code there is worth more than a stop.
MOST_STOPS = 16
ONE_CODE = 1 / 1023
ONE_CODE_8_BIT = 1 / 255


@dataclass(frozen=True)
class Reading:
    """A signal level as the instruments show it.

    `signal` is nominal: 0 black, 1 white. Values outside `low`..`high`, which is
    what the codes carry, are what the curve asks for; percent and code values are
    held there.
    """

    signal: float
    low: float = field(default=0.0, kw_only=True)
    high: float = field(default=1.0, kw_only=True)

    @property
    def held(self) -> float:
        """The signal that is recorded."""
        return min(max(self.signal, self.low), self.high)

    @property
    def percent(self) -> float:
        """Percent of the nominal signal (IRE), as zebra and waveform count it: 100·signal."""
        return 100 * self.held

    @property
    def percent_full_as_legal(self) -> float:
        """What a waveform that takes full-range codes for legal ones shows: (code - 64) / 876.

        >>> round(Reading(0.5).percent_full_as_legal, 1)
        51.1
        """
        full = min(max(self.held, 0.0), 1.0)
        return 100 * float(signal_from_full_scale(full))

    def code(self, bits: int, name: Range) -> int:
        """The code value on a carrier of that range, rounded.

        >>> Reading(0.5).code(10, "legal"), Reading(0.5).code(10, "full")
        (502, 512)
        """
        return math.floor(float(code_from_signal(self.held, bits, name)) + 0.5)

    def to_data(self) -> dict[str, Any]:
        """Signal, percent and code values as plain data."""
        return {
            "signal": self.signal,
            "percent": self.percent,
            "percent_full_as_legal": self.percent_full_as_legal,
            "code": {
                name: {str(bits): self.code(bits, name) for bits in BIT_DEPTHS}
                for name in ("full", "legal")
            },
        }


@dataclass(frozen=True)
class AfterLut(Reading):
    """What a LUT makes of a level: the mean of R G B, and the three."""

    rgb: tuple[float, float, float]

    def to_data(self) -> dict[str, Any]:
        return super().to_data() | {"rgb": list(self.rgb)}


@dataclass(frozen=True)
class Level:
    """A line of the table.

    `clipped` is ``"high"`` or ``"low"`` where the curve asks for more than the
    range holds, else empty. `stops` is minus infinity for no light. `luminance` is what a
    named display shows of the level, after the LUT where there is one, in cd/m².
    """

    label: str
    reflectance: float
    recorded: Reading
    after_lut: AfterLut | None = None
    luminance: float | None = None

    @property
    def stops(self) -> float:
        """Stops from mid grey."""
        return stops_of(self.reflectance)

    @property
    def clipped(self) -> str:
        """``"high"``, ``"low"`` or nothing."""
        if self.recorded.signal > self.recorded.high + 1e-9:
            return "high"
        return "low" if self.recorded.signal < self.recorded.low - 1e-9 else ""

    def to_data(self) -> dict[str, Any]:
        """The line as plain data; `stops` is None for no light."""
        return {
            "label": self.label,
            "reflectance": self.reflectance,
            "stops": self.stops if math.isfinite(self.stops) else None,
            "clipped": self.clipped or None,
            **self.recorded.to_data(),
            "luminance": self.luminance,
            "after_lut": self.after_lut.to_data() if self.after_lut else None,
        }


@dataclass(frozen=True)
class Ends:
    """Which light falls on 0 % and on 100 % of a signal; None where none reaches it."""

    zero: float | None
    full: float | None

    def to_data(self) -> dict[str, Any]:
        """Reflectance and stops at both ends."""
        return {
            name: None
            if light is None
            else {
                "reflectance": light,
                "stops": stops_of(light) if light > 0 else None,
            }
            for name, light in (("zero_percent", self.zero), ("hundred_percent", self.full))
        }


@dataclass(frozen=True)
class ZebraSetting:
    """What a zebra setting marks: everything from `reflectance` up."""

    percent: float
    reflectance: float

    def to_data(self) -> dict[str, Any]:
        """The setting as plain data."""
        stops = stops_of(self.reflectance)
        return {
            "percent": self.percent,
            "reflectance": self.reflectance,
            "stops": stops if math.isfinite(stops) else None,
        }


@dataclass(frozen=True)
class ZebraAdvice:
    """Which setting marks a subject; `setting` is None when the camera offers none."""

    subject: str
    reflectance: float
    percent: float
    setting: ZebraSetting | None
    text: str

    def to_data(self) -> dict[str, Any]:
        """The advice as plain data."""
        return {
            "subject": self.subject,
            "reflectance": self.reflectance,
            "percent": self.percent,
            "setting": self.setting.to_data() if self.setting else None,
            "text": self.text,
        }


@dataclass(frozen=True)
class Zebra:
    """The zebra settings a camera offers, on this curve."""

    minimum: float
    step: float
    settings: tuple[ZebraSetting, ...]
    advice: tuple[ZebraAdvice, ...]

    @property
    def marks_mid_grey(self) -> bool:
        """Whether a setting marks mid grey."""
        return any(each.setting for each in self.advice if each.reflectance == GREY)

    def to_data(self) -> dict[str, Any]:
        """Settings and advice as plain data."""
        return {
            "minimum": self.minimum,
            "step": self.step,
            "marks_mid_grey": self.marks_mid_grey,
            "settings": [each.to_data() for each in self.settings],
            "advice": [each.to_data() for each in self.advice],
        }


@dataclass(frozen=True)
class NeutralDensity:
    """A neutral density filter: density log10(1 / transmission), stops = density / log10(2).

    >>> filter = NeutralDensity(1.2)
    >>> filter.nominal_stops, round(filter.stops, 2), filter.factor
    (4, 3.99, 16)
    """

    density: float

    @property
    def nominal_stops(self) -> int:
        """Whole stops at 0.3 a stop."""
        return round(self.density / 0.3)

    @property
    def stops(self) -> float:
        """Stops by the density."""
        return self.density / math.log10(2)

    @property
    def factor(self) -> int:
        """How many times less light, as it is engraved: 2 to the nominal stops."""
        return 1 << self.nominal_stops

    def to_data(self) -> dict[str, Any]:
        """The filter as plain data."""
        return {
            "density": self.density,
            "nominal_stops": self.nominal_stops,
            "stops": self.stops,
            "factor": self.factor,
            "transmission": 10**-self.density,
        }


NEUTRAL_DENSITIES = tuple(NeutralDensity(round(0.3 * n, 1)) for n in range(1, 11))


@dataclass(frozen=True)
class FilterChoice:
    """The filters about a metered over-exposure: the one that leaves it over, the one under.

    `leaves` are the stops that remain: positive is over.
    """

    over: float
    weaker: NeutralDensity | None
    stronger: NeutralDensity | None

    @property
    def text(self) -> str:
        """The choice in words."""
        if self.stronger is None:
            most = NEUTRAL_DENSITIES[-1]
            left = self.over - most.stops
            return f"ND {most.density:.1f} still leaves {left:.1f} stops over: stop down as well"
        parts = [
            f"ND {each.density:.1f} leaves {abs(left):.1f} stops {'over' if left > 0 else 'under'}"
            if abs(left := self.over - each.stops) >= 0.05
            else f"ND {each.density:.1f} brings it back to within {abs(left):.2f} stop"
            for each in (self.weaker, self.stronger)
            if each is not None
        ]
        return f"{self.over:.1f} stops over: " + "; ".join(parts)

    def to_data(self) -> dict[str, Any]:
        """The choice as plain data."""

        def side(each: NeutralDensity | None) -> dict[str, Any] | None:
            return None if each is None else each.to_data() | {"leaves": self.over - each.stops}

        return {
            "over_exposure_stops": self.over,
            "weaker": side(self.weaker),
            "stronger": side(self.stronger),
            "text": self.text,
        }


@dataclass(frozen=True, repr=False)
class Levels(Result):
    """The levels of a curve for the day.

    `source_range` and `target_range` say what the LUT takes and gives; without
    a LUT they say nothing.
    """

    curve: Curve
    levels: tuple[Level, ...]
    ends: Ends
    zebra: Zebra
    lut: str | None = None
    source_range: Range = "full"
    target_range: Range = "full"
    after_ends: Ends | None = None
    filter_choice: FilterChoice | None = None
    shown: Shown | None = None

    @property
    def range_note(self) -> str:
        """How the codes are to be read, and with a LUT what to set on the monitor."""
        published = {
            "legal": "Codes are published as legal codes: read the legal columns, the full ones "
            "only for a file or a cable that is stretched to full range.",
            "full": "Codes are published as full-range codes: read the full columns, the legal "
            "ones for a file or a cable that carries the signal in legal range.",
        }[self.curve.codes]
        if self.lut is None:
            return published
        takes = {
            "legal": "Set the monitor so that the LUT gets legal (video) codes as they come, black "
            "at 64 and nominal white at 940 of ten bits.",
            "full": "Set the monitor so that the LUT gets full range (data), black at 0 and white "
            "at 1023 of ten bits: a legal signal has to be stretched before the LUT.",
        }[self.source_range]
        return f"{published} {takes}"

    def at(self, reflectance: float) -> Level:
        """The line of a reflectance.

        Raises
        ------
        LutbenchError
            When there is none.
        """
        for each in self.levels:
            if math.isclose(each.reflectance, reflectance, abs_tol=1e-12):
                return each
        raise LutbenchError(f"no level stands at a reflectance of {reflectance:g}")

    def to_data(self) -> dict[str, Any]:
        """All of it as plain data: the object that ``lutbench levels --json`` prints."""
        return {
            "schema": SCHEMA,
            "curve": self.curve.name,
            "curve_note": self.curve.note or None,
            "codes": self.curve.codes,
            "range_note": self.range_note,
            "lut": self.lut,
            "source_range": self.source_range,
            "target_range": self.target_range,
            "levels": [each.to_data() for each in self.levels],
            "ends": self.ends.to_data(),
            "after_lut_ends": self.after_ends.to_data() if self.after_ends else None,
            "zebra": self.zebra.to_data(),
            "neutral_density": [each.to_data() for each in NEUTRAL_DENSITIES],
            "filter_choice": self.filter_choice.to_data() if self.filter_choice else None,
            "display": self.shown.to_data() if self.shown else None,
        }


def stops_of(reflectance: float) -> float:
    """Stops from mid grey; minus infinity for no light.

    >>> stops_of(0.36)
    1.0
    """
    return math.log2(reflectance / MID_GREY) if reflectance > 0 else -math.inf


def levels(
    curve: Curve,
    lut: Transform | None = None,
    *,
    lut_name: str = "",
    source_range: Range | None = None,
    target_range: Range | None = None,
    zebra_min: float = 0.0,
    zebra_step: float = 5.0,
    over_exposure: float | None = None,
    shown: Shown | None = None,
) -> Levels:
    """Where reflectances and stops land on `curve`, and what `lut` makes of them.

    Parameters
    ----------
    curve
        The curve that the camera records.
    lut
        Anything that takes the recorded signal, full-scale values 0..1.
    source_range, target_range
        How the values that go into the LUT and come out of it are laid out; what goes in
        as the codes of the curve are published unless given.
    zebra_min, zebra_step
        The lowest zebra the camera offers and its steps, percent of signal.
    over_exposure
        Stops that a meter shows too many: adds the choice of filter.
    shown
        The display on which the recording, or what comes out of the LUT, is watched: adds
        cd/m² (`lutbench.exposure.luminance.shown_on`).

    >>> from lutbench.model.catalogue import open_catalogue
    >>> day = levels(open_catalogue(user=False).curve("BT.2100 HLG"))
    >>> [round(day.at(x).recorded.percent) for x in (0.18, 0.9, 1.0)]  # Report ITU-R BT.2408
    [38, 73, 75]
    """
    source_range = check_range(curve.formula_codes if source_range is None else source_range)
    target_range = check_range("full" if target_range is None else target_range)
    through = _Through(lut, source_range, target_range) if lut is not None else None
    rows = [
        _level(label, reading_of(curve, light), light, through, shown)
        for light, label in _lights(curve)
    ]
    return Levels(
        curve=curve,
        levels=tuple(rows),
        ends=_ends(curve),
        zebra=_zebra(curve, rows, zebra_min, zebra_step),
        lut=(lut_name or None) if lut is None else (lut_name or repr(lut)),
        source_range=source_range,
        target_range=target_range,
        after_ends=_ends_after(curve, through) if through else None,
        filter_choice=None if over_exposure is None else choose_filter(over_exposure),
        shown=shown,
    )


def reading_of(curve: Curve, light: float) -> Reading:
    """Where a light lands on a curve."""
    low, high = curve.ends
    return Reading(float(curve.encode(light)), low=low, high=high)


def choose_filter(over: float) -> FilterChoice:
    """The neutral density filters on both sides of an over-exposure in stops.

    >>> choose_filter(3.2).text
    '3.2 stops over: ND 0.9 leaves 0.2 stops over; ND 1.2 leaves 0.8 stops under'
    """
    if not 0 < over <= 20:
        raise LutbenchError(
            f"an over-exposure of {over:g} stops is out of limits", accepted="over 0 to 20"
        )
    weaker = [each for each in NEUTRAL_DENSITIES if each.nominal_stops <= over]
    stronger = [each for each in NEUTRAL_DENSITIES if each.nominal_stops > over]
    exact = bool(weaker) and weaker[-1].nominal_stops == over
    return FilterChoice(
        over,
        weaker[-1] if weaker and not exact else None,
        weaker[-1] if exact else stronger[0] if stronger else None,
    )


@dataclass(frozen=True)
class _Through:
    """A LUT with what its ranges need before and after it."""

    lut: Transform
    source_range: Range
    target_range: Range

    def __call__(self, signal: ArrayLike) -> np.ndarray[Any, np.dtype[np.float64]]:
        """Signals of neutrals, shape (n,), to R G B signals, shape (n, 3)."""
        recorded = np.asarray(signal, dtype=np.float64)
        laid_out = RangeFromSignal(self.source_range).apply(np.repeat(recorded[:, None], 3, axis=1))
        values = np.clip(laid_out, 0, 1)
        return SignalFromRange(self.target_range).apply(examined(self.lut, values))


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


def _lights(curve: Curve) -> list[tuple[float, str]]:
    """Reflectances and labels from dark to bright: the subjects, whole stops, and clip."""
    clip = curve.clip
    lights = dict(SUBJECTS)
    for stop in range(-MOST_STOPS, MOST_STOPS + 1):
        light = MID_GREY * 2.0**stop
        if light >= clip or any(math.isclose(light, known) for known in lights):
            continue
        # Under this stop the next one down is nearer than a 10-bit code: nothing to set by.
        if stop < 0 and float(curve.encode(light) - curve.encode(light / 2)) < ONE_CODE:
            continue
        lights[light] = f"{stop:+d} stops" if abs(stop) > 1 else f"{stop:+d} stop"
    known = next((each for each in lights if math.isclose(each, clip, rel_tol=1e-6)), None)
    lights[clip if known is None else known] = "clip" if known is None else f"{lights[known]}, clip"
    return sorted(lights.items())


def _ends(curve: Curve) -> Ends:
    return Ends(float(curve.decode(0.0)), float(curve.decode(1.0)))


def _ends_after(curve: Curve, through: _Through) -> Ends:
    """The light at which a neutral leaves 0 % and reaches 100 % after the LUT."""
    signal = np.linspace(*curve.ends, 4097)
    out = through(signal).mean(axis=1)
    black, white = out <= 1e-6, out >= 1 - 1e-6
    zero = float(curve.decode(signal[black][-1])) if black.any() else None
    full = float(curve.decode(signal[white][0])) if white.any() else None
    return Ends(zero, full)


def _zebra(curve: Curve, rows: list[Level], minimum: float, step: float) -> Zebra:
    if not 0 <= minimum <= 100:
        raise LutbenchError(
            f"a lowest zebra of {minimum:g} % is out of limits", accepted="0 to 100"
        )
    if not 0.5 <= step <= 50:
        raise LutbenchError(f"a zebra step of {step:g} % is out of limits", accepted="0.5 to 50")
    count = int((100 - minimum) / step + 1e-9)
    percents = [minimum + step * k for k in range(count + 1)]
    settings = tuple(
        ZebraSetting(percent, max(float(curve.decode(percent / 100)), 0.0))
        for percent in percents
        if percent > 0
    )
    marked = (GREY, SKIN, WHITE_CARD, WHITE)
    after = {each.reflectance: each.after_lut for each in rows}
    card = _advice(WHITE_CARD, "white card", reading_of(curve, WHITE_CARD), settings, "")
    instead = _instead(after.get(GREY), card.setting)
    advice = tuple(
        _advice(light, name, reading_of(curve, light), settings, instead)
        for light, name in SUBJECTS
        if light in marked
    )
    return Zebra(minimum, step, settings, advice)


def _advice(
    light: float,
    name: str,
    reading: Reading,
    settings: tuple[ZebraSetting, ...],
    instead: str,
) -> ZebraAdvice:
    lowest = settings[0].percent if settings else 100.0
    at = f"{name} ({100 * light:.0f} %) lies at {reading.percent:.0f} %"
    if reading.signal > reading.high + 1e-9:
        text = f"{at}: it is clipped, so no zebra tells how far over it is"
        return ZebraAdvice(name, light, reading.percent, None, text)
    below = [each for each in settings if each.percent <= reading.percent + 1e-9]
    if not below:
        text = f"{at}, under the lowest zebra of {lowest:.0f} %: the zebra cannot mark it"
        if light == GREY:
            text += ". " + instead
        return ZebraAdvice(name, light, reading.percent, None, text)
    best = below[-1]
    short = stops_of(light) - stops_of(best.reflectance)
    text = f"{at}: zebra {best.percent:g} % starts "
    text += "just there" if short < 0.05 else f"{short:.1f} stops under it"
    return ZebraAdvice(name, light, reading.percent, best, text)


def _instead(after: AfterLut | None, card: ZebraSetting | None) -> str:
    """What to do when no zebra marks mid grey: a zebra on the white card only if one marks it."""
    monitor = "the LUT's own grey level on the monitor"
    if after is not None:
        monitor = f"the grey card at {after.percent:.0f} % after the LUT on the monitor's waveform"
    zebra = "" if card is None else f"a zebra of {card.percent:g} % on a 90 % white card, "
    return f"Instead: {zebra}{monitor}, or a false-colour LUT"
