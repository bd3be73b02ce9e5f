"""Whether two transforms differ by something simple, and by what, in plain words.

Each suspicion is a guess of the second side made from the first (a gain, a
signal range, swapped channels, ...). A guess holds when what it leaves is a
small part of the whole difference, or next to nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.measure.samples import random_points
from lutbench.measure.view import View
from lutbench.model.curves.base import Curve, Decode, Encode
from lutbench.model.curves.video import Bt709, Bt1886, Power, Srgb
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709
from lutbench.model.grade import Exposure
from lutbench.model.signal import RangeFromSignal, SignalFromRange
from lutbench.model.transforms import Array, Pipeline, Transform
from lutbench.tables.lut import Interpolation, Lut1D, Lut3D, interpolated
from lutbench.tables.nodes import domain_of, greys

PROBES = 13
"""Points an edge of the lattice on which guesses are tried."""

RAMP = 129
"""Greys beside them."""

SAME = 0.02
"""10-bit codes under which two values are the same: a .cube file rounds to 0.001."""

LEFT_SHARES = np.array([0.1, 0.3])
"""Shares of the whole difference, at its median and 90th percentile, that a guess may leave."""

LEFT_CODES = 0.15
INSIDE = (0.004, 0.996)
"""Outputs between which nothing was clipped."""

FEWEST = 60
"""Values that a guess must be judged on."""

FEWEST_NODES = 5
"""Nodes an edge from which a lattice alone holds enough values."""

MOST_STOPS = 6.0

CHANNELS = "RGB"
INTERPOLATIONS: tuple[Interpolation, ...] = ("tetrahedral", "trilinear")
RICH = ("output_gain_and_offset", "output_channel_gains")


@dataclass(frozen=True)
class Explanation:
    """One simple reason for a difference.

    `left` is the 95th percentile, in 10-bit codes, of what the reason does not
    explain; `amount` its figure, where it has one.
    """

    code: str
    text: str
    left: float
    amount: float | None = None

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        return {"code": self.code, "text": self.text, "left": self.left, "amount": self.amount}


def explain(
    a: Transform, b: Transform, view: View, source: Encoding | None = None
) -> tuple[Explanation, ...]:
    """The simple reasons why `b` differs from `a`, the likeliest first; none is a fair answer.

    `view` says how the outputs are seen; a `source` lets a shift of exposure before
    the transform be told.
    """
    probes = _probes(a, b)
    out_a, out_b = (np.asarray(side.apply(probes), dtype=np.float64) for side in (a, b))
    tables = tuple(_about_tables(a, b))
    trial = _Trial(a, b, probes, out_a, out_b)
    if trial.same_at_probes and not tables:
        return tuple(_where_only_interpolation_differs(trial))
    if clamps := tuple(_about_clamps(trial)):
        return tables + clamps
    found = [each for guess in _guesses(trial, view, source) if (each := trial.judge(guess))]
    best = min((each.left for each in found), default=0.0)
    kept = [each for each in found if each.left <= 1.5 * best + LEFT_CODES / 3]
    # Richer guesses always fit a little better: they count where no simple one does.
    simple = [each for each in kept if each.code not in RICH]
    return tables + tuple((simple or kept)[:3]) + tuple(_about_channels(trial))


def _probes(a: Transform, b: Transform) -> Array:
    """Inputs to try guesses on, shape (n, 3); the last `RAMP` are greys.

    Nodes, where a side has them: there a table shows what went into it, without
    interpolation. The same again at a quarter of the saturation, where less is clipped.
    """
    ends = domain_of(a, b)
    axis = np.linspace(0, 1, PROBES)
    ramp = np.linspace(0, 1, RAMP)
    held = [side for side in (a, b) if isinstance(side, Lut3D) and side.size >= FEWEST_NODES]
    if held:
        steps = held[0].size - 1
        axis = np.unique(np.rint(axis * steps)) / steps
        ramp = np.rint(ramp * steps) / steps
        ends = held[0].domain
    cube = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)
    neutral = greys(ramp)
    pale = cube.mean(axis=1, keepdims=True)
    pale = pale + (cube - pale) / 4
    if held:
        pale = np.rint(pale * steps) / steps
    return np.asarray(ends[0] + (ends[1] - ends[0]) * np.concatenate([cube, pale, neutral]))


@dataclass(frozen=True)
class _Guess:
    """A guess of the second side's outputs at the probes."""

    code: str
    text: str
    outputs: Array
    amount: float | None = None


