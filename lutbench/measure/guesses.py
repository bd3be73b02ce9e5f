"""Guesses at why two sides differ: each turns one side into the other, and is then judged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from lutbench.measure.delta_e import View
from lutbench.model.curves.base import Curve, Decode, Encode
from lutbench.model.curves.video import Bt709, Bt1886, Power, Srgb
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709
from lutbench.model.grade import Exposure
from lutbench.model.signal import CODES_10_BIT, RangeFromSignal, SignalFromRange
from lutbench.model.transforms import Array, Pipeline, Transform
from lutbench.results import PlainData

RAMP_GREYS = 129
"""Greys among the inputs on which guesses are tried."""

SAME_CODES = 0.02
"""10-bit codes: values that differ by less are the same. A .cube file rounds to 0.001."""

LEFT_SHARES = np.array([0.1, 0.3])
"""Residual that a guess may have, as a share of the difference: at the median and the 90th
percentile."""

LEFT_CODES = 0.15
"""10-bit codes: residual that a guess may always have, since files are rounded."""

INSIDE = (0.004, 0.996)
"""Signal: outputs between these were not clipped."""

FEWEST = 60
"""Values: a guess is not judged on fewer."""

MOST_STOPS = 6.0
"""Stops: the largest shift of exposure that is looked for, up or down."""

CHANNELS = "RGB"

RICH = ("output_gain_and_offset", "output_channel_gains")
"""Guesses with several parameters, which are used only if no simple one holds."""


@dataclass(frozen=True)
class Explanation(PlainData):
    """One simple reason for a difference."""

    code: str
    text: str
    left: float
    """What it does not explain: 95th percentile, in 10-bit codes."""
    amount: float | None = None
    """Its size, if it has one (a gain, a number of stops ...)."""


@dataclass(frozen=True)
class Guess:
    """A guess, with the outputs of the second side at the probes if it were right."""

    code: str
    text: str
    outputs: Array
    amount: float | None = None


@dataclass(frozen=True, eq=False)
class Trial:
    """Two transforms, the inputs on which guesses are tried, and the outputs of both.

    `probes`, `out_a` and `out_b` have shape (n, 3).
    """

    a: Transform
    b: Transform
    probes: Array
    out_a: Array
    out_b: Array

    @property
    def same_at_probes(self) -> bool:
        """Whether the sides are equal at every probe, except for rounding."""
        return bool(CODES_10_BIT * np.abs(self.out_a - self.out_b).max() < SAME_CODES)

    @property
    def inside(self) -> NDArray[np.bool_]:
        """Where neither output was clipped, shape (n, 3)."""
        return _inside(self.out_a) & _inside(self.out_b)

    def judge(self, guess: Guess) -> Explanation | None:
        """The guess as an explanation if it holds, else None."""
        judged = _inside(self.out_b) & _inside(guess.outputs)
        if judged.sum() < FEWEST or judged.sum() < 0.25 * _inside(self.out_b).sum():
            return None
        differences = (
            CODES_10_BIT * np.abs(out - self.out_b)[judged] for out in (self.out_a, guess.outputs)
        )
        whole, left = (np.percentile(each, [50, 90, 95]) for each in differences)
        # A guess about the input suffers from the interpolation of both tables, above all
        # near clipping, so the median counts for more than the tail.
        if (left[:2] > np.maximum(LEFT_CODES, LEFT_SHARES * whole[:2])).any():
            return None
        if left[1] >= 0.5 * whole[1]:
            return None
        return Explanation(guess.code, guess.text, float(left[2]), guess.amount)


def guesses(trial: Trial, view: View, source: Encoding | None) -> Iterator[Guess]:
    """Every guess, the simplest first."""
    yield from _ranges(trial)
    yield from _swaps(trial)
    yield from _fits(trial)
    yield from _displays(trial)
    yield from _exposures(trial, view, source)


def plain_number(value: float) -> str:
    """The number with at most four decimals, and never as -0."""
    return f"{round(value, 4) + 0.0:g}"


def _ranges(trial: Trial) -> Iterator[Guess]:
    """Legal and full range mistaken for each other at the input, at the output, or at both."""
    ways: list[tuple[str, str, Transform]] = [
        ("legal", "full range squeezed into legal range", RangeFromSignal("legal")),
        ("full", "legal range stretched to full range", SignalFromRange("legal")),
    ]
    for after, words_after, step_after in ways:
        yield Guess(
            f"output_range_{after}",
            f"signal range of the output: B is A with {words_after}",
            step_after.apply(trial.out_a),
        )
    for before, words_before, step_before in ways:
        shifted = trial.a.apply(step_before.apply(trial.probes))
        yield Guess(
            f"input_range_{before}",
            f"signal range of the input: B is A fed with {words_before}",
            shifted,
        )
        for _, words_after, step_after in ways:
            yield Guess(
                "input_and_output_range",
                f"signal range at both ends: B is A fed with {words_before}, "
                f"its output with {words_after}",
                step_after.apply(shifted),
            )


def _swaps(trial: Trial) -> Iterator[Guess]:
    for order in permutations(range(3)):
        if order == (0, 1, 2):
            continue
        names = " ".join(CHANNELS[c] for c in order)
        fed = trial.a.apply(trial.probes[:, order])
        if order == (2, 1, 0):
            yield Guess(
                "node_order",
                "the order of the nodes: one was read with red running fastest, the other with "
                "blue (the inputs R and B are swapped, the outputs are not)",
                fed,
            )
        else:
            yield Guess(
                "input_channels",
                f"B is A with its inputs taken as {names}",
                fed,
            )
        yield Guess(
            "output_channels",
            f"B is A with its outputs given as {names}",
            trial.out_a[:, order],
        )
        back = np.argsort(order)
        yield Guess(
            "all_channels",
            f"B is A with channels taken as {names}, before and after",
            fed[:, back],
        )


def _displays(trial: Trial) -> Iterator[Guess]:
    """The same light, encoded for another display."""
    curves: tuple[Curve, ...] = (
        Bt1886(),
        Power("gamma 2.2", 2.2),
        Power("gamma 2.6", 2.6),
        Srgb(),
        Bt709(),
    )
    for one, other in permutations(curves, 2):
        rewritten = (Decode(one) | Encode(other)).apply(np.clip(trial.out_a, 0, 1))
        yield Guess(
            "output_curve",
            f"B is A encoded with {other.name} instead of {one.name}",
            rewritten,
        )


def _exposures(trial: Trial, view: View, source: Encoding | None) -> Iterator[Guess]:
    """A gain on light, in stops."""
    curve = view.encoding.curve
    if view.encoding.range == "full":
        inside = trial.inside & (curve.decode(trial.out_a) > 1e-3)
        if inside.sum() >= FEWEST:
            ratio = curve.decode(trial.out_b[inside]) / curve.decode(trial.out_a[inside])
            gain = float(np.median(ratio))
            if gain > 0:
                stops = float(np.log2(gain))
                yield Guess(
                    "output_exposure",
                    f"a gain on the display's light: B is {stops:+.3f} stops",
                    curve.encode(curve.decode(trial.out_a) * gain),
                    stops,
                )
    if source is not None:
        stops = _best_stops(trial, source)
        yield Guess(
            "exposure",
            f"a shift of exposure before the transform: B is {stops:+.3f} stops",
            trial.a.apply(_shifted(source, stops).apply(trial.probes)),
            stops,
        )


def _shifted(source: Encoding, stops: float) -> Pipeline:
    steps: tuple[Transform, ...] = (
        Decode(source.curve),
        Exposure(stops),
        Encode(source.curve),
    )
    if source.range == "legal":
        legal = SignalFromRange("legal", source.bits)
        steps = (legal, *steps, legal.inverse())
    return Pipeline(steps)


def _best_stops(trial: Trial, source: Encoding) -> float:
    """The shift, in stops, that brings A nearest to B: a grid search, refined three times."""
    grey = trial.probes[-RAMP_GREYS:]
    wanted = trial.out_b[-RAMP_GREYS:]
    centre, width = 0.0, MOST_STOPS
    for _ in range(4):
        tried = np.linspace(centre - width, centre + width, 49)
        errors = [
            float(np.abs(trial.a.apply(_shifted(source, stop).apply(grey)) - wanted).mean())
            for stop in tried.tolist()
        ]
        centre, width = float(tried[int(np.argmin(errors))]), width / 20
    return centre


def _fits(trial: Trial) -> Iterator[Guess]:
    """Gain, offset, power and saturation, fitted to the outputs that are not clipped."""
    out_a, inside = trial.out_a, trial.inside
    if inside.sum() < FEWEST:
        return
    x, y = out_a[inside], trial.out_b[inside]
    gain = float(x @ y / (x @ x))
    yield Guess(
        "output_gain",
        f"a gain on the output: B is A times {gain:.5f}",
        gain * out_a,
        gain,
    )
    offset = float((y - x).mean())
    yield Guess(
        "output_offset",
        f"an offset of the output: B is A {CODES_10_BIT * offset:+.2f} 10-bit codes",
        out_a + offset,
        offset,
    )
    power = float(np.log(x) @ np.log(y) / (np.log(x) @ np.log(x)))
    yield Guess(
        "output_power",
        f"a power on the output: B is A to the power {power:.4f}",
        np.maximum(out_a, 0) ** power,
        power,
    )
    yield from _saturations(trial)
    yield from _lines(trial)


def _lines(trial: Trial) -> Iterator[Guess]:
    """Gain and offset together, and a gain on each channel."""
    out_a, inside = trial.out_a, trial.inside
    x, y = out_a[inside], trial.out_b[inside]
    if np.ptp(x) * 1023 > SAME_CODES:  # else every line through the one value fits
        slope, lift = (float(value) for value in np.polyfit(x, y, 1))
        yield Guess(
            "output_gain_and_offset",
            f"gain and offset of the output: B is A times {slope:.5f}, "
            f"{CODES_10_BIT * lift:+.2f} 10-bit codes",
            slope * out_a + lift,
            slope,
        )
    gains = np.ones(3)
    for c in range(3):
        if (column := inside[:, c]).sum() >= FEWEST / 3:
            x, y = out_a[column, c], trial.out_b[column, c]
            gains[c] = x @ y / (x @ x)
    words = " ".join(f"{CHANNELS[c]} {gains[c]:.5f}" for c in range(3))
    yield Guess(
        "output_channel_gains",
        f"a gain on each channel of the output: B is A times {words}",
        gains * out_a,
    )


def _saturations(trial: Trial) -> Iterator[Guess]:
    whole = trial.inside.all(axis=1)
    if whole.sum() < FEWEST:
        return
    weights = np.array(BT709.luminance_weights)
    luma = (trial.out_a @ weights)[:, None]
    x, y = (trial.out_a - luma)[whole].ravel(), (trial.out_b - luma)[whole].ravel()
    if x @ x == 0:
        return
    amount = float(x @ y / (x @ x))
    yield Guess(
        "output_saturation",
        f"saturation of the output: B is A times {amount:.4f}",
        luma + amount * (trial.out_a - luma),
        amount,
    )


def _inside(values: Array) -> NDArray[np.bool_]:
    return np.asarray((values > INSIDE[0]) & (values < INSIDE[1]))


def p95(values: Array) -> float:
    """The 95th percentile; 0 of nothing."""
    return float(np.percentile(values, 95)) if values.size else 0.0
