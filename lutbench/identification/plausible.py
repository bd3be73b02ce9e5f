"""What is rare in LUTs, by common practice: one table of costs with reasons.

A row adds its cost where it applies. The costs rank hypotheses that explain a LUT about equally
well; none outweighs a clear error at the nodes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from lutbench.identification.common import STOPS
from lutbench.identification.curvebank import CurveClass, End
from lutbench.identification.hypothesis import Hypothesis, ToneTarget
from lutbench.model.curves.base import Decode

SHOWN_SHARES = {"BT.709": 0.6, "BT.2020": 0.2, "P3-D65": 0.2}
"""The gamuts that pictures are made for, and the assumed share of LUTs for each."""

SHOWN_IN = tuple(SHOWN_SHARES)

MOST_STOPS = 4.0
"""Stops above which the cost no longer grows: viewing LUTs rarely go further."""


@dataclass(frozen=True)
class Prior:
    """Something rare: when it applies, what it costs, and why.

    `applies` gives a factor on the cost: usually 0 or 1.
    """

    what: str
    cost: float
    reason: str
    applies: Callable[[Hypothesis], float]


def uncommonness(hypothesis: Hypothesis) -> float:
    """The cost of what is rare in a hypothesis: it decides where the errors hardly do."""
    return sum(each.cost * each.applies(hypothesis) for each in PRIORS)


def goes_together(end: End | None, gamut: str) -> bool:
    """Whether the curve and the gamut are usual together: HDR curves go with wide gamuts."""
    name = end.curve.curve.name if end is not None else ""
    if end is not None and end.curve.curve.hdr:
        return gamut in ("BT.2020", "P3-D65")
    return not (name == "gamma 2.6" and gamut in ("BT.709", "BT.2020"))


def _registered(curve: CurveClass) -> bool:
    return curve.curve.source == "colour-science registry"


def _gamut_only(h: Hypothesis) -> bool:
    return h.target_end is not None and h.target_end.number == h.source.number


def _converts(h: Hypothesis) -> bool:
    return not h.pair.alike


def _new_target(h: Hypothesis) -> bool:
    return h.target_end is not None and not _gamut_only(h)


def _not_shown(h: Hypothesis) -> bool:
    return h.target_end is not None and not h.target_end.curve.curve.shown


def _other_target_range(h: Hypothesis) -> float:
    end = h.target_end
    return h.target.range != (end.curve.curve.formula_codes if end else "full")


def _target_gamut_unshown(h: Hypothesis) -> float:
    other = h.pair.target.name not in SHOWN_IN and not _gamut_only(h)
    return _converts(h) and other


def _working_gamut(h: Hypothesis) -> bool:
    mixed = h.inset is None and any(isinstance(step, Decode) for step in h.grade)
    return mixed and _target_gamut_unshown(h) > 0


def _guessed_gamma(h: Hypothesis) -> bool:
    end = h.target_end
    guessed = isinstance(h.target, ToneTarget) and h.target.guessed
    return guessed and end is not None and end.curve.curve.name == "gamma 2.2"


PRIORS = (
    Prior(
        "an exposure",
        0.5,
        "exposure is usually set on the camera or in the grade, not in a conversion",
        lambda h: abs(h.stops) > STOPS,
    ),
    Prior(
        "a stop of exposure",
        1.0,
        "larger exposures are rarer: sets of viewing LUTs seldom go beyond four stops",
        lambda h: min(abs(h.stops), MOST_STOPS),
    ),
    Prior(
        "source codes in another range than the curve is published for",
        1.0,
        "files mostly hold the range that the published formula takes",
        lambda h: h.source.range != h.source.curve.curve.formula_codes,
    ),
    Prior(
        "output in another range than the target's curve is published for",
        1.0,
        "monitors and tools mostly expect full range and scale it themselves",
        _other_target_range,
    ),
    Prior(
        "a conversion of the gamut",
        24.0,
        "the six free numbers of a conversion fit any LUT a little better, needed or not",
        _converts,
    ),
    Prior(
        "a matrix as published, rounded",
        0.5,
        "most software computes the matrix from the primaries",
        lambda h: _converts(h) and h.pair.published,
    ),
    Prior(
        "white points left unadapted",
        3.0,
        "white would usually look tinted",
        lambda h: _converts(h) and h.pair.adaptation == "none",
    ),
    Prior(
        "an adaptation other than Bradford",
        1.0,
        "ICC profiles and most software use Bradford",
        lambda h: _converts(h) and h.pair.adaptation not in ("bradford", "none"),
    ),
    Prior(
        "a target gamut that is not a usual display gamut",
        4.0,
        "most LUTs are made for a monitor or a projector: BT.709, P3 or BT.2020",
        _target_gamut_unshown,
    ),
    Prior(
        "a maker's gamut as the target",
        4.0,
        "conversions into a camera's gamut are rarer still, except with its curve",
        lambda h: _target_gamut_unshown(h) and h.pair.target.origin == "registry",
    ),
    Prior(
        "a matrix in display light after a gamut that is not a usual display gamut",
        24.0,
        "the light that leaves it is shown, so a conversion into a working gamut went before it",
        _working_gamut,
    ),
    Prior(
        "a display's gamut as the source",
        1.0,
        "camera footage mostly has the camera's gamut",
        lambda h: _converts(h) and h.pair.source.name in SHOWN_IN,
    ),
    Prior(
        "HDR in a narrow gamut, or gamma 2.6 in a television gamut",
        20.0,
        "HLG and PQ go with BT.2020 (BT.2100, table 2) or P3, gamma 2.6 with P3 (SMPTE ST 431-1)",
        lambda h: _converts(h) and not goes_together(h.target_end, h.pair.target.name),
    ),
    Prior(
        "a log curve in a display's gamut",
        30.0,
        "log is rarely viewed directly, so it is rarely made for a display's primaries",
        lambda h: (
            _converts(h) and _new_target(h) and _not_shown(h) and h.pair.target.name in SHOWN_IN
        ),
    ),
    Prior(
        "a target curve that is not a display curve",
        3.0,
        "most LUTs are for viewing; few convert to another log, or to the densities of a film"
        " recorder",
        lambda h: _new_target(h) and _not_shown(h),
    ),
    Prior(
        "gamma 2.2 behind a tone curve that hides it",
        6.0,
        "video monitors are made for BT.1886 (Recommendation ITU-R BT.1886)",
        _guessed_gamma,
    ),
    Prior(
        "a maker's curve as the target",
        3.0,
        "conversions between two cameras' encodings are rare",
        lambda h: _new_target(h) and h.target_end is not None and _registered(h.target_end.curve),
    ),
    Prior(
        "a maker's curve as the source",
        0.5,
        "a standard's name is preferred where both explain the LUT equally well",
        lambda h: _registered(h.source.curve),
    ),
)
