"""Facts about a LUT: its kind with the evidence, the size of its change, and what codes become."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from lutbench.inspection.subject import CODES, Clip, NeutralAxis, Subject
from lutbench.measure.delta_e import DELTA_E_NAMES, DeltaE, SizeWord, size_word, view_of
from lutbench.model.encoding import Encoding
from lutbench.model.signal import Range
from lutbench.model.transforms import Array, Colour
from lutbench.results import PlainData
from lutbench.tables.lut import ShaperLut3D, axes_of, lattice
from lutbench.tables.nodes import LARGEST_PIXEL, before_shaper, checked_apply, greys

KindOfLut = Literal["identity", "curve", "gamut", "combined"]

SAME_CODES = 0.5
"""10-bit codes: half a code is lost when a signal is rounded; up to that nothing has changed."""

SEPARABLE_CODES = 1.0
"""10-bit codes by which the other inputs may move a channel that still counts as independent, so
that a LUT that is noisy or rounded to 10 bits is recognised."""

NEUTRAL_CODES = 1.0
"""10-bit codes by which greys may move and still count as unchanged, for the same reason."""


@dataclass(frozen=True)
class EvidenceLimits(PlainData):
    """The limits of the measures, in 10-bit codes."""

    change: float = SAME_CODES
    separability_residual: float = SEPARABLE_CODES
    neutral_deviation: float = NEUTRAL_CODES


@dataclass(frozen=True)
class Evidence(PlainData):
    """The evidence for the kind, in 10-bit codes."""

    KEYS = ("change", "separability_residual", "neutral_deviation", "unit", "limits")
    unit: ClassVar[str] = "10-bit codes"
    limits: ClassVar[EvidenceLimits] = EvidenceLimits()

    change: float
    """The largest difference between output and input on the nodes."""
    separability_residual: float
    """The 95th percentile over the nodes of what is left when each output channel is explained by
    its own input channel alone."""
    neutral_deviation: float
    """The 95th percentile of |output − input| on the neutral axis, where it is not clipped."""

    @property
    def kind(self) -> KindOfLut:
        """``identity``, ``curve``, ``gamut`` or ``combined``."""
        if self.change <= SAME_CODES:
            return "identity"
        if self.separability_residual <= SEPARABLE_CODES:
            return "curve"
        return "gamut" if self.neutral_deviation <= NEUTRAL_CODES else "combined"


@dataclass(frozen=True)
class MidGrey(PlainData):
    """Where mid grey goes in and comes out; where it is not known, the input half way up."""

    KEYS = ("in=at", "out", "known")

    at: float
    out: float
    known: bool


@dataclass(frozen=True)
class Steepest(PlainData):
    """The greatest slope, and the input where it is."""

    KEYS = ("slope", "in=at")

    slope: float
    at: float


@dataclass(frozen=True)
class AxisReport(PlainData):
    """What the LUT does to greys; signals are 0 to 1 of full scale."""

    black: Colour
    white: Colour
    mid_grey: MidGrey
    slope_at_mid_grey: float
    steepest: Steepest
    clipped_low: Clip | None
    clipped_high: Clip | None
    monotone: bool
    greatest_fall_10bit_codes: float
    tint_10bit_codes: float
    """The largest difference between channels."""
    tint_at: float
    """The input where it is."""


def axis_report(axis: NeutralAxis, mid_grey: MidGrey, fall_limit: float) -> AxisReport:
    """The neutral axis in short; up to `fall_limit`, in 10-bit codes, it counts as monotone."""
    return AxisReport(
        axis.outputs[0],
        axis.outputs[-1],
        mid_grey,
        axis.slope_at(mid_grey.at),
        Steepest(*axis.steepest),
        axis.clip_low,
        axis.clip_high,
        axis.fall[0] * CODES <= fall_limit,
        axis.fall[0] * CODES,
        axis.tint[0] * CODES,
        float(axis.inputs[axis.tint[1]]),
    )


def evidence_of(subject: Subject) -> Evidence:
    """The measures that decide the kind of a LUT."""
    axis = subject.neutral
    change = np.abs(axis.outputs - axis.inputs[:, None]).max()
    residual = 0.0
    if (cube := subject.lattice) is not None:
        axes = axes_of(cube)
        if isinstance(subject.lut, ShaperLut3D):
            axes = before_shaper(subject.lut.shaper, axes)
        for channel, inputs in enumerate(axes.T):  # one by one: a large table fills the memory
            along = np.expand_dims(inputs, [axis for axis in range(3) if axis != channel])
            change = max(change, np.abs(subject.planes[channel] - along).max())
        residual = _separability(subject.planes)
    free = axis.mean[(axis.mean > axis.mean.min() + 1e-5) & (axis.mean < axis.mean.max() - 1e-5)]
    moved = np.abs(axis.outputs - axis.inputs[:, None]).max(axis=1)
    inside = np.isin(axis.mean, free) if free.size else np.ones(axis.mean.shape, bool)
    deviation = float(np.percentile(moved[inside], 95))
    return Evidence(float(change) * CODES, residual * CODES, deviation * CODES)


def _separability(planes: Array) -> float:
    """How far a channel is from a function of its own input alone: 95th percentile."""
    worst = np.zeros(planes.shape[1:])
    for channel in range(3):
        own = np.moveaxis(planes[channel], channel, 0)
        centre = np.median(own.reshape(own.shape[0], -1), axis=1)
        left = np.abs(own - centre[:, None, None])
        np.maximum(worst, np.moveaxis(left, 0, channel), out=worst)
    return float(np.percentile(worst, 95))


COLOURS = 9
"""Test colours along an edge of the cube: 729 in all, spread evenly over the LUT's domain."""


