"""Zebra: what each setting marks, on the recording and on a LUT's output, and highlight guards."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from lutbench.errors import LutbenchError
from lutbench.exposure.reading import GREY, SKIN, WHITE, WHITE_CARD, AfterLut, Reading, stops_of
from lutbench.results import PlainData

MARKED = (
    (GREY, "mid grey"),
    (SKIN, "light skin"),
    (WHITE_CARD, "white card"),
    (WHITE, "full white"),
)
"""The subjects that a zebra is set for."""

GUARD_STOPS = 0.5
"""Stops below clipping at which a zebra must warn: soon enough to close the iris."""


@dataclass(frozen=True)
class ZebraSetting(PlainData):
    """What a zebra setting marks: everything from `reflectance` up."""

    KEYS = ("percent", "reflectance", "stops")

    percent: float
    reflectance: float

    @property
    def stops(self) -> float | None:
        """Stops from mid grey; None for no light."""
        stops = stops_of(self.reflectance)
        return stops if math.isfinite(stops) else None


@dataclass(frozen=True)
class ZebraAdvice(PlainData):
    """Which setting marks a subject; `setting` is None if the camera offers none that does."""

    subject: str
    reflectance: float
    percent: float
    setting: ZebraSetting | None
    text: str


@dataclass(frozen=True)
class HighlightGuard(PlainData):
    """The highest setting that still warns before highlights clip.

    `before_clip` is the number of stops from what it marks to where the signal clips: for the
    recording at its last code, for a LUT's output at 100 % or where it stops rising.
    `after_lut` says whether the zebra is on the LUT's output.
    """

    KEYS = (
        "setting",
        "before_clip_stops=before_clip",
        "recorded_above_stops=recorded_above",
        "text",
    )

    setting: ZebraSetting
    before_clip: float
    after_lut: bool
    recorded_above: float | None = None
    """Stops that the recording holds above the LUT's clipping point; None on the recording."""

    @property
    def text(self) -> str:
        """The guard in words."""
        marks = f"{self.setting.percent:g} % marks {stops_of(self.setting.reflectance):+.1f} stops"
        if not self.after_lut:
            return f"highlights: {marks}, {self.before_clip:.1f} stops before the recording clips"
        text = f"highlights: {marks}, {self.before_clip:.1f} stops before the LUT's white"
        if self.recorded_above is not None and self.recorded_above >= 0.1:
            text += f"; the recording holds {self.recorded_above:.1f} stops more"
        return text


@dataclass(frozen=True)
class ZebraMarks(PlainData):
    """What the settings of a zebra mark on one signal."""

    KEYS: ClassVar[tuple[str, ...]] = ("settings", "advice", "highlights=guard")

    settings: tuple[ZebraSetting, ...]
    advice: tuple[ZebraAdvice, ...]
    guard: HighlightGuard | None = None

    @property
    def lines(self) -> list[str]:
        """Advice and guard in words."""
        return [each.text for each in self.advice] + ([self.guard.text] if self.guard else [])


@dataclass(frozen=True, kw_only=True)
class Zebra(ZebraMarks):
    """The zebra settings that a camera or a monitor offers, on the recording and after a LUT.

    `minimum` and `step` are in percent of signal.
    """

    KEYS = ("minimum", "step", "marks_mid_grey", *ZebraMarks.KEYS, "after_lut")

    minimum: float
    step: float
    after_lut: ZebraMarks | None = None
    """The same for a zebra on the LUT's output."""

    @property
    def marks_mid_grey(self) -> bool:
        """Whether a setting marks mid grey."""
        return any(each.setting for each in self.advice if each.reflectance == GREY)


@dataclass(frozen=True)
class Signal:
    """A signal that a zebra can be set on.

    `light_at` gives the reflectance for a signal, or None if no light reaches it; `readings`
    are those of the subjects in `MARKED`; `clip` is the reflectance at which it clips.
    """

    light_at: Any
    readings: Sequence[Reading]
    clip: float


