"""Hypotheses of known curves, a matrix, and nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.curvebank import End
from lutbench.identification.freecurve import cost_of
from lutbench.identification.gamutbank import GamutBank
from lutbench.identification.hypothesis import Hypothesis, error_of, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.matrix import (
    MatrixFit,
    chosen_nodes,
    fit_matrices,
    inner_nodes,
    match_gamuts,
)
from lutbench.identification.neutral import NeutralMatch
from lutbench.identification.ordering import best_first, settled
from lutbench.identification.samples import Samples
from lutbench.identification.verdict import Finalist
from lutbench.model.transforms import Array

FORECASTS = 10
"""Hypotheses that are computed on nodes all over the LUT."""

FOLLOWED = 6
"""Pairs of curves from a part of the nodes that are given gamuts."""

PARTLY = 0.3
"""10-bit codes of typical error above which nodes are also searched hue by hue."""

TRIED = 48
"""Pairs of curves that are fitted to all chosen nodes."""

FEW = 250
"""Nodes by which they are selected."""

PARTLY_TRIED = 24
"""Pairs of curves that are fitted to a part of the nodes, near neutral and by hues."""

MOST_PAIRS = 160
"""Pairs of curves that are followed up: all that leave the neutral axis unchanged, and more."""


WINDOWS = 6
"""Windows around the circle of hues."""

WIDTH = np.deg2rad(75)
"""Radians to either side of a window's centre, so that windows overlap."""

FEWEST_OF_HUE = 60
"""The fewest nodes that a window is used with."""


@dataclass(frozen=True)
class Scored:
    """A hypothesis in numbers: ends and gamut pair by index, gain, errors in codes."""

    source: int
    target: int
    pair: int
    gain: float
    error: float
    neutral: float


Ends = tuple[list[End], list[End]]
"""The source encodings and the target encodings, which pairs of indices name."""


def search_known(
    samples: Samples,
    sources: list[End],
    targets: list[End],
    bank: GamutBank,
    match: NeutralMatch,
    within: float,
) -> list[Scored]:
    """Hypotheses that explain the neutral axis to `within` codes, best first."""
    places = match.shortlist(within, MOST_PAIRS)
    if samples.one_d:
        return [
            Scored(
                i,
                j,
                0,
                float(2 ** match.stops[i, j].mean()),
                float(match.error[i, j]),
                float(match.error[i, j]),
            )
            for i, j in places
        ]
    chosen = chosen_nodes(samples)
    likely = _likeliest(samples, (sources, targets), places, chosen, absolute=False)
    fits = _fitted(samples, (sources, targets), likely, chosen)
    if not fits:
        return []
    best = min(fit.error for _, _, fit in fits)
    found: list[Scored] = []
    for i, j, fit in fits:
        if fit.error > 4 * best + 1.0:
            continue
        found += _with_gamuts((i, j), fit, bank, float(match.error[i, j]), 6)
    return sorted(found, key=lambda each: settled(each.error))


def _with_gamuts(
    ends: tuple[int, int], fit: MatrixFit, bank: GamutBank, curve_error: float, most: int
) -> list[Scored]:
    """Two curves without a gamut, and with the `most` pairs nearest to the fitted matrix."""
    error, gain = match_gamuts(fit, bank)
    return [
        Scored(*ends, int(pair), float(gain[pair]), float(error[pair]), curve_error)
        for pair in {0, *best_first(error)[:most].tolist()}
        if np.isfinite(error[pair])
    ]