@dataclass(frozen=True, eq=False)
class _Trial:
    a: Transform
    b: Transform
    probes: Array
    out_a: Array
    out_b: Array

    @property
    def same_at_probes(self) -> bool:
        """Whether the sides are equal at every probe, but for rounding."""
        return bool(1023 * np.abs(self.out_a - self.out_b).max() < SAME)

    @property
    def inside(self) -> NDArray[np.bool_]:
        """Where neither output was clipped, by probe and channel."""
        return _inside(self.out_a) & _inside(self.out_b)

    def judge(self, guess: _Guess) -> Explanation | None:
        """The guess as an explanation, where it holds."""
        judged = _inside(self.out_b) & _inside(guess.outputs)
        if judged.sum() < FEWEST or judged.sum() < 0.25 * _inside(self.out_b).sum():
            return None
        differences = (
            1023 * np.abs(out - self.out_b)[judged] for out in (self.out_a, guess.outputs)
        )
        whole, left = (np.percentile(each, [50, 90, 95]) for each in differences)
        # A guess about the input meets the interpolation of both tables, most of all
        # near clipping, so the middle of the differences tells more than their tail.
        if (left[:2] > np.maximum(LEFT_CODES, LEFT_SHARES * whole[:2])).any():
            return None
        if left[1] >= 0.5 * whole[1]:
            return None
        return Explanation(guess.code, guess.text, float(left[2]), guess.amount)


def _guesses(trial: _Trial, view: View, source: Encoding | None) -> Iterator[_Guess]:
    """Every guess, the simplest first."""
    yield from _ranges(trial)
    yield from _swaps(trial)
    yield from _fits(trial)
    yield from _displays(trial)
    yield from _exposures(trial, view, source)


def _where_only_interpolation_differs(trial: _Trial) -> Iterator[Explanation]:
    """For sides that are equal at nodes: the same, or the same but for their interpolation."""
    points = random_points(1000, domain=domain_of(trial.a, trial.b)).signals
    out_a, out_b = trial.a.apply(points), trial.b.apply(points)
    left = _p95(1023 * np.abs(out_a - out_b))
    if 1023 * np.abs(out_a - out_b).max() < SAME:
        yield Explanation("same", "the two are the same, but for rounding", left)
        return
    for name in INTERPOLATIONS:
        for one, other, words in (
            (trial.a, out_b, f"B is A with {name} interpolation"),
            (trial.b, out_a, f"A is B with {name} interpolation"),
        ):
            again = interpolated(one, name).apply(points)
            if 1023 * np.abs(again - other).max() < SAME:
                yield Explanation("interpolation", f"the interpolation between nodes: {words}", 0.0)
                return
    yield Explanation(
        "between_nodes",
        "the two are equal at the nodes: they differ only between them, by interpolation",
        left,
    )


def _about_clamps(trial: _Trial) -> Iterator[Explanation]:
    """One side is the other held to the values it reaches, as clipping holds them.

    Looked at over all values: the trials of other guesses leave out what is clipped.
    """
    for held, free, words in (
        (trial.out_b, trial.out_a, "B is A"),
        (trial.out_a, trial.out_b, "A is B"),
    ):
        low, high = float(held.min()), float(held.max())
        left = 1023 * np.abs(np.clip(free, low, high) - held)
        if left.max() < SAME:
            text = f"{words} held to {_plain(low)}..{_plain(high)}"
            yield Explanation("clamp", text, _p95(left))
            return


