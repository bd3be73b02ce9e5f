"""A hypothesis of what is inside a LUT, and how well it predicts the nodes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import LEAST, SIX_DECIMALS
from lutbench.identification.curvebank import End, scale_of
from lutbench.identification.gamutbank import Pair
from lutbench.identification.lightsteps import AFTER, LOOKS
from lutbench.identification.samples import CODES, Samples
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import Conversion
from lutbench.model.curves.base import Curve
from lutbench.model.curves.hdr import HlgScene, HlgSystemGamma
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.gamuts import BT2020
from lutbench.model.signal import Range
from lutbench.model.transforms import Array, Matrix, Transform
from lutbench.tables.lut import lattice_of

if TYPE_CHECKING:
    from lutbench.identification.carriers import Carrier

SMALL = 0.01
"""Light is tabulated in asinh(light / this): nearly linear below it, in stops above it."""

FEW_INSIDE = 0.02
"""The share of nodes in gamut below which all nodes count: too few would decide otherwise."""


@dataclass(frozen=True)
class ToneTarget:
    """A target whose curve is known only as a table: tone and encoding in one.

    `curve` takes light (after the exposure of the hypothesis) to signal.
    `based_on` is the end whose encoding it contains: seen over a stretch of the curve, or
    only `guessed`, because it gives the smoothest tone curve.
    """

    curve: Curve
    range: Range
    based_on: End | None = None
    guessed: bool = False

    def encode(self, light: Array) -> Array:
        """Full-scale values of light."""
        low, span = scale_of(self.range)
        bent, signal = self._dense
        return np.asarray(low + span * np.interp(np.arcsinh(light / SMALL), bent, signal))

    def decode(self, values: Array) -> Array:
        """Light of full-scale values."""
        low, span = scale_of(self.range)
        return self.curve.decode((values - low) / span)

    @cached_property
    def _dense(self) -> tuple[Array, Array]:
        """The curve as a table, since the inverse of a spline is slow to find for each node.

        Beyond the ends it is straight in asinh(light), so one far point is enough.
        """
        points = self.curve.signal if isinstance(self.curve, Tabulated) else (0.0, 1.0)
        low, high = points[0], points[-1]
        signal = np.r_[low - 0.3, np.linspace(low, high, 4097), high + 0.3]
        bent = np.arcsinh(self.curve.decode(signal) / SMALL)
        return bent, signal


@dataclass(frozen=True)
class Hypothesis:
    """Source, matrix, target, and what comes between and after.

    out = range(grade(clip(T(compression(2^stops · M · light))))), light the
    decoded input; the result is clipped where the LUT itself clips.
    """

    source: End
    target: End | ToneTarget
    pair: Pair
    stops: float = 0.0
    compression: Transform | None = None
    """A gamut compression, or another step on light before the curve."""
    grade: tuple[Transform, ...] = ()
    rendering: HlgSystemGamma | None = None
    """The system gamma of HLG, where the source's light is that of its display."""
    gains: tuple[float, float, float] | None = None
    """What each channel of light in is multiplied by: a white balance, printer lights."""

    inset: Matrix | None = None
    """A matrix on light in the target gamut, before the tone curve."""
    norm: Carrier | None = None
    """What the tone curve acts on, where it is not each channel."""

    built: Conversion | None = None
    """The whole description, where its numbers are known: it alone then gives the output."""

    @property
    def has_tone(self) -> bool:
        """Whether a tone curve stands between source and target."""
        return isinstance(self.target, ToneTarget) or bool(self.built and self.built.tone)

    @property
    def target_end(self) -> End | None:
        """The known encoding of the output, or None."""
        return self.target if isinstance(self.target, End) else self.target.based_on

    def without_grade(self) -> Hypothesis:
        """The same without a look: what follows the encoding, and steps on light that are one."""
        made = self.built
        if made is not None and made.grade_place == "after":
            made = replace(made, grade=())
        before = None if isinstance(self.compression, LOOKS) else self.compression
        return replace(self, grade=(), compression=before, built=made)

    @property
    def gamuts(self) -> tuple[str | None, str | None]:
        """The names of the source and target gamuts; None where the LUT does not show them.

        An OOTF, or a tone curve on luminance, weighs the channels by a gamut, which shows it.
        """
        if not self.pair.alike:
            return self.pair.source.name, self.pair.target.name
        if self.rendering is not None:
            return BT2020.name, BT2020.name
        if self.norm is not None:
            return self.norm.gamut, self.norm.gamut
        made = self.built
        if made is None or made.kind == "curve" or not _weighs(made):
            return None, None
        return made.source.gamut.name, made.target.gamut.name

    @property
    def beside(self) -> tuple[str, ...]:
        """What the LUT has besides curves, a matrix and a grade, each as a phrase."""
        if self.built is None and isinstance(self.compression, GamutCompression):
            return (_compression_words(self.compression), *self.left_out)
        return self.left_out

    @property
    def left_out(self) -> tuple[str, ...]:
        """The phrases for what `split` has no part for."""
        phrases = [] if self.built is None else list(_beside(self.built))
        if isinstance(self.compression, LOOKS):
            phrases.append(str(self.compression))
        phrases += [str(step) for step in self.grade if isinstance(step, AFTER)]
        if self.rendering is not None:
            phrases.append(f"the light of an HLG display of {self.rendering.peak:.0f} cd/m²")
        if self.gains is not None:
            red, _, blue = np.log2(self.gains)
            phrases.append(
                f"gains of {red:+.2f} stops in red and {blue:+.2f} in blue".replace("-", "−")
            )
        if self.inset is not None:
            phrases.append(_inset_words(self.inset))
        if self.norm is not None:
            phrases.append(f"a tone curve on {self.norm.words}")
        return tuple(phrases)

    @property
    def matrix(self) -> Array:
        """The matrix of the pair of gamuts, gains before it and the exposure with it."""
        gains = np.ones(3) if self.gains is None else np.array(self.gains)
        matrix = self.pair.matrix * gains * 2.0**self.stops
        return np.asarray(matrix if self.inset is None else self.inset.array @ matrix)

    def light(self, light_in: Array) -> Array:
        """Light before the target's curve, of decoded input."""
        if self.rendering is not None:
            light_in = self.rendering.apply(light_in)
        light = light_in @ self.matrix.T
        return self.compression.apply(light) if self.compression else light

    def lattice_light(self, axis: Array) -> Array:
        """The same for all nodes of a lattice with decoded inputs along each edge, (m, m, m, 3).

        Each channel is contiguous in memory, because they are computed one by one.
        """
        if self.rendering is not None:
            return self.light(lattice_of(axis, axis, axis))
        rows = self.matrix
        red, green, blue = axis[:, None, None], axis[:, None], axis
        planes = np.empty((3, len(axis), len(axis), len(axis)))
        for plane, (r, g, b) in zip(planes, rows, strict=True):
            np.add(r * red + g * green, b * blue, out=plane)
        light = np.moveaxis(planes, 0, -1)
        return self.compression.apply(light) if self.compression else light

    def out(self, light: Array, *, clip: bool) -> Array:
        """Full-scale values of the light from `light`; clipped to signal 0..1 with `clip`."""
        values = self.target.encode(light) if self.norm is None else self._toned(light)
        low, span = scale_of(self.target.range)
        if clip:
            values = np.clip(values, low, low + span)
        if self.grade:
            signal = (values - low) / span
            for step in self.grade:
                signal = step.apply(signal)
            values = low + span * signal
        return values

    def _toned(self, light: Array) -> Array:
        """Full-scale values where the tone curve acts on one number of each colour."""
        end = self.target_end
        assert end is not None
        assert self.norm is not None
        level = self.norm.value(light)
        shown = end.decode(self.target.encode(level))
        return end.encode(self.norm.moved(light, level, shown))

    def apply(self, values: Array, *, clip: bool = True) -> Array:
        """Full-scale output of full-scale input, shape (..., 3)."""
        if self.built is not None:
            return np.asarray(self.built.pipeline().apply(values))
        return self.out(self.light(self.source.decode(values)), clip=clip)


