"""From hypotheses with their errors to an answer: ties, kind, confidence, candidates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lutbench.identification.common import EXACT, LEAST, SIX_DECIMALS, rounded
from lutbench.identification.curvebank import End
from lutbench.identification.hypothesis import Forecast, Hypothesis, ToneTarget
from lutbench.identification.ordering import settled
from lutbench.identification.plausible import uncommonness
from lutbench.identification.result import Candidate, Confidence, Kind, SameAs, Side
from lutbench.identification.samples import CODES, NOISE_CODES, Samples
from lutbench.model.curves.tabulated import Tabulated
from lutbench.tables.lut import Lut1D

SHOWN = 8
"""Candidates that are reported; the rest are too unlikely to help."""

HIDES = 0.4
"""The share of a typical error below which a difference is hidden by it."""

TIE_SHARE = 0.06
"""The share of the best error up to which another error is a tie with it."""

TIE_CODES = 0.004
"""10-bit codes up to which two errors are a tie, however small the best is."""

PLAIN_CODES = 1.0
"""10-bit codes, median, within which a table is the encoding itself, without a tone curve."""

TIE_COST = 6.0
"""The difference of costs up to which two finalists are a tie."""

WEIGHT = 400.0
"""An error of e codes costs this times log e: it rests on hundreds of nodes."""


@dataclass(frozen=True)
class Finalist:
    """A hypothesis with its forecast."""

    hypothesis: Hypothesis
    forecast: Forecast
    error: float
    """The typical error in codes, over the values clear of clipping."""
    curve_cost: float = 0.0
    """The cost of the curve's explanation: see `freecurve.cost_of`."""
    nats: float = float("nan")
    """Minus the log likelihood of the forecast over all nodes: see `forms.score`."""

    @property
    def cost(self) -> float:
        """The number that ranks hypotheses: both errors, and how uncommon the names are."""
        error = WEIGHT * float(np.log(self.error + LEAST))
        return error + self.curve_cost + uncommonness(self.hypothesis)

    @property
    def key(self) -> tuple[object, ...]:
        """The names, without adaptation and rounding of matrices."""
        h = self.hypothesis
        end = h.target_end
        pair = (None, None) if h.pair.alike else (h.pair.source.name, h.pair.target.name)
        target = (end.number, end.range) if end else (None, h.target.range)
        return (h.source.number, h.source.range, *target, *pair)


def is_exact(best: Finalist, samples: Samples) -> bool:
    """Whether named parts alone explain every value to the rounding and the noise of the file."""
    h = best.hypothesis
    named = isinstance(h.target, End) and not any(isinstance(each, Lut1D) for each in h.grade)
    residual = float(np.sqrt(np.mean(np.square(best.forecast.miss))))
    return named and residual <= rounded(samples.noise)


def ranked(finalists: Sequence[Finalist]) -> list[Finalist]:
    """The finalists, best first; each set of names once."""
    order: list[Finalist] = []
    seen: set[tuple[object, ...]] = set()
    for each in sorted(finalists, key=lambda one: settled(one.cost)):
        if each.key not in seen:
            seen.add(each.key)
            order.append(each)
    return order


def resolution(error: float, samples: Samples) -> float:
    """The difference in codes below which this LUT cannot separate two hypotheses.

    A residual hides smaller differences, whether it comes from a look, rounding or noise.
    """
    return HIDES * float(np.clip(error, samples.floor, NOISE_CODES))


def is_alike(one: Finalist, best: Finalist, samples: Samples) -> bool:
    """Whether the two predictions differ by less than the LUT can resolve."""
    off = (one.forecast.values - best.forecast.values)[best.forecast.counted] * CODES
    return bool(np.sqrt(np.mean(off**2)) <= resolution(best.error, samples))


def is_tie(one: Finalist, best: Finalist) -> bool:
    """Whether the errors of the two differ by no more than rounding and noise."""
    slack = max(TIE_SHARE * best.error, TIE_CODES)
    near = bool(one.error**2 - best.error**2 <= slack**2)
    return near and one.curve_cost - best.curve_cost < TIE_COST


def kind_of(hypothesis: Hypothesis) -> Kind:
    """The kind of LUT that a hypothesis describes."""
    end = hypothesis.target_end
    same_curve = (
        end is not None
        and not (hypothesis.built and hypothesis.built.tone)
        and end.number == hypothesis.source.number
        and (isinstance(hypothesis.target, End) or _is_plain(hypothesis.target, end))
    )
    if same_curve and not hypothesis.pair.alike:
        return "gamut"
    made = hypothesis.built
    mixed = made is not None and made.tone is not None and not made.tone.per_channel
    if not hypothesis.pair.alike or mixed or hypothesis.norm or hypothesis.rendering:
        return "combined"
    unchanged = (
        same_curve
        and isinstance(hypothesis.target, End)
        and hypothesis.source.range == hypothesis.target.range
        and abs(hypothesis.stops) < 0.002
    )
    return "identity" if unchanged else "curve"


def _is_plain(target: ToneTarget, end: End) -> bool:
    """Whether a tabulated curve is only the encoding it is based on, without a tone curve."""
    if not isinstance(target.curve, Tabulated):
        return False
    off = target.encode(np.array(target.curve.light)) - end.encode(np.array(target.curve.light))
    return bool(np.median(np.abs(off)) * CODES <= PLAIN_CODES)