def _plain(value: float) -> str:
    return f"{round(value, 4) + 0.0:g}"


def _ranges(trial: _Trial) -> Iterator[_Guess]:
    """A legal range taken for full, or the reverse, before the transform, after it, or both."""
    ways: list[tuple[str, str, Transform]] = [
        ("legal", "full range squeezed into legal range", RangeFromSignal("legal")),
        ("full", "legal range stretched to full range", SignalFromRange("legal")),
    ]
    for after, words_after, step_after in ways:
        yield _Guess(
            f"output_range_{after}",
            f"signal range of the output: B is A with {words_after}",
            step_after.apply(trial.out_a),
        )
    for before, words_before, step_before in ways:
        shifted = trial.a.apply(step_before.apply(trial.probes))
        yield _Guess(
            f"input_range_{before}",
            f"signal range of the input: B is A fed with {words_before}",
            shifted,
        )
        for _, words_after, step_after in ways:
            yield _Guess(
                "input_and_output_range",
                f"signal range at both ends: B is A fed with {words_before}, "
                f"its output with {words_after}",
                step_after.apply(shifted),
            )


def _swaps(trial: _Trial) -> Iterator[_Guess]:
    for order in permutations(range(3)):
        if order == (0, 1, 2):
            continue
        names = " ".join(CHANNELS[c] for c in order)
        fed = trial.a.apply(trial.probes[:, order])
        if order == (2, 1, 0):
            yield _Guess(
                "node_order",
                "the order of the nodes: one was read with red running fastest, the other with "
                "blue (the inputs R and B are swapped, the outputs are not)",
                fed,
            )
        else:
            yield _Guess(
                "input_channels",
                f"B is A with its inputs taken as {names}",
                fed,
            )
        yield _Guess(
            "output_channels",
            f"B is A with its outputs given as {names}",
            trial.out_a[:, order],
        )
        back = np.argsort(order)
        yield _Guess(
            "all_channels",
            f"B is A with channels taken as {names}, before and after",
            fed[:, back],
        )


def _displays(trial: _Trial) -> Iterator[_Guess]:
    """The same light, written for another display."""
    curves: tuple[Curve, ...] = (
        Bt1886(),
        Power("gamma 2.2", 2.2),
        Power("gamma 2.6", 2.6),
        Srgb(),
        Bt709(),
    )
    for one, other in permutations(curves, 2):
        rewritten = (Decode(one) | Encode(other)).apply(np.clip(trial.out_a, 0, 1))
        yield _Guess(
            "output_curve",
            f"B is A written with {other.name} instead of {one.name}",
            rewritten,
        )