@dataclass(frozen=True)
class ChangeMade(PlainData):
    """The difference between input and output, both seen on the same display.

    `p95` is the difference that 95 % of the colours stay under, in `measure`:
    ``delta_e_2000``, or ``delta_e_itp`` for an HDR display.
    """

    KEYS = ("word", "measure", "p95")

    measure: DeltaE
    p95: float

    @property
    def word(self) -> SizeWord:
        """``invisible``, ``just visible``, ``clearly visible`` or ``another picture``."""
        return size_word(self.p95)

    @property
    def words(self) -> str:
        """The word with its number.

        >>> ChangeMade("delta_e_2000", 41.26).words
        'Another picture (ΔE 2000: 95 % of the colours under 41.3)'
        """
        number = f"{DELTA_E_NAMES[self.measure]}: 95 % of the colours under {self.p95:.1f}"
        return f"{self.word[0].upper()}{self.word[1:]} ({number})"


def change_made(subject: Subject, seen: Encoding) -> ChangeMade:
    """The change on an even grid of colours; input and output are both seen as `seen` says."""
    low, high = subject.domain
    colours = low + (high - low) * lattice(COLOURS).reshape(-1, 3)
    view = view_of(seen)
    found = view.differences(colours, checked_apply(subject.lut, colours, LARGEST_PIXEL))
    return ChangeMade(view.measure, float(np.percentile(found, 95)))


INPUT_BITS = (8, 10)
"""Bit depths of the recordings whose steps are reported: those that cameras record in."""

AROUND_GREY_CODES = 4
"""Codes on each side of mid grey over which the step there is averaged."""


@dataclass(frozen=True)
class StepReport(PlainData):
    """What one code of the recording becomes at a place of the grey scale."""

    KEYS = ("place", "at", "step_8bit_codes", "step_10bit_codes", "after_8bit_output=after_8_bit")

    place: Literal["mid_grey", "steepest"]
    at: float
    """The recorded signal there, 0..1."""
    step: float
    """The change of the output over one recorded code, in signal."""
    after_8_bit: int
    """The widest step, in 8-bit codes, once the output is rounded to 8 bits."""

    @property
    def step_8bit_codes(self) -> float:
        """The step in 8-bit codes."""
        return self.step * 255

    @property
    def step_10bit_codes(self) -> float:
        """The step in 10-bit codes."""
        return self.step * CODES


@dataclass(frozen=True)
class DepthReport(PlainData):
    """A recording of `input_bits`: its steps, and how many levels of grey are left.

    `levels` is the number of different levels of grey that come out; `levels_8_bit`
    the number that an 8-bit output keeps.
    """

    KEYS = ("input_bits", "steps", "levels", "levels_8bit_output=levels_8_bit")

    input_bits: int
    steps: tuple[StepReport, ...]
    levels: int
    levels_8_bit: int

    def step(self, place: str) -> StepReport:
        """The step at ``"steepest"`` or ``"mid_grey"``."""
        return next(each for each in self.steps if each.place == place)


def depth_reports(subject: Subject, mid_grey: float) -> tuple[DepthReport, ...]:
    """What 8-bit and 10-bit recordings in full range become.

    `mid_grey` is the input of mid grey. Every code of the recording is put
    through the LUT as a grey.
    """
    return tuple(_report(subject, bits, mid_grey) for bits in INPUT_BITS)


def _report(subject: Subject, bits: int, mid_grey: float) -> DepthReport:
    top = 2**bits - 1
    codes = np.arange(top + 1) / top
    out = np.asarray(subject.lut.apply(greys(codes)).mean(axis=1))
    steps = np.abs(np.diff(out))
    rounded = np.rint(np.clip(out, 0, 1) * 255).astype(int)
    coarse = np.abs(np.diff(rounded))
    steepest = int(np.argmax(steps))
    grey = int(np.clip(round(mid_grey * top), AROUND_GREY_CODES, top - AROUND_GREY_CODES))
    near = slice(grey - AROUND_GREY_CODES, grey + AROUND_GREY_CODES)
    found = (
        StepReport("steepest", float(codes[steepest]), float(steps[steepest]), int(coarse.max())),
        StepReport(
            "mid_grey", float(codes[grey]), float(steps[near].mean()), int(coarse[near].max())
        ),
    )
    levels = len(np.unique(np.rint(out * 1e6)))
    return DepthReport(bits, found, levels, len(np.unique(rounded)))


KnownBy = Literal["", "named", "file", "project", "identified"]
"""How an end is known: named by the user, by the file's comments, by the project, or identified."""


@dataclass(frozen=True)
class KnownEnd(PlainData):
    """The source or target encoding of a LUT, and how it is known; null where it is not."""

    KEYS = ("curve", "gamut", "range", "known_by?")

    curve: str | None
    gamut: str | None
    range: Range
    known_by: KnownBy
