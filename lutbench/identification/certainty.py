"""How sure each part of an answer is: its name beside other names, and beside no name at all."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.forms.fitted import Fitted
from lutbench.identification.forms.search import UNMOVED
from lutbench.identification.forms.yardstick import Yardstick, measure
from lutbench.identification.hypothesis import Hypothesis, ToneTarget, forecast
from lutbench.identification.measured import Measured
from lutbench.identification.measuring import EARNED, measured_of
from lutbench.identification.result import TOLD, Candidate, Confidence
from lutbench.identification.samples import CODES, Samples
from lutbench.identification.verdict import Finalist

ROUNDING, ROUNDING_CODES = 1.02, 0.004
"""What an exact answer may leave: this many times the rounding of the file, and some codes."""

UNSEEN = 0.5
"""The most that a name is worth that the nodes cannot tell."""

NATS = 10.0
"""Nats under which leads count as they are, and over which by their logarithm."""

FAR = 1000.0
"""Nats by which a source leads where no other can be fitted."""

WELL = 0.5
"""Codes up to which a form explains the better part of the nodes well."""

STRAIGHT = 1e-6
"""How far steps of log slope may differ along a plain logarithm: what arithmetic leaves."""


@dataclass(frozen=True)
class Seen:
    """What speaks for a name, as a logarithm of nats; and the codes that are left."""

    speaks: float
    left: float


@dataclass(frozen=True)
class Odds:
    """How often names are right that have as much speaking for them: rates, in steps.

    One row where the form explains the nodes well, another where a look is in no form and
    nothing means what it says. Counted by ``tests/benchmarks/calibration.py`` on LUTs of families
    made elsewhere.
    """

    edges: tuple[float, ...]
    """What has to speak for a name for the second rate of a row, the third, and so on."""
    well: tuple[float, ...]
    poor: tuple[float, ...]

    def told(self, seen: Seen) -> float:
        """The rate of names with as much speaking for them.

        >>> odds = Odds((0.0,), (0.5, 0.9), (0.2, 0.6))
        >>> odds.told(Seen(1.0, 0.1)), odds.told(Seen(-1.0, 3.0))
        (0.9, 0.2)
        """
        row = self.well if seen.left <= WELL else self.poor
        return row[sum(seen.speaks >= edge for edge in self.edges)]


CURVE_ODDS = Odds((-1.0, 0.5), (0.31, 0.50, 0.90), (0.22, 0.50, 0.79))
"""Of a source curve."""

RANGE_ODDS = Odds((-1.0, 0.5), (0.56, 0.70, 0.99), (0.47, 0.70, 0.93))
"""Of the source's range."""

GAMUT_ODDS = Odds((-2.0,), (0.75, 0.98), (0.34, 0.83))
"""Of a pair of gamuts. The last rate is counted on four LUTs, all right: five of six is what four
right ones are worth by Laplace's rule of succession."""

GIVEN_ODDS = Odds((), (0.99,), (0.98,))
"""Of the target's range, which plateaus tell nearly always."""


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
        return "medium" if source >= TOLD else "low"

    @property
    def not_told(self) -> tuple[str, ...]:
        """The parts whose names are no more than guesses."""
        return tuple(part for part, value in self.probabilities.items() if value < TOLD)


def with_certainty(
    candidate: Candidate, best: Finalist, fitted: Fitted
) -> tuple[Candidate, Measured | None]:
    """The best candidate with what its names are worth, and what was measured in their stead."""
    samples = fitted.samples
    told = forecast(best.hypothesis, samples)
    certainty = certainty_of(replace(best, forecast=told), fitted)
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
    if yard is None or fitted.ground is None:
        return weighed, None
    seen = samples, fitted.ground
    told_parts, known = certainty.probabilities, fitted.knowledge
    return weighed, measured_of(best.hypothesis, yard, told_parts, seen, known)


def certainty_of(best: Finalist, fitted: Fitted) -> Certainty:
    """How sure the names of the best hypothesis are."""
    samples = fitted.samples
    if is_exact(best, samples):
        return Certainty({}, exact=True)
    if fitted.ground is None:
        return Certainty()
    yard = measure(best.hypothesis, fitted.ground, fitted)
    told = probabilities_of(best.hypothesis, yard)
    own = min(yard.named, yard.free_matrix)
    if yard.errors[2] <= fitted.floor and own - yard.free_curve > EARNED:
        # A curve without a name leaves no more than nodes are known to: it is measured, not named.
        told["source curve"] = min(told["source curve"], UNSEEN)
    return Certainty(told, yardstick=yard)


def probabilities_of(h: Hypothesis, yard: Yardstick) -> dict[str, float]:
    """Of each part, by what the yardstick shows of it."""
    curve, gamut = seen_of(yard)
    told = {
        "source curve": CURVE_ODDS.told(curve),
        "source range": RANGE_ODDS.told(curve),
        "target range": GIVEN_ODDS.told(curve),
    }
    if not h.pair.alike:
        told |= dict.fromkeys(("source gamut", "target gamut"), GAMUT_ODDS.told(gamut))
    mixes = h.norm is not None or h.rendering is not None
    unmoved = not mixes and bool(np.abs(yard.matrix - np.eye(3)).max() < UNMOVED)
    # Where no matrix mixes light, any source explains the nodes.
    if unmoved and (bool(h.grade) or isinstance(h.target, ToneTarget)):
        told |= {part: min(value, UNSEEN) for part, value in told.items() if part != "target range"}
    if isinstance(h.target, ToneTarget) and h.target.guessed:
        told["target curve"] = told["source curve"]
    return told


def seen_of(yard: Yardstick) -> tuple[Seen, Seen]:
    """What speaks for a source, and for a pair of gamuts.

    For a source its lead before others beside what a free curve does better than it; against a
    pair of gamuts what a free matrix does better.
    """
    own = min(yard.named, yard.free_matrix)
    other = min((nats for _, nats in yard.rivals), default=own + FAR)
    better = max(own - yard.free_curve, 0.0), max(yard.named - yard.free_matrix, 0.0)
    lead, curve, matrix = np.arcsinh(np.array([other - own, *better]) / NATS)
    named, free_matrix, _ = yard.errors
    return Seen(float(lead - curve), free_matrix), Seen(float(-matrix), named)


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


def is_exact(best: Finalist, samples: Samples) -> bool:
    """Whether named parts alone explain every value to the rounding of the file."""
    h = best.hypothesis
    if isinstance(h.target, ToneTarget):
        return False
    told = best.forecast
    left = float(np.sqrt(np.mean(np.square(told.miss))))
    return left <= ROUNDING * max(samples.noise, 1e-6 * CODES) + ROUNDING_CODES