def _exposures(trial: _Trial, view: View, source: Encoding | None) -> Iterator[_Guess]:
    """A gain on light, in stops."""
    curve = view.encoding.curve
    if view.encoding.range == "full":
        inside = trial.inside & (curve.decode(trial.out_a) > 1e-3)
        if inside.sum() >= FEWEST:
            ratio = curve.decode(trial.out_b[inside]) / curve.decode(trial.out_a[inside])
            gain = float(np.median(ratio))
            if gain > 0:
                stops = float(np.log2(gain))
                yield _Guess(
                    "output_exposure",
                    f"a gain on the light that is shown: B is {stops:+.3f} stops",
                    curve.encode(curve.decode(trial.out_a) * gain),
                    stops,
                )
    if source is not None:
        stops = _best_stops(trial, source)
        yield _Guess(
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


def _best_stops(trial: _Trial, source: Encoding) -> float:
    """The shift that brings the first nearest to the second: a grid, made finer three times."""
    grey = trial.probes[-RAMP:]
    wanted = trial.out_b[-RAMP:]
    centre, width = 0.0, MOST_STOPS
    for _ in range(4):
        tried = np.linspace(centre - width, centre + width, 49)
        errors = [
            float(np.abs(trial.a.apply(_shifted(source, stop).apply(grey)) - wanted).mean())
            for stop in tried.tolist()
        ]
        centre, width = float(tried[int(np.argmin(errors))]), width / 20
    return centre


def _fits(trial: _Trial) -> Iterator[_Guess]:
    """Gains, offsets, a power, saturation: fitted to the outputs that are not clipped."""
    out_a, inside = trial.out_a, trial.inside
    if inside.sum() < FEWEST:
        return
    x, y = out_a[inside], trial.out_b[inside]
    gain = float(x @ y / (x @ x))
    yield _Guess(
        "output_gain",
        f"a gain on the output: B is A times {gain:.5f}",
        gain * out_a,
        gain,
    )
    offset = float((y - x).mean())
    yield _Guess(
        "output_offset",
        f"an offset of the output: B is A {1023 * offset:+.2f} codes of 10 bit",
        out_a + offset,
        offset,
    )
    power = float(np.log(x) @ np.log(y) / (np.log(x) @ np.log(x)))
    yield _Guess(
        "output_power",
        f"a power on the output: B is A to the power {power:.4f}",
        np.maximum(out_a, 0) ** power,
        power,
    )
    yield from _saturations(trial)
    if np.ptp(x) * 1023 > SAME:  # else every line through the one value fits
        slope, lift = (float(value) for value in np.polyfit(x, y, 1))
        yield _Guess(
            "output_gain_and_offset",
            f"gain and offset of the output: B is A times {slope:.5f}, "
            f"{1023 * lift:+.2f} codes of 10 bit",
            slope * out_a + lift,
            slope,
        )
    gains = np.ones(3)
    for c in range(3):
        if (column := inside[:, c]).sum() >= FEWEST / 3:
            x, y = out_a[column, c], trial.out_b[column, c]
            gains[c] = x @ y / (x @ x)
    words = " ".join(f"{CHANNELS[c]} {gains[c]:.5f}" for c in range(3))
    yield _Guess(
        "output_channel_gains",
        f"a gain on each channel of the output: B is A times {words}",
        gains * out_a,
    )


def _saturations(trial: _Trial) -> Iterator[_Guess]:
    whole = trial.inside.all(axis=1)
    if whole.sum() < FEWEST:
        return
    weights = np.array(BT709.luminance_weights)
    luma = (trial.out_a @ weights)[:, None]
    x, y = (trial.out_a - luma)[whole].ravel(), (trial.out_b - luma)[whole].ravel()
    if x @ x == 0:
        return
    amount = float(x @ y / (x @ x))
    yield _Guess(
        "output_saturation",
        f"saturation of the output: B is A times {amount:.4f}",
        luma + amount * (trial.out_a - luma),
        amount,
    )


def _about_tables(a: Transform, b: Transform) -> Iterator[Explanation]:
    """What two tables say when laid beside each other."""
    if not (isinstance(a, Lut3D) and isinstance(b, Lut3D)) and not (
        isinstance(a, Lut1D) and isinstance(b, Lut1D)
    ):
        return
    what = "nodes" if isinstance(a, Lut3D) else "rows"
    if a.size != b.size:
        if (left := _left_at_shared_nodes(a, b)) is not None and left < SAME:
            yield Explanation(
                "size",
                f"the size: {a.size} and {b.size} {what} an edge of what is otherwise the same "
                f"(equal at the {what} they share)",
                left,
            )
        return
    difference = 1023 * np.abs(a.table.astype(np.float64) - b.table)
    moved = (difference >= SAME).any(axis=-1)
    count = int(moved.sum())
    if count == 0 and (a.domain != b.domain).any():
        yield Explanation("domain", "the domain: the tables are the same, the inputs are not", 0.0)
    elif 0 < count <= max(1, moved.size // 20):
        at = tuple(int(i) for i in np.unravel_index(int(difference.max(-1).argmax()), moved.shape))
        yield Explanation(
            "few_nodes",
            f"{count} of {moved.size} {what} differ, the most at "
            f"{list(at) if len(at) > 1 else at[0]}; the others are the same",
            0.0,
            float(count),
        )
    elif count:
        yield from _about_shift(a.table, b.table, what)
        yield from _about_rounding(a.table, b.table, what)


def _about_channels(trial: _Trial) -> Iterator[Explanation]:
    """Which channels of the output differ, where not all do."""
    apart = 1023 * np.abs(trial.out_a - trial.out_b).max(axis=0)
    names = [name for name, codes in zip(CHANNELS, apart, strict=True) if codes >= SAME]
    if 0 < len(names) < 3:
        verb = "differs" if len(names) == 1 else "differ"
        yield Explanation("channels", f"only {' and '.join(names)} of the output {verb}", 0.0)


def _about_shift(table_a: NDArray[Any], table_b: NDArray[Any], what: str) -> Iterator[Explanation]:
    """A line of the file that was lost or written twice: all that follows comes too early or late.

    A .cube file runs red fastest.
    """
    rows_a, rows_b = (
        np.swapaxes(table, 0, -2).reshape(-1, 3).astype(np.float64) for table in (table_a, table_b)
    )
    for one, other, words in ((rows_a, rows_b, "early"), (rows_b, rows_a, "late")):
        same = (1023 * np.abs(one - other) < SAME).all(axis=1)
        start = int(np.argmin(same))
        if (1023 * np.abs(one[start + 1 :] - other[start:-1]) < SAME).all():
            yield Explanation(
                "shifted_rows",
                f"from row {start + 1} of the table on, every row of B comes one too "
                f"{words}, as when a line was {'lost' if words == 'early' else 'doubled'}",
                0.0,
            )
            return


def _about_rounding(
    table_a: NDArray[Any], table_b: NDArray[Any], what: str
) -> Iterator[Explanation]:
    for bits in (8, 10, 12):
        top = 2**bits - 1
        for one, other, words in (
            (table_a, table_b, "B is A"),
            (table_b, table_a, "A is B"),
        ):
            rounded = np.rint(np.clip(one.astype(np.float64), 0, 1) * top) / top
            # .cube files round to six decimals; a value half-way may go either way.
            if np.abs(other - rounded).max() < 1.01 / top and (
                np.mean(np.abs(other - rounded) < 2e-6) > 0.999
            ):
                yield Explanation(
                    "rounding",
                    f"rounding: {words} with its {what} rounded to {bits} bit",
                    0.0,
                    float(bits),
                )
                return


def _left_at_shared_nodes(a: Lut1D | Lut3D, b: Lut1D | Lut3D) -> float | None:
    """The largest difference, in 10-bit codes, at the inputs where both hold a value."""
    if (a.domain != b.domain).any():
        return None
    parts = int(np.gcd(a.size - 1, b.size - 1))
    if parts < 4:
        # Too few are shared: is one the other, interpolated at its nodes?
        small, large = (a, b) if a.size < b.size else (b, a)
        lefts = []
        for one, other in ((small, large), (large, small)):
            inputs = _inputs(other)
            lefts.append(float(np.abs(one.apply(inputs) - other.table).max()) * 1023)
        return min(lefts)
    step_a, step_b = (a.size - 1) // parts, (b.size - 1) // parts
    if isinstance(a, Lut3D):
        shared_a, shared_b = (
            side.table[::step, ::step, ::step] for side, step in ((a, step_a), (b, step_b))
        )
    else:
        shared_a, shared_b = a.table[::step_a], b.table[::step_b]
    return float(np.abs(shared_a.astype(np.float64) - shared_b).max()) * 1023


def _inputs(lut: Lut1D | Lut3D) -> Array:
    if isinstance(lut, Lut3D):
        return lut.nodes
    return np.linspace(lut.domain[0], lut.domain[1], lut.size)


def _inside(values: Array) -> NDArray[np.bool_]:
    return np.asarray((values > INSIDE[0]) & (values < INSIDE[1]))


def _p95(values: Array) -> float:
    return float(np.percentile(values, 95)) if values.size else 0.0
