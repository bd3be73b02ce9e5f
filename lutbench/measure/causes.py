"""Simple reasons why two transforms differ, in words.

Each guess computes the second side from the first (a gain, a signal range, swapped channels
...). A guess holds if its residual is a small part of the whole difference, or negligible.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.measure.delta_e import View
from lutbench.measure.difference import BLOCK_COLOURS
from lutbench.measure.guesses import (
    CHANNELS,
    LEFT_CODES,
    RAMP_GREYS,
    RICH,
    SAME_CODES,
    Explanation,
    Trial,
    guesses,
    p95,
    plain_number,
)
from lutbench.measure.samples import SampledColours, nodes_of, random_points
from lutbench.measure.tables import about_rounding, about_shift, moved_nodes
from lutbench.model.encoding import Encoding
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import Interpolation, Lut1D, Lut3D
from lutbench.tables.nodes import domain_of, greys

PROBES = 13
"""Points along an edge of the lattice on which guesses are tried."""

FEWEST_NODES = 5
"""Nodes along an edge: a lattice with fewer has too few values to try guesses on its nodes only."""

INTERPOLATIONS: tuple[Interpolation, ...] = ("tetrahedral", "trilinear")


def explain(
    a: Transform, b: Transform, view: View, source: Encoding | None = None
) -> tuple[Explanation, ...]:
    """The simple reasons why `b` differs from `a`, the likeliest first; there may be none.

    `view` says how the outputs are seen. A shift of exposure before the transform is found
    only if `source` says how the input is encoded.
    """
    probes = _probes(a, b)
    out_a, out_b = (np.asarray(side.apply(probes), dtype=np.float64) for side in (a, b))
    tables = tuple(_about_tables(a, b))
    trial = Trial(a, b, probes, out_a, out_b)
    if trial.same_at_probes and not tables:
        return tuple(_where_only_interpolation_differs(trial))
    if clamps := tuple(_about_clamps(trial)):
        return tables + clamps
    found = [each for guess in guesses(trial, view, source) if (each := trial.judge(guess))]
    best = min((each.left for each in found), default=0.0)
    kept = [each for each in found if each.left <= 1.5 * best + LEFT_CODES / 3]
    # Guesses with more parameters always fit a little better, so a simple one goes before them.
    simple = [each for each in kept if each.code not in RICH]
    return tables + tuple((simple or kept)[:3]) + tuple(_about_channels(trial))


def _probes(a: Transform, b: Transform) -> Array:
    """Inputs to try guesses on, shape (n, 3); the last `RAMP_GREYS` are greys.

    Nodes, if a side has them, as interpolation plays no part there. Then the same inputs at a
    quarter of the saturation, where less is clipped.
    """
    ends = domain_of(a, b)
    axis = np.linspace(0, 1, PROBES)
    ramp = np.linspace(0, 1, RAMP_GREYS)
    tables = [side for side in (a, b) if isinstance(side, Lut3D) and side.size >= FEWEST_NODES]
    if tables:
        steps = tables[0].size - 1
        axis = np.unique(np.rint(axis * steps)) / steps
        ramp = np.rint(ramp * steps) / steps
        ends = tables[0].domain
    cube = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)
    neutral = greys(ramp)
    pale = cube.mean(axis=1, keepdims=True)
    pale = pale + (cube - pale) / 4
    if tables:
        pale = np.rint(pale * steps) / steps
    return np.asarray(ends[0] + (ends[1] - ends[0]) * np.concatenate([cube, pale, neutral]))


def _where_only_interpolation_differs(trial: Trial) -> Iterator[Explanation]:
    """For sides that are equal at the nodes: whether they are the same, or only interpolate
    differently."""
    points = random_points(1000, domain=domain_of(trial.a, trial.b)).signals
    out_a, out_b = trial.a.apply(points), trial.b.apply(points)
    left = p95(CODES_10_BIT * np.abs(out_a - out_b))
    if CODES_10_BIT * np.abs(out_a - out_b).max() < SAME_CODES:
        yield Explanation("same", "the two are the same, except for rounding", left)
        return
    for name in INTERPOLATIONS:
        for one, other, words in (
            (trial.a, out_b, f"B is A with {name} interpolation"),
            (trial.b, out_a, f"A is B with {name} interpolation"),
        ):
            again = one.with_interpolation(name).apply(points)
            if CODES_10_BIT * np.abs(again - other).max() < SAME_CODES:
                yield Explanation("interpolation", f"the interpolation between nodes: {words}", 0.0)
                return
    yield Explanation(
        "between_nodes",
        "the two are equal at the nodes and differ only between them, by their interpolation",
        left,
    )


def _about_clamps(trial: Trial) -> Iterator[Explanation]:
    """Whether one side is the other, clipped to a range.

    Judged on all values, whereas other guesses leave out what is clipped.
    """
    for clipped, free, words in (
        (trial.out_b, trial.out_a, "B is A"),
        (trial.out_a, trial.out_b, "A is B"),
    ):
        low, high = float(clipped.min()), float(clipped.max())
        left = CODES_10_BIT * np.abs(np.clip(free, low, high) - clipped)
        if left.max() < SAME_CODES:
            text = f"{words} clipped to {plain_number(low)}..{plain_number(high)}"
            yield Explanation("clamp", text, p95(left))
            return


def _about_tables(a: Transform, b: Transform) -> Iterator[Explanation]:
    """Reasons that show when two tables are compared value by value."""
    if not (isinstance(a, Lut3D) and isinstance(b, Lut3D)) and not (
        isinstance(a, Lut1D) and isinstance(b, Lut1D)
    ):
        return
    what = "nodes" if isinstance(a, Lut3D) else "rows"
    if a.size != b.size:
        if (left := _left_at_shared_nodes(a, b)) is not None and left < SAME_CODES:
            yield Explanation(
                "size",
                f"the size: {a.size} and {b.size} {what} along an edge, otherwise the same "
                f"(equal at the {what} they share)",
                left,
            )
        return
    count, at = moved_nodes(a.table, b.table)
    total = a.table.size // 3
    if count == 0 and (a.domain != b.domain).any():
        yield Explanation("domain", "the domain: it differs, the tables are the same", 0.0)
    elif 0 < count <= max(1, total // 20):
        yield Explanation(
            "few_nodes",
            f"{count} of {total} {what} differ, the most at "
            f"{list(at) if len(at) > 1 else at[0]}; the others are the same",
            0.0,
            float(count),
        )
    elif count:
        yield from about_shift(a.table, b.table)
        yield from about_rounding(a.table, b.table, what)


def _about_channels(trial: Trial) -> Iterator[Explanation]:
    """Which channels of the output differ, if not all do."""
    apart = CODES_10_BIT * np.abs(trial.out_a - trial.out_b).max(axis=0)
    names = [name for name, codes in zip(CHANNELS, apart, strict=True) if codes >= SAME_CODES]
    if 0 < len(names) < 3:
        verb = "differs" if len(names) == 1 else "differ"
        yield Explanation("channels", f"only {' and '.join(names)} of the output {verb}", 0.0)


def _left_at_shared_nodes(a: Lut1D | Lut3D, b: Lut1D | Lut3D) -> float | None:
    """The largest difference, in 10-bit codes, at the inputs where both have a node."""
    if (a.domain != b.domain).any():
        return None
    parts = int(np.gcd(a.size - 1, b.size - 1))
    if parts < 4:
        # Too few nodes are shared: test whether one is the other, interpolated.
        small, large = (a, b) if a.size < b.size else (b, a)
        lefts = []
        for one, other in ((small, large), (large, small)):
            table = other.table.reshape(-1, 3)
            lefts.append(_furthest(one, nodes_of(other), table) * 1023)
        return min(lefts)
    step_a, step_b = (a.size - 1) // parts, (b.size - 1) // parts
    if isinstance(a, Lut3D):
        shared_a, shared_b = (
            side.table[::step, ::step, ::step] for side, step in ((a, step_a), (b, step_b))
        )
    else:
        shared_a, shared_b = a.table[::step_a], b.table[::step_b]
    return float(np.abs(shared_a.astype(np.float64) - shared_b).max()) * 1023


def _furthest(one: Transform, nodes: SampledColours | None, table: NDArray[Any]) -> float:
    """The largest difference, in signal, of `one` from a table at the table's nodes."""
    assert nodes is not None  # of a LUT
    return max(
        float(
            np.abs(
                one.apply(nodes.signals[at : at + BLOCK_COLOURS]) - table[at : at + BLOCK_COLOURS]
            ).max()
        )
        for at in range(0, len(table), BLOCK_COLOURS)
    )
