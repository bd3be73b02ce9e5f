"""Pairs of gamuts by trial: each predicts the nodes, and the number of correct nodes decides.

Where the neutral axis shows both curves, but a look acts on some hues and clipping on most of
the rest, a matrix cannot be fitted to so few nodes. A pair of gamuts has no free parameters:
it either agrees with the unaffected nodes or does not.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.curvebank import End
from lutbench.identification.gamutbank import GamutBank
from lutbench.identification.known import Scored
from lutbench.identification.matrix import inner_nodes
from lutbench.identification.neutral import NeutralMatch
from lutbench.identification.ordering import best_first
from lutbench.identification.samples import CODES, Samples

CURVES = 2
"""Pairs of curves that are tried: those that explain the neutral axis best."""

FEW, MANY = 200, 2500
"""Nodes nearest neutral that sift all pairs of gamuts, and nodes that decide between the best."""

SIFTED = 12
"""Pairs of gamuts that are tried with every adaptation."""

REPORTED = 3
"""Conversions of the best pair that are reported: its adaptations."""

AGREES = 0.3
"""10-bit codes, beside the noise, within which a node agrees."""

FEWEST = 12
"""The fewest nodes that must agree: of thousands of pairs some agree with a few by chance."""

STANDS_OUT = 2.0
"""Times as many nodes as with any other gamuts that must agree."""

CHUNK = 300
"""Pairs of gamuts that are computed at once, which limits memory."""


def search_by_trial(
    samples: Samples,
    sources: Sequence[End],
    targets: Sequence[End],
    bank: GamutBank,
    match: NeutralMatch,
    within: float,
) -> list[Scored]:
    """Hypotheses of the curves that explain the neutral axis to `within` codes, best first.

    Only where one pair of gamuts stands out; the error is the share of nodes that disagree.
    """
    clear = np.flatnonzero(samples.clear.all(axis=-1))
    if samples.one_d or not len(clear):
        return []
    inner = inner_nodes(samples, FEW)
    nodes = np.random.default_rng(5).permutation(clear)[:MANY]
    plain = np.flatnonzero((bank.adaptations == bank.adaptations.min()) & ~bank.published)
    found: list[Scored] = []
    for i, j in match.shortlist(within, CURVES):
        gain = float(2 ** match.stops[i, j].mean())
        trial = _Trial(samples, sources[i], targets[j], gain, bank)
        best = plain[best_first(-trial.agreeing(plain, inner))[:SIFTED]]
        names = bank.sources * len(bank.gamuts) + bank.targets
        every = np.flatnonzero(np.isin(names, names[best]))
        agreeing = trial.agreeing(every, nodes)
        order = best_first(-agreeing)
        first = names[every[order[0]]]
        rival = agreeing[names[every] != first].max(initial=0)
        if agreeing[order[0]] < max(FEWEST, STANDS_OUT * rival):
            continue
        neutral = float(match.error[i, j])
        found += [
            Scored(i, j, int(every[p]), gain, 1 - agreeing[p] / len(nodes), neutral)
            for p in order[:REPORTED]
            if names[every[p]] == first
        ]
    return sorted(found, key=lambda each: each.error)


class _Trial:
    """The predictions of pairs of gamuts between two curves."""

    def __init__(
        self, samples: Samples, source: End, target: End, gain: float, bank: GamutBank
    ) -> None:
        self.samples, self.target, self.bank = samples, target, bank
        self.light = np.nan_to_num(source.of_axis(samples.axis)) * gain
        self.limit = (AGREES + 2 * samples.noise) / CODES

    def agreeing(self, pairs: NDArray[np.int64], nodes: NDArray[np.int64]) -> NDArray[np.int64]:
        """For each pair the number of nodes that it keeps in gamut and predicts correctly."""
        size = len(self.samples.axis)
        places = np.stack(np.unravel_index(nodes, (size, size, size)), axis=-1)
        light_in, wanted = self.light[places], self.samples.table.reshape(-1, 3)[nodes]
        counts = np.empty(len(pairs), dtype=np.int64)
        for first in range(0, len(pairs), CHUNK):
            some = slice(first, first + CHUNK)
            light = light_in @ self.bank.matrices[pairs[some]].swapaxes(1, 2)
            values, _ = self.target.values_near(light)
            agrees = (np.abs(values - wanted) <= self.limit) & (light > 0)
            counts[some] = agrees.all(axis=2).sum(axis=1)
        return counts
