"""How certain each part of an answer is: its name against other names, and against no name."""

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
from lutbench.identification.result import LIKELY, Candidate, Confidence
from lutbench.identification.samples import CODES, Samples
from lutbench.identification.verdict import Finalist

ROUNDING = 1.02
"""Times the rounding of the file that the residual of an exact answer may reach."""

ROUNDING_CODES = 0.004
"""10-bit codes by which the residual of an exact answer may exceed that."""

UNSEEN = 0.5
"""The highest probability of a name for which the nodes hold no evidence."""

NATS = 10.0
"""Nats up to which a lead counts in full; a larger one counts by its logarithm."""

FAR = 1000.0
"""Nats of lead that a source is given where no other source can be fitted."""

WELL = 0.5
"""10-bit codes up to which a form explains the better part of the nodes well."""

STRAIGHT = 1e-6
"""How far steps of log slope may differ along a plain logarithm: the error of arithmetic."""


@dataclass(frozen=True)
class Seen:
    """The evidence for a name, as a logarithm of nats; and the residual in 10-bit codes."""

    evidence: float
    residual: float


@dataclass(frozen=True)
class Odds:
    """How often a name with a given amount of evidence is right: rates, in steps of evidence.

    One row where the form explains the nodes well, another where it does not, so that the
    evidence is less reliable. Counted by ``tests/benchmarks/calibration.py`` on LUTs of families
    made elsewhere.
    """

    edges: tuple[float, ...]
    """The evidence needed for the second rate of a row, the third, and so on."""
    well: tuple[float, ...]
    poor: tuple[float, ...]

    def rate(self, seen: Seen) -> float:
        """The rate at which names with this evidence are right.

        >>> odds = Odds((0.0,), (0.5, 0.9), (0.2, 0.6))
        >>> odds.rate(Seen(1.0, 0.1)), odds.rate(Seen(-1.0, 3.0))
        (0.9, 0.2)
        """
        row = self.well if seen.residual <= WELL else self.poor
        return row[sum(seen.evidence >= edge for edge in self.edges)]


CURVE_ODDS = Odds((-1.0, 0.5), (0.31, 0.50, 0.90), (0.22, 0.50, 0.79))
"""For a source curve."""

RANGE_ODDS = Odds((-1.0, 0.5), (0.56, 0.70, 0.99), (0.47, 0.70, 0.93))
"""For the source's range."""

GAMUT_ODDS = Odds((-2.0,), (0.75, 0.98), (0.34, 0.83))
"""For a pair of gamuts. The last rate is counted on four LUTs, all right: by Laplace's rule of
succession, four of four count as five of six."""

GIVEN_ODDS = Odds((), (0.99,), (0.98,))
"""For the target's range, which plateaus nearly always show."""


@dataclass(frozen=True)
class Certainty:
    """Probabilities of the parts that were judged, and the yardstick for them."""

    probabilities: dict[str, float] = field(default_factory=dict)
    exact: bool = False
    yardstick: Yardstick | None = None

    def level(self, before: Confidence) -> Confidence:
        """The confidence in the whole: that of the search, lowered where names are uncertain."""
        source = self.probabilities.get("source curve")
        if self.exact or source is None or before == "none":
            return before
        return "medium" if source >= LIKELY else "low"

    @property
    def not_told(self) -> tuple[str, ...]:
        """The parts whose names are guesses."""
        return tuple(part for part, value in self.probabilities.items() if value < LIKELY)


def with_certainty(
    candidate: Candidate, best: Finalist, fitted: Fitted
) -> tuple[Candidate, Measured | None]:
    """The best candidate with the probabilities of its names, and what was measured instead."""
    samples = fitted.samples
    predicted = forecast(best.hypothesis, samples)
    certainty = certainty_of(replace(best, forecast=predicted), fitted)
    level = candidate.confidence
    if level == "high" and not (certainty.exact and _is_alone(candidate, best.hypothesis)):
        level = "medium"
    guesses = dict.fromkeys((*candidate.not_told, *certainty.not_told))
    weighed = replace(
        candidate,
        confidence=certainty.level(level),
        not_told=tuple(guesses),
        probabilities=certainty.probabilities,
    )
    yard = certainty.yardstick
    if yard is None or fitted.ground is None:
        return weighed, None
    grounds = samples, fitted.ground
    probabilities, known = certainty.probabilities, fitted.knowledge
    return weighed, measured_of(best.hypothesis, yard, probabilities, grounds, known)