@dataclass(frozen=True)
class Forecast:
    """The prediction of a hypothesis for every node, and its difference from the LUT.

    `inside` marks the nodes whose light lies in the target gamut: the others depend on
    clipping and compression, in which conversions differ.
    """

    values: Array
    miss: Array
    inside: NDArray[np.bool_]

    @property
    def counted(self) -> NDArray[np.bool_]:
        """The nodes that count: those in gamut, or all where they are few."""
        return self.inside if self.inside.mean() > FEW_INSIDE else np.ones_like(self.inside)

    @property
    def median(self) -> float:
        """The median error in codes."""
        return float(np.median(np.abs(self.miss[self.counted])))

    @property
    def p95(self) -> float:
        """The 95th percentile of the error in codes."""
        return float(np.percentile(np.abs(self.miss[self.counted]), 95))

    @property
    def rms(self) -> float:
        """The root mean square error in codes."""
        return float(np.sqrt(np.mean(self.miss[self.counted] ** 2)))


def _weighs(made: Conversion) -> bool:
    """Whether something in a description weighs the channels by their gamut."""
    shown = made.source.display is not None or made.target.display is not None
    return shown or (made.tone is not None and not made.tone.per_channel)


def _inset_words(inset: Matrix) -> str:
    """A matrix on light in the target gamut, in words: a saturation, or one undone later."""
    rows = inset.array
    luma = np.array([rows[1, 0], rows[0, 1], rows[0, 2]])
    if np.abs(rows - luma - np.eye(3) * (1 - luma.sum())).max() < SIX_DECIMALS:
        if abs(1 - luma.sum()) < SIX_DECIMALS:
            return "luminance alone (monochrome)"
        return f"a saturation of {1 - luma.sum():.2f} in light"
    return "a matrix before the tone curve that the one after it undoes"


