"""How sure each part of an answer is: its name beside other names, and beside no name at all."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.forms.nodes import ground_of
from lutbench.identification.forms.score import INDEPENDENT
from lutbench.identification.forms.search import LEAST_FLOOR, UNMOVED
from lutbench.identification.forms.yardstick import BENDS, ROWS, Yardstick, measure
from lutbench.identification.gamutbank import Pair
from lutbench.identification.hypothesis import Hypothesis, ToneTarget, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.measured import Measured
from lutbench.identification.measuring import measured_of
from lutbench.identification.result import TOLD, Candidate, Confidence
from lutbench.identification.samples import CODES, Samples
from lutbench.identification.verdict import Finalist

ROUNDING, ROUNDING_CODES = 1.02, 0.004
"""What an exact answer may leave: this many times the rounding of the file, and some codes."""

AT_NOISE = 1.1
"""A free form that leaves no more than so many times the noise: then each value tells by itself."""

WELL = 0.5
"""Codes that a source and a free matrix may leave where the source counts by itself."""

MUCH = 4.0
"""Codes: an answer that leaves more in the better three quarters of the nodes is a guess."""

UNSEEN = 0.5
"""The most that a name is worth that the nodes cannot tell."""

STRAIGHT = 1e-6
"""How far steps of log slope may differ along a plain logarithm: what arithmetic leaves."""

FREE_MATRIX = 6
"""The free numbers of a matrix that keeps neutrals."""


@dataclass(frozen=True)
class Odds:
    """What turns nats into probabilities: learnt by ``tests/benchmarks/calibration.py``.

    The numbers are those of eight LUTs of each of 21 families, first seed 300.

    Parameters
    ----------
    temperature
        Nats of the nodes that count as one, since misses of neighbours are alike.
    nameless
        Nats that no name costs beside a name: how rare parts are that nobody registered.
    lift, slope
        The logit of a probability is this much, and so many times that of the nats: a form that
        does not describe all of a LUT makes nats surer of themselves than they should be.
    """

    temperature: float = 2.0
    nameless: float = 0.0
    lift: float = 1.39
    slope: float = 0.18

    def told(self, nats: float) -> float:
        """The probability that is told, of the one that nats give.

        >>> round(Odds(lift=0.0, slope=1.0).told(0.25), 6), Odds().told(1.0) > 0.9
        (0.25, True)
        """
        held = min(max(nats, SURELY), 1 - SURELY)
        return float(1 / (1 + np.exp(-self.lift) * ((1 - held) / held) ** self.slope))


SURELY = 1e-4
"""No probability of nats counts as nearer to 0 or 1."""

LEARNT = Odds()


@dataclass(frozen=True)
class Certainty:
    """Probabilities of the parts that were weighed, and what they were weighed with."""

    probabilities: dict[str, float] = field(default_factory=dict)
    exact: bool = False
    yardstick: Yardstick | None = None

    def level(self, before: Confidence) -> Confidence:
        """The word for the whole: what the search thought of it, held to what the names earn."""
        source = self.probabilities.get("source curve")
        if self.exact or source is None or before == "none":
            return before
        if before == "low":
            # Its names of gamuts may be far off, and the curve be told all the same.
            fine = self.yardstick is not None and self.yardstick.errors[1] <= WELL
            return "medium" if fine and source >= TOLD else "low"
        return "medium" if source >= TOLD else "low"

    @property
    def not_told(self) -> tuple[str, ...]:
        """The parts whose names are no more than guesses."""
        return tuple(part for part, value in self.probabilities.items() if value < TOLD)


def with_certainty(
    candidate: Candidate, best: Finalist, samples: Samples, knowledge: Knowledge
) -> tuple[Candidate, Measured | None]:
    """The best candidate with what its names are worth, and what was measured in their stead."""
    told = forecast(best.hypothesis, samples)
    certainty = certainty_of(replace(best, forecast=told), samples, knowledge)
    level = candidate.confidence
    if level == "high" and not (certainty.exact and _is_alone(candidate, best.hypothesis)):
        level = "medium"
    untold = dict.fromkeys((*candidate.not_told, *certainty.not_told))
    weighed = replace(
        candidate,
        confidence=certainty.level(level),
        not_told=tuple(untold),
        probabilities=certainty.probabilities,
    )
    yard = certainty.yardstick
    ground = None if yard is None else ground_of(samples)
    if yard is None or ground is None:
        return weighed, None
    seen = samples, ground
    return weighed, measured_of(best.hypothesis, yard, certainty.probabilities, seen, knowledge)


def certainty_of(best: Finalist, samples: Samples, knowledge: Knowledge) -> Certainty:
    """How sure the names of the best hypothesis are."""
    if is_exact(best, samples):
        return Certainty({}, exact=True)
    ground = None if samples.one_d else ground_of(samples)
    if ground is None:
        return Certainty()
    floor = max(samples.noise, LEAST_FLOOR)
    yard = measure(best.hypothesis, samples, ground, knowledge, floor)
    return Certainty(probabilities_of(best.hypothesis, yard, samples.noise), yardstick=yard)


def probabilities_of(
    h: Hypothesis, yard: Yardstick, noise: float, odds: Odds = LEARNT
) -> dict[str, float]:
    """Of the parts that the yardstick weighs.

    The names with each other, the curve's name with a free matrix, a free curve with the
    name of a pair of gamuts, both free, and other sources: each pays for its freedom, and
    for having no name.
    """
    scale, freedom = 1 / odds.temperature, np.log(INDEPENDENT) / 2 / odds.temperature
    if yard.errors[2] <= AT_NOISE * noise:
        # Rounding tells each value apart from its neighbours.
        scale, freedom = 3 * ROWS / INDEPENDENT, np.log(3 * ROWS) / 2
    matrix, curve = FREE_MATRIX * freedom + odds.nameless, BENDS * freedom + odds.nameless
    named, unpaired = yard.named * scale, yard.free_matrix * scale + matrix
    held = np.inf if yard.held is None else yard.held.nats * scale + curve
    # A rival has a free matrix too: it may yet have a name, where that of the best has one.
    more = 0.0 if named <= unpaired else matrix
    rivals = [nats * scale + more for _, nats in yard.rivals]
    nats = np.array([named, unpaired, held, yard.free_curve * scale + matrix + curve, *rivals])
    weights = np.exp(-np.minimum(nats - nats.min(), 500.0))
    weights /= weights.sum()
    source, gamut = float(weights[0] + weights[1]), float(weights[0])
    if yard.held is not None and _names(yard.held.pair) == _names(h.pair):
        gamut += float(weights[2])
    unmoved = bool(np.abs(yard.matrix - np.eye(3)).max() < UNMOVED)
    # Where no matrix mixes light, any source explains the nodes.
    unmoved &= bool(h.grade) or isinstance(h.target, ToneTarget)
    if unmoved or yard.errors[1] > MUCH:
        source, gamut = min(source, UNSEEN), min(gamut, UNSEEN)
    found = {"source curve": source, "source range": source}
    if isinstance(h.target, ToneTarget) and h.target.guessed:
        found["target curve"] = source
    if not h.pair.alike:
        found |= {"source gamut": gamut, "target gamut": gamut}
    return {part: odds.told(value) for part, value in found.items()}


def _is_alone(candidate: Candidate, h: Hypothesis) -> bool:
    """Whether no other encoding does as well: other names of the same one do not count.

    Where the gamut alone is converted, curves that differ by an added light are one to a LUT.
    Film densities are coded as a plain logarithm with whatever black is wanted, so of such a
    curve there are more than anybody registered.
    """
    if any((one.source.number, one.target_end) != _ends(h) for one in candidate.others):
        return False
    gamut_only = isinstance(h.target, End) and h.target.number == h.source.number
    return not (gamut_only and not h.pair.alike and _is_plain_log(h.source))


def _ends(h: Hypothesis) -> tuple[int, End | None]:
    return h.source.number, h.target_end


def _is_plain_log(end: End) -> bool:
    """Whether light is one exponential of the signal and an added light, from end to end."""
    signal = np.linspace(0.02, 0.98, 49)
    slope = np.diff(np.asarray(end.curve.curve.decode(signal)))
    rise = np.diff(np.log(np.maximum(slope, 1e-300)))
    return bool(np.ptp(rise) < STRAIGHT < rise.min())


def _names(pair: Pair) -> tuple[str, str]:
    return pair.source.name, pair.target.name


def is_exact(best: Finalist, samples: Samples) -> bool:
    """Whether named parts alone explain every value to the rounding of the file."""
    h = best.hypothesis
    if isinstance(h.target, ToneTarget):
        return False
    told = best.forecast
    left = float(np.sqrt(np.mean(np.square(told.miss))))
    return left <= ROUNDING * max(samples.noise, 1e-6 * CODES) + ROUNDING_CODES
