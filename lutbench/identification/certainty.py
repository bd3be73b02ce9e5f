"""How certain each part of an answer is: its name against other names, and against no name."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from lutbench.identification.common import EARNED, SIX_DECIMALS
from lutbench.identification.curvebank import End
from lutbench.identification.forms.fitted import Fitted
from lutbench.identification.forms.search import UNMOVED
from lutbench.identification.forms.yardstick import Yardstick, measure
from lutbench.identification.hypothesis import Hypothesis, ToneTarget, forecast
from lutbench.identification.measured import Measured
from lutbench.identification.measuring import measured_of
from lutbench.identification.result import GUESS, LIKELY, Candidate, Confidence
from lutbench.identification.samples import range_seen
from lutbench.identification.verdict import Finalist, is_exact

NATS = 10.0
"""Nats up to which a lead counts in full; a larger one counts by its logarithm."""

DISPLAYED = 0.95
"""The rate at which a display's curve behind a measured one is right: see the page of identify."""

FAR = 1000.0
"""Nats of lead that a source is given where no other source can be fitted."""

HIDDEN = 0.1
"""10-bit codes added to an error before its logarithm is taken, which zero has none of."""

UNTOLD = 5.0
"""10-bit codes that a conversion counts as leaving where its pair of gamuts is not told: what it
leaves depends on which of many wrong pairs is the nearest, and that on the last digit of a solver.
With 2 or 8 codes the fitted odds are as good."""


UNEXPLAINED = 0.9
"""The share of likely names that is right where the whole is not explained: of 42 in LUTs made
elsewhere, 38 were."""


@dataclass(frozen=True)
class Seen:
    """What speaks for a name and against it."""

    evidence: float
    """A logarithm of nats: see `seen_of`."""
    residual: float
    """10-bit codes that the form leaves at the better part of the nodes."""
    left: float
    """10-bit codes, median, that the whole conversion leaves; for a source, see `UNTOLD`."""


@dataclass(frozen=True)
class Odds:
    """How often a name with what is seen of it is right: the logarithm of the odds is a sum.

    Its numbers are fitted by ``tests/benchmarks/calibration.py`` to LUTs of families made
    elsewhere.
    """

    start: float
    evidence: float
    residual: float
    left: float

    def rate(self, seen: Seen) -> float:
        """The rate at which names like this are right.

        >>> odds = Odds(0.0, 1.0, 1.0, 0.0)
        >>> round(odds.rate(Seen(2.0, 0.9, 5.0)), 3), odds.rate(Seen(0.0, 0.9, 5.0))
        (0.881, 0.5)
        """
        sizes = np.log(np.array([seen.residual, seen.left]) + HIDDEN)
        sum_of = self.start + self.evidence * seen.evidence
        sum_of -= self.residual * sizes[0] + self.left * sizes[1]
        return float(1 / (1 + np.exp(-sum_of)))


CURVE_ODDS = Odds(0.8, 0.22, 0.6, 0.54)
"""For a source curve."""

GAMUT_ODDS = Odds(4.0, 0.72, 0.91, 0.67)
"""For a pair of gamuts."""

GIVEN_ODDS = Odds(3.56, 0.28, 0.0, 0.0)
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
    rates = certainty.probabilities
    if level == "none":
        # Plateaus show the target's range whatever the rest is.
        rates = {k: v if k == "target range" else UNEXPLAINED * v for k, v in rates.items()}
    weighed = replace(candidate, confidence=certainty.level(level), probabilities=rates)
    yard = certainty.yardstick
    if yard is None or fitted.ground is None:
        return weighed, None
    grounds = samples, fitted.ground
    probabilities, known = certainty.probabilities, fitted.knowledge
    found = measured_of(best.hypothesis, yard, probabilities, grounds, known)
    return _shown_by(weighed, found), found


def _shown_by(candidate: Candidate, found: Measured | None) -> Candidate:
    """The candidate with the display's curve that shows behind a measured curve."""
    end = None if found is None else found.display
    h = candidate.hypothesis
    if end is None or h is None:
        return candidate
    return replace(
        candidate,
        others=tuple(one for one in candidate.others if one.target_end == h.target_end),
        target=replace(candidate.target, curve=end.curve.name, rendering=end.curve.rendering),
        same_as=replace(candidate.same_as, target_curve=tuple(end.curve.same_as)),
        probabilities=candidate.probabilities | {"target curve": DISPLAYED},
        hidden=tuple(part for part in candidate.hidden if part != "target curve"),
    )


def certainty_of(best: Finalist, fitted: Fitted) -> Certainty:
    """How certain the names of the best hypothesis are."""
    samples = fitted.samples
    if is_exact(best, samples):
        return Certainty({}, exact=True)
    if fitted.ground is None:
        return Certainty()
    yard = measure(best.hypothesis, fitted.ground, fitted)
    found = probabilities_of(best, yard)
    if range_seen(fitted.samples) not in (None, best.hypothesis.target.range):
        found["target range"] = min(found["target range"], GUESS)  # plateaus show another
    own = min(yard.named, yard.free_matrix)
    if yard.errors[2] <= fitted.floor and own - yard.free_curve > EARNED:
        # An unnamed curve fits as well as the nodes are known, so it is measured, not named;
        # and a range is that of a name.
        for part in ("source curve", "source range"):
            found[part] = min(found[part], GUESS)
    return Certainty(found, yardstick=yard)


def probabilities_of(best: Finalist, yard: Yardstick) -> dict[str, float]:
    """The probability of each part's name, by the evidence of the yardstick."""
    h = best.hypothesis
    curve, gamut = seen_of(yard, best)
    rate = CURVE_ODDS.rate(curve)
    found = {
        "source curve": rate,
        "source range": (1 + rate) / 2,  # behind a wrong curve either is as likely
        "target range": GIVEN_ODDS.rate(curve),
    }
    if h.gamuts[0] is not None:
        found |= dict.fromkeys(("source gamut", "target gamut"), GAMUT_ODDS.rate(gamut))
    mixes = h.norm is not None or h.rendering is not None
    unmoved = not mixes and bool(np.abs(yard.matrix - np.eye(3)).max() < UNMOVED)
    # Where no matrix mixes light, any source explains the nodes.
    if unmoved and (bool(h.grade) or isinstance(h.target, ToneTarget)):
        found |= {
            part: min(value, GUESS) for part, value in found.items() if part != "target range"
        }
    return found


def seen_of(yard: Yardstick, best: Finalist) -> tuple[Seen, Seen]:
    """What is seen of the source, and of the pair of gamuts, of a hypothesis.

    The evidence for a source is its lead over other sources, less the lead of a free curve over
    it; for a pair of gamuts, minus the lead of a free matrix over it.
    """
    own = min(yard.named, yard.free_matrix)
    other = min((nats for _, nats in yard.rivals), default=own + FAR)
    better = max(own - yard.free_curve, 0.0), max(yard.named - yard.free_matrix, 0.0)
    lead, curve, matrix = np.arcsinh(np.array([other - own, *better]) / NATS)
    named, free_matrix, _ = yard.errors
    left = best.forecast.median
    gamut = Seen(float(-matrix), named, left)
    is_told = best.hypothesis.pair.alike or GAMUT_ODDS.rate(gamut) > GUESS
    source = float(lead - curve), min(named, free_matrix), left if is_told else UNTOLD
    return Seen(*source), gamut


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
    return bool(np.ptp(rise) < SIX_DECIMALS < rise.min())
