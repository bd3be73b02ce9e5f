"""The curves of a catalogue; those that differ only by a gain of light are one class."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from lutbench.model.catalogue import Catalogue
from lutbench.model.curves.base import Curve
from lutbench.model.interpolation import interp_uniform
from lutbench.model.signal import Range, range_of
from lutbench.model.transforms import Array

ONE_ENCODING = 2e-5
"""Signal within which two curves, after a gain, are the same encoding: the rounding of tables."""

DENSE_FROM = -0.3
"""The lowest signal in the dense table of a curve: a matrix gives light below 0."""

DENSE_TO = 1.6
"""The highest signal in the dense table of a curve: a matrix gives light above that of 1."""

LOG_LIGHT = np.linspace(-16.0, 9.0, 700)
"""Natural logarithms of light: the grid on which models of a target are computed."""

KEPT = 12
"""Axes of a curve for which decoded light is kept in memory."""

PQ_SCENE = "BT.2100 PQ"
"""The name of the PQ curve that encodes scene light."""

PQ_DISPLAY = "ST 2084"
"""The name of the PQ curve that encodes display light."""

_ORDER = {"standard": 0, "user": 1, "registry": 2}


@dataclass(frozen=True)
class CurveClass:
    """Curves that are the same encoding up to a gain of light; the best known name first.

    `gains` holds, for each name, its light over the light of the first.
    """

    curve: Curve
    names: tuple[str, ...]
    gains: tuple[float, ...]

    @property
    def name(self) -> str:
        """The name to report: PQ is one signal, whether it encodes scene or display light."""
        return PQ_SCENE if self.curve.name == PQ_DISPLAY else self.curve.name

    @property
    def same_as(self) -> list[str]:
        """The other names of this encoding."""
        return [name for name in self.names if name != self.name]

    @property
    def rendering(self) -> str | None:
        """``scene`` or ``display`` for a curve of PQ, where both exist."""
        if self.curve.name not in (PQ_SCENE, PQ_DISPLAY):
            return None
        return "display" if self.curve.name == PQ_DISPLAY else "scene"

    @cached_property
    def dense(self) -> tuple[Array, Array]:
        signal = np.linspace(DENSE_FROM, DENSE_TO, 1901)
        with np.errstate(all="ignore"):
            light = np.nan_to_num(self.curve.decode(signal), nan=0.0, posinf=1e30, neginf=-1e30)
        return signal, np.maximum.accumulate(light)

    @cached_property
    def kept(self) -> dict[tuple[str, bytes], Array]:
        """Decoded light kept in memory: see `End.of_axis`."""
        return {}

    @cached_property
    def by_log_light(self) -> Array:
        """The signal on the grid `LOG_LIGHT`."""
        return self.signal_near(np.exp(LOG_LIGHT))[0]

    def signal_near(self, light: Array) -> tuple[Array, Array]:
        """The signal of light and its slope from a dense table: quick, accurate to about 1e-5."""
        signal, table = self.dense
        place = np.clip(np.searchsorted(table, light), 1, len(table) - 1)
        low = table[place - 1]
        slope = (signal[1] - signal[0]) / np.maximum(table[place] - low, 1e-300)
        part = np.clip((light - low) * slope, 0, signal[1] - signal[0])
        return np.asarray(signal[place - 1] + part), slope


@dataclass(frozen=True)
class LightTables:
    """The light of many ends at once, from dense tables: accurate to about 3e-5 of the light."""

    tables: Array
    lows: Array
    spans: Array

    @classmethod
    def of(cls, ends: Sequence[End]) -> LightTables:
        """The tables of some ends."""
        scales = np.array([scale_of(end.range) for end in ends]).reshape(-1, 2)
        return cls(np.array([end.curve.dense[1] for end in ends]), scales[:, 0], scales[:, 1])

    def only(self, chosen: NDArray[np.int64]) -> LightTables:
        """The tables of some of the ends."""
        return LightTables(self.tables[chosen], self.lows[chosen], self.spans[chosen])

    def light(self, values: Array) -> Array:
        """Light of full-scale values (...) shared by all ends: (ends, ...)."""
        return self.of_own(self.shared(values))[0]

    def shared(self, values: Array) -> Array:
        """Values shared by all ends, repeated for each: (ends, ...)."""
        return np.broadcast_to(values, (len(self.lows), *values.shape))

    def of_own(self, own: Array) -> tuple[Array, Array]:
        """Light of each end's own full-scale values, (ends, ...), and its slope.

        Beyond a table the light is that of its last entry and the slope 0.
        """
        shape = (len(self.lows), *(1,) * (own.ndim - 1))
        last = self.tables.shape[1] - 1
        per_signal = last / (DENSE_TO - DENSE_FROM)
        scale = (per_signal / self.spans).reshape(shape)
        place = (own - (self.lows + DENSE_FROM * self.spans).reshape(shape)) * scale
        held = np.clip(place, 0, last - 1e-9)
        within = held == place
        cell = held.astype(np.int64)
        held -= cell
        cell += (np.arange(len(self.lows)) * self.tables.shape[1]).reshape(shape)
        flat = self.tables.ravel()
        below = flat[cell]
        rise = flat[cell + 1] - below
        return below + held * rise, rise * scale * within


@dataclass(frozen=True)
class End:
    """A curve in a signal range: one side of a conversion."""

    number: int
    curve: CurveClass
    range: Range

    def decode(self, values: Array) -> Array:
        """Light of full-scale values."""
        low, span = scale_of(self.range)
        with np.errstate(all="ignore"):
            return self.curve.curve.decode((values - low) / span)

    def light_near(self, values: Array) -> Array:
        """The same from the dense table: quick, accurate to about 3e-5 of the light."""
        low, span = scale_of(self.range)
        ends = low + DENSE_FROM * span, low + DENSE_TO * span
        return interp_uniform(values, *ends, self.curve.dense[1])

    def of_axis(self, values: Array) -> Array:
        """The same for inputs along an edge or the neutral axis; the latest results are kept,
        because every fit needs them.
        """
        kept, key = self.curve.kept, (self.range, values.tobytes())
        if key not in kept:
            if len(kept) >= KEPT:
                kept.clear()
            kept[key] = self.decode(values)
            kept[key].flags.writeable = False
        return kept[key]

    def values_near(self, light: Array) -> tuple[Array, Array]:
        """Full-scale values of light and their slope, from a dense table."""
        low, span = scale_of(self.range)
        signal, slope = self.curve.signal_near(light)
        return low + span * signal, span * slope

    def encode(self, light: Array) -> Array:
        """Full-scale values of light."""
        low, span = scale_of(self.range)
        with np.errstate(all="ignore"):
            return low + span * self.curve.curve.encode(light)


@lru_cache
def scale_of(name: Range, bits: int = 10) -> tuple[float, float]:
    """The full-scale value of signal 0, and the width of signal 0..1 in full scale."""
    low, high = range_of(bits, name)
    top = 2**bits - 1
    return low / top, (high - low) / top


def classes_of(catalogue: Catalogue) -> tuple[CurveClass, ...]:
    """The usable curves of a catalogue in classes; standards first."""
    entries = [each for each in catalogue.curves(exact=False) if each.curve and not each.unusable]
    entries.sort(key=lambda entry: _ORDER.get(entry.origin, 3))
    # Signal 0 may be black or below black, so curves are compared above it.
    signal = np.linspace(0.02, 1.0, 99)
    groups: list[tuple[Curve, Array, Array, list[str], list[float]]] = []
    for entry in entries:
        assert entry.curve is not None
        light = entry.curve.decode(signal)
        for _, other, slope, names, gains in groups:
            gain = float(light[70] / other[70]) if other[70] > 0 and light[70] > 0 else 0.0
            if gain > 0 and (np.abs(light / gain - other) <= ONE_ENCODING * slope).all():
                names.append(entry.name)
                gains.append(gain)
                break
        else:
            slope = np.gradient(light, signal)
            groups.append((entry.curve, light, slope, [entry.name], [1.0]))
    found = [(curve, names, gains) for curve, _, _, names, gains in groups]
    by_name = {curve.name: names for curve, names, _ in found}
    if PQ_SCENE in by_name and PQ_DISPLAY in by_name:
        # One signal, two renderings: each is listed as equal to the other.
        scene, display = list(by_name[PQ_SCENE]), list(by_name[PQ_DISPLAY])
        found = [
            (curve, names + (display if curve.name == PQ_SCENE else scene), gains)
            if curve.name in (PQ_SCENE, PQ_DISPLAY)
            else (curve, names, gains)
            for curve, names, gains in found
        ]
    return tuple(CurveClass(curve, tuple(names), tuple(gains)) for curve, names, gains in found)


def ends_of(classes: tuple[CurveClass, ...]) -> list[End]:
    """Every class in full and in legal range."""
    ranges: tuple[Range, Range] = ("full", "legal")
    return [End(i, each, name) for i, each in enumerate(classes) for name in ranges]