def offered(minimum: float, step: float) -> list[float]:
    """The settings of a zebra in percent, from its lowest in steps up to 100.

    Raises LutbenchError when a number is out of range.
    """
    if not 0 <= minimum <= 100:
        raise LutbenchError(f"a lowest zebra of {minimum:g} % is out of range", accepted="0 to 100")
    if not 0.5 <= step <= 50:
        raise LutbenchError(f"a zebra step of {step:g} % is out of range", accepted="0.5 to 50")
    count = int((100 - minimum) / step + 1e-9)
    return [percent for k in range(count + 1) if (percent := minimum + step * k) > 0]


def zebra_of(minimum: float, step: float, recorded: Signal, after: Signal | None) -> Zebra:
    """What the settings mark on the recording and after the LUT.

    Raises LutbenchError when `minimum` or `step` is out of range.
    """
    percents = offered(minimum, step)
    settings = _settings(percents, recorded)
    card = _advice(*MARKED[2], recorded.readings[2], settings, "")
    grey_after = after.readings[0] if after is not None else None
    instead = _instead(grey_after, card.setting)
    on_output = None
    if after is not None and (seen := _settings(percents, after)):
        on_output = ZebraMarks(seen, _all_advice(after, seen, ""), _guard(seen, after, recorded))
    return Zebra(
        settings,
        _all_advice(recorded, settings, instead),
        _guard(settings, recorded),
        minimum=minimum,
        step=step,
        after_lut=on_output,
    )


def _settings(percents: list[float], signal: Signal) -> tuple[ZebraSetting, ...]:
    lights = ((percent, signal.light_at(percent / 100)) for percent in percents)
    return tuple(
        ZebraSetting(percent, max(light, 0.0)) for percent, light in lights if light is not None
    )


def _guard(
    settings: tuple[ZebraSetting, ...], signal: Signal, recorded: Signal | None = None
) -> HighlightGuard | None:
    top = stops_of(signal.clip)
    found = [
        (each, top - stops_of(each.reflectance))
        for each in settings
        if each.reflectance > GREY and top - stops_of(each.reflectance) >= GUARD_STOPS
    ]
    if not found:
        return None
    setting, left = found[-1]
    above = None if recorded is None else stops_of(recorded.clip) - top
    return HighlightGuard(setting, left, recorded is not None, above)


def _all_advice(
    signal: Signal, settings: tuple[ZebraSetting, ...], instead: str
) -> tuple[ZebraAdvice, ...]:
    pairs = zip(MARKED, signal.readings, strict=True)
    return tuple(_advice(*subject, reading, settings, instead) for subject, reading in pairs)


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
        text = f"{at}: it is clipped, so a zebra cannot show how far over it is"
        return ZebraAdvice(name, light, reading.percent, None, text)
    below = [each for each in settings if each.percent <= reading.percent + 1e-9]
    if not below:
        text = f"{at}, under the lowest zebra setting of {lowest:.0f} %: the zebra cannot mark it"
        if light == GREY and instead:
            text += ". " + instead
        return ZebraAdvice(name, light, reading.percent, None, text)
    best = below[-1]
    if best.reflectance <= 0:
        text = f"{at}: zebra {best.percent:g} % marks the whole picture"
        return ZebraAdvice(name, light, reading.percent, None, text)
    short = stops_of(light) - stops_of(best.reflectance)
    text = f"{at}: zebra {best.percent:g} % starts "
    text += "exactly there" if short < 0.05 else f"{short:.1f} stops under it"
    return ZebraAdvice(name, light, reading.percent, best, text)


def _instead(after: Reading | None, card: ZebraSetting | None) -> str:
    """What to use if no zebra marks mid grey; a zebra on the white card only if one marks it."""
    monitor = "the LUT's own grey level on the monitor"
    if isinstance(after, AfterLut):
        monitor = f"the grey card at {after.percent:.0f} % after the LUT on the monitor's waveform"
    zebra = "" if card is None else f"a zebra of {card.percent:g} % on a 90 % white card, "
    return f"Instead: {zebra}{monitor}, or a false-colour LUT"