def _compression_words(compression: GamutCompression) -> str:
    usual = GamutCompression()
    if compression == usual:
        return "the reference gamut compression"
    told = f"a gamut compression with limits of {_listed(compression.limits)}"
    if compression == replace(usual, limits=compression.limits):
        return told
    return f"{told}, thresholds of {_listed(compression.thresholds)}, power {compression.power:.3g}"


def _listed(numbers: Sequence[float]) -> str:
    *most, last = (f"{each:.4g}" for each in numbers)
    return f"{', '.join(most)} and {last}"


def _beside(task: Conversion) -> Iterator[str]:
    """What a description has besides curves, gamuts, tone and a look after them."""
    for end in (task.source, task.target):
        if isinstance(end.curve, HlgScene) and end.display is not None:
            yield f"the light of an HLG display of {end.display.peak:.0f} cd/m²"
    if task.white_balance is not None:
        red, green, blue = np.diag(task.white_balance.array)
        yield f"a white balance by gains of {red:.3g}, {green:.3g} and {blue:.3g}"
    if task.compression is not None:
        yield _compression_words(task.compression)
    if task.mapping is not None:
        yield f"a gamut mapping with a knee of {task.mapping.knee:.3g}"
    if task.grade and task.grade_place != "after":
        place = "the source signal" if task.grade_place == "before" else "linear light"
        yield f"a grade on {place}"


def forecast(hypothesis: Hypothesis, samples: Samples) -> Forecast:
    """The prediction of a hypothesis for every node, clipped where the LUT clips."""
    axis = np.nan_to_num(
        hypothesis.source.of_axis(samples.axis), nan=0.0, posinf=1e30, neginf=-1e30
    )
    light = hypothesis.lattice_light(axis)
    dark = -1e-6 * max(float(np.abs(axis).max()), 1e-9)
    inside = (light[..., 0] >= dark) & (light[..., 1] >= dark) & (light[..., 2] >= dark)
    low, span = scale_of(hypothesis.target.range)
    if hypothesis.built is not None:
        values = hypothesis.apply(samples.nodes)
    else:
        values = hypothesis.out(light, clip=samples.clipped and samples.within(low, low + span))
    if not np.isfinite(values).all():
        values = np.nan_to_num(values, nan=0.0, posinf=1e6, neginf=-1e6)
    values = samples.held(values)
    if samples.one_d:
        inside = np.ones_like(inside)
    return Forecast(values, (values - samples.planes) * CODES, inside)


def error_of(predicted: Forecast, samples: Samples) -> float:
    """The typical error in codes of the values in gamut and clear of clipping.

    It is the geometric mean, so that a hypothesis that is exact for most of a LUT ranks
    before one that is only close for all of it. Conversions treat colours out of gamut
    differently, so those nodes count only where there are few others.
    """
    clear = samples.clear
    counted = clear & predicted.inside[..., None]
    if counted.sum() < FEW_INSIDE * max(clear.sum(), 1):
        counted = clear
    values = np.abs(predicted.miss[counted]) if counted.any() else np.abs(predicted.miss)
    return float(np.exp(np.mean(np.log(values + LEAST))) - LEAST)