def certainty_of(best: Finalist, fitted: Fitted) -> Certainty:
    """How certain the names of the best hypothesis are."""
    samples = fitted.samples
    if is_exact(best, samples):
        return Certainty({}, exact=True)
    if fitted.ground is None:
        return Certainty()
    yard = measure(best.hypothesis, fitted.ground, fitted)
    found = probabilities_of(best.hypothesis, yard)
    own = min(yard.named, yard.free_matrix)
    if yard.errors[2] <= fitted.floor and own - yard.free_curve > EARNED:
        # An unnamed curve fits as well as the nodes are known, so it is measured, not named.
        found["source curve"] = min(found["source curve"], UNSEEN)
    return Certainty(found, yardstick=yard)


def probabilities_of(h: Hypothesis, yard: Yardstick) -> dict[str, float]:
    """The probability of each part's name, by the evidence of the yardstick."""
    curve, gamut = seen_of(yard)
    found = {
        "source curve": CURVE_ODDS.rate(curve),
        "source range": RANGE_ODDS.rate(curve),
        "target range": GIVEN_ODDS.rate(curve),
    }
    if not h.pair.alike:
        found |= dict.fromkeys(("source gamut", "target gamut"), GAMUT_ODDS.rate(gamut))
    mixes = h.norm is not None or h.rendering is not None
    unmoved = not mixes and bool(np.abs(yard.matrix - np.eye(3)).max() < UNMOVED)
    # Where no matrix mixes light, any source explains the nodes.
    if unmoved and (bool(h.grade) or isinstance(h.target, ToneTarget)):
        found |= {
            part: min(value, UNSEEN) for part, value in found.items() if part != "target range"
        }
    if isinstance(h.target, ToneTarget) and h.target.guessed:
        found["target curve"] = found["source curve"]
    return found


def seen_of(yard: Yardstick) -> tuple[Seen, Seen]:
    """The evidence for a source, and for a pair of gamuts.

    For a source: its lead over other sources, less the lead of a free curve over it. For a pair
    of gamuts: minus the lead of a free matrix over it.
    """
    own = min(yard.named, yard.free_matrix)
    other = min((nats for _, nats in yard.rivals), default=own + FAR)
    better = max(own - yard.free_curve, 0.0), max(yard.named - yard.free_matrix, 0.0)
    lead, curve, matrix = np.arcsinh(np.array([other - own, *better]) / NATS)
    named, free_matrix, _ = yard.errors
    return Seen(float(lead - curve), min(named, free_matrix)), Seen(float(-matrix), named)


def _is_alone(candidate: Candidate, h: Hypothesis) -> bool:
    """Whether no other encoding explains the LUT as well; synonyms do not count.

    A LUT that converts only the gamut cannot separate curves that differ by an added light.
    Film densities are coded as a plain logarithm with any black, so there are more such curves
    than registries hold.
    """
    if any((one.source.number, one.target_end) != _ends(h) for one in candidate.others):
        return False
    gamut_only = isinstance(h.target, End) and h.target.number == h.source.number
    return not (gamut_only and not h.pair.alike and _is_plain_log(h.source))


def _ends(h: Hypothesis) -> tuple[int, End | None]:
    return h.source.number, h.target_end


def _is_plain_log(end: End) -> bool:
    """Whether light is an exponential of the signal plus a constant, from end to end."""
    signal = np.linspace(0.02, 0.98, 49)
    slope = np.diff(np.asarray(end.curve.curve.decode(signal)))
    rise = np.diff(np.log(np.maximum(slope, 1e-300)))
    return bool(np.ptp(rise) < STRAIGHT < rise.min())


def is_exact(best: Finalist, samples: Samples) -> bool:
    """Whether named parts alone explain every value to the rounding of the file."""
    h = best.hypothesis
    if isinstance(h.target, ToneTarget):
        return False
    residual = float(np.sqrt(np.mean(np.square(best.forecast.miss))))
    return residual <= ROUNDING * max(samples.noise, 1e-6 * CODES) + ROUNDING_CODES