def candidates_of(
    order: Sequence[Finalist], samples: Samples
) -> tuple[tuple[Candidate, float], ...]:
    """The candidates of ranked finalists with their errors in codes.

    Ties are folded into `same_as` where one name differs.
    """
    taken: list[tuple[Finalist, list[Finalist]]] = []
    for each in order:
        for first, others in taken:
            fit = _folds(each, first) or _is_one_conversion(each, first)
            if fit and (is_tie(each, first) or is_alike(each, first, samples)):
                others.append(each)
                break
        else:
            taken.append((each, []))
    level = confidence_of([first for first, _ in taken], samples)
    return tuple(
        (_candidate(first, others, level if i == 0 else "low"), first.error)
        for i, (first, others) in enumerate(taken[:SHOWN])
    )


def _folds(one: Finalist, other: Finalist) -> bool:
    """Whether the two differ in one name only (or in the curve of both ends alike)."""
    a, b = one.key, other.key
    if (a[1], a[3]) != (b[1], b[3]):
        return False
    differ = [i for i in (0, 2, 4, 5) if a[i] != b[i]]
    if len(differ) <= 1:
        return True
    return differ == [0, 2] and a[0] == a[2] and b[0] == b[2]


def _is_one_conversion(one: Finalist, other: Finalist) -> bool:
    """Whether the two differ only in the names of their gamuts, not in the matrix.

    As conversions between the primaries of two makes of one camera may.
    """
    h, o = one.hypothesis, other.hypothesis
    if one.key[:4] != other.key[:4] or h.pair.alike or o.pair.alike:
        return False
    return is_one_matrix(h, o)


def is_one_matrix(one: Hypothesis, other: Hypothesis) -> bool:
    """Whether the two convert gamuts with the same matrix, whatever their names."""
    return bool(np.abs(one.pair.matrix - other.pair.matrix).max() <= SIX_DECIMALS)


def _candidate(first: Finalist, others: list[Finalist], level: Confidence) -> Candidate:
    h = first.hypothesis
    end = h.target_end
    names: dict[str, list[str]] = {
        "source_curve": list(h.source.curve.same_as),
        "target_curve": list(end.curve.same_as) if end else [],
        "source_gamut": [] if h.pair.alike else list(h.pair.source.aliases),
        "target_gamut": [] if h.pair.alike else list(h.pair.target.aliases),
    }
    for other in others:
        o = other.hypothesis
        if o.source.number != h.source.number:
            names["source_curve"] += o.source.curve.names
        if o.target_end and (end is None or o.target_end.number != end.number):
            names["target_curve"] += o.target_end.curve.names
        if not h.pair.alike and o.pair.source.name != h.pair.source.name:
            names["source_gamut"] += [o.pair.source.name, *o.pair.source.aliases]
        if not h.pair.alike and o.pair.target.name != h.pair.target.name:
            names["target_gamut"] += [o.pair.target.name, *o.pair.target.aliases]
    alike = h.pair.alike
    return Candidate(
        source=Side(
            h.source.curve.name,
            h.gamuts[0],
            h.source.range,
            h.source.curve.rendering,
        ),
        target=Side(
            end.curve.name if end else None,
            h.gamuts[1],
            h.target.range,
            end.curve.rendering if end else None,
        ),
        exposure_stops=round(h.stops, 4) + 0.0,
        error_median=first.forecast.median,
        error_p95=first.forecast.p95,
        same_as=SameAs(**{key: tuple(dict.fromkeys(value)) for key, value in names.items()}),
        confidence=level,
        adaptation=None if alike else h.pair.adaptation,
        exposures=_exposures(h, end),
        hypothesis=h,
        others=tuple(other.hypothesis for other in others),
    )


def _exposures(hypothesis: Hypothesis, end: End | None) -> dict[str, float]:
    """The exposure by other names of an end's encoding, which scale light differently."""
    found: dict[str, float] = {}
    for curve, sign, side in (
        (hypothesis.source.curve, -1.0, "source"),
        (end.curve if end else None, 1.0, "target"),
    ):
        if curve is None:
            continue
        for name, gain in zip(curve.names, curve.gains, strict=False):
            if abs(gain - 1) > 1e-3:
                found[f"{side} {name}"] = round(hypothesis.stops + sign * float(np.log2(gain)), 4)
    return found


def confidence_of(order: Sequence[Finalist], samples: Samples) -> Confidence:
    """The confidence in the first, by its own error and its distance to the next different one."""
    if not order:
        return "none"
    best = order[0]
    rival = next((each for each in order[1:] if not is_tie(each, best)), None)
    tied = any(is_tie(each, best) for each in order[1:])
    if best.error > EXACT:
        return "medium" if best.error < 3 else "low"
    h = best.hypothesis
    if h.pair.alike and not (is_exact(best, samples) and not h.grade):
        return "medium"
    if not isinstance(h.target, End) and h.target.guessed:
        return "medium"
    if tied:
        return "medium"
    floor = max(best.error, samples.floor, 0.02)
    if rival is not None and rival.error < 1.3 * floor:
        return "medium"
    return "high"