def _likeliest(
    samples: Samples,
    ends: Ends,
    places: list[tuple[int, int]],
    chosen: list[NDArray[np.int64]],
    *,
    absolute: bool,
) -> list[tuple[int, int]]:
    """The pairs of curves that fit a few of the nodes best, where there are many pairs."""
    if len(places) <= TRIED:
        return places
    few = [each[:: max(1, len(each) // FEW)] for each in chosen]
    fits = _fitted(samples, ends, places, few, absolute=absolute, exact=False)
    order = sorted((settled(fit.error), i, j) for i, j, fit in fits)
    return [(i, j) for _, i, j in order[: PARTLY_TRIED if absolute else TRIED]]


def _fitted(
    samples: Samples,
    ends: Ends,
    places: Sequence[tuple[int, int]],
    chosen: list[NDArray[np.int64]],
    *,
    absolute: bool = False,
    exact: bool = True,
) -> list[tuple[int, int, MatrixFit]]:
    """The fits of pairs of curves by their indices, without those with too few nodes."""
    pairs = [(ends[0][i], ends[1][j]) for i, j in places]
    found = fit_matrices(samples, pairs, chosen, absolute=absolute, exact=exact)
    return [(i, j, fit) for (i, j), fit in zip(places, found, strict=True) if fit is not None]


def search_partly(
    samples: Samples,
    sources: list[End],
    targets: list[End],
    bank: GamutBank,
    match: NeutralMatch,
    places: list[tuple[int, int]],
) -> list[Scored]:
    """Hypotheses that explain the neutral axis and a part of the rest exactly.

    A look on some hues, or a gamut compression, leaves other nodes unchanged. Sums of
    absolute errors find those among all nodes near neutral, least squares among the nodes of
    some hues.
    """
    inner = inner_nodes(samples)
    likely = _likeliest(samples, (sources, targets), places, [inner] * 3, absolute=True)
    fits = _fitted(samples, (sources, targets), likely, [inner] * 3, absolute=True)
    fits.sort(key=lambda each: settled(each[2].error))
    if not fits or fits[0][2].error > PARTLY:
        likely = [(i, j) for i, j, _ in fits] or places[:PARTLY_TRIED]
        for hues in hue_windows(samples.table.reshape(-1, 3)[inner]):
            chosen = inner[hues][::2]
            found_there = _fitted(samples, (sources, targets), likely, [chosen] * 3, exact=False)
            fits += [each for each in found_there if each[2].share > 0.6]
    best: dict[tuple[int, int], MatrixFit] = {}
    for i, j, fit in sorted(fits, key=lambda each: settled(each[2].error)):
        # Each pair of curves once, with the hues that it explains best.
        best.setdefault((i, j), fit)
    found: list[Scored] = []
    for (i, j), fit in list(best.items())[:FOLLOWED]:
        found += _with_gamuts((i, j), fit, bank, float(match.error[i, j]), 4)
    return sorted(found, key=lambda each: settled(each.error))


def finalists_of(
    scored: list[Scored],
    samples: Samples,
    knowledge: Knowledge,
) -> list[Finalist]:
    """The best of the scored conversions, computed on all nodes."""
    finalists: list[Finalist] = []
    seen: set[tuple[object, ...]] = set()
    for each in scored:
        pair = knowledge.bank.pair(each.pair)
        names = (None, None) if pair.alike else (pair.source.name, pair.target.name)
        key = (each.source, each.target, *names)
        if key in seen:
            continue
        seen.add(key)
        hypothesis = Hypothesis(
            knowledge.sources[each.source],
            knowledge.targets[each.target],
            pair,
            float(np.log2(each.gain)),
        )
        predicted = forecast(hypothesis, samples)
        # Noise is no evidence against a pair of curves.
        excess = np.sqrt(max(each.neutral**2 - samples.noise**2, 0.0))
        cost = float(cost_of(np.array(excess), 1))
        finalists.append(Finalist(hypothesis, predicted, error_of(predicted, samples), cost))
        if len(finalists) >= FORECASTS:
            break
    return finalists


def hue_of(outputs: Array) -> Array:
    """The angle of R G B about the neutral axis in radians, red at 0, shape (...)."""
    r, g, b = np.moveaxis(np.asarray(outputs, dtype=np.float64), -1, 0)
    return np.asarray(np.arctan2(np.sqrt(3) * (g - b), 2 * r - g - b))


def hue_windows(outputs: Array) -> list[NDArray[np.int64]]:
    """Indices of the rows of outputs (n, 3) in each of six windows of hue that overlap.

    A window with too few is left out.
    """
    hue = hue_of(outputs)
    found = []
    for centre in np.arange(WINDOWS) * 2 * np.pi / WINDOWS:
        apart = np.abs(np.angle(np.exp(1j * (hue - centre))))
        inside = np.flatnonzero(apart <= WIDTH)
        if len(inside) >= FEWEST_OF_HUE:
            found.append(inside)
    return found
