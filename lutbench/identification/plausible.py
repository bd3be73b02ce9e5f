"""What every practitioner expects of a LUT before looking at it: one table, with reasons.

A row costs what it says where it applies. The costs rank hypotheses that explain a LUT about
as well; none outweighs an error that the nodes show.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from lutbench.identification.curvebank import CurveClass, End
from lutbench.identification.hypothesis import Hypothesis

SHOWN_SHARES = {"BT.709": 0.6, "BT.2020": 0.2, "P3-D65": 0.2}
"""The gamuts that pictures are made for, and about how often a LUT is made for each."""

SHOWN_IN = tuple(SHOWN_SHARES)

MOVED, MOST_STOPS = 0.02, 4.0
"""Stops that are an exposure, and from which more costs no more."""


@dataclass(frozen=True)
class Prior:
    """Something that is seldom met: when, what it costs, and why.

    `applies` gives a share of the cost: mostly whether, as 0 or 1.
    """

    what: str
    cost: float
    reason: str
    applies: Callable[[Hypothesis], float]


def uncommonness(hypothesis: Hypothesis) -> float:
    """What naming something rarely met costs: it decides where errors hardly do."""
    return sum(each.cost * each.applies(hypothesis) for each in PRIORS)


def goes_together(end: End | None, gamut: str) -> bool:
    """Whether pictures are made for this curve in this gamut: HDR curves go with wide gamuts."""
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


PRIORS = (
    Prior(
        "an exposure in it",
        0.5,
        "exposure is set on the camera or in the grade: a conversion mostly leaves it alone",
        lambda h: abs(h.stops) > MOVED,
    ),
    Prior(
        "a stop of exposure",
        1.0,
        "the more, the rarer: ladders of viewing LUTs seldom go beyond four",
        lambda h: min(abs(h.stops), MOST_STOPS),
    ),
    Prior(
        "source codes in another range than the curve is published for",
        1.0,
        "files mostly carry what the maker's formula takes",
        lambda h: h.source.range != h.source.curve.curve.formula_codes,
    ),
    Prior(
        "output in another range than the target's curve is published for",
        1.0,
        "monitors and tools mostly want full range, and scale themselves",
        _other_target_range,
    ),
    Prior(
        "a conversion of the gamut",
        24.0,
        "no conversion where none is needed: six numbers explain anything a little better",
        _converts,
    ),
    Prior(
        "a matrix as published, rounded",
        0.5,
        "most software works the matrix out from the primaries",
        lambda h: _converts(h) and h.pair.published,
    ),
    Prior(
        "white points left unadapted",
        3.0,
        "white would be tinted, which a viewer sees at once",
        lambda h: _converts(h) and h.pair.adaptation == "none",
    ),
    Prior(
        "an adaptation other than Bradford",
        1.0,
        "Bradford is what ICC and most software use",
        lambda h: _converts(h) and h.pair.adaptation not in ("bradford", "none"),
    ),
    Prior(
        "a target gamut that no picture is made for",
        4.0,
        "LUTs lead to what a monitor or a projector shows: BT.709, P3 or BT.2020",
        _target_gamut_unshown,
    ),
    Prior(
        "one of a maker's own as the target",
        4.0,
        "conversions into a camera's gamut are rarer still, save with its curve",
        lambda h: _target_gamut_unshown(h) and h.pair.target.origin == "registry",
    ),
    Prior(
        "a display's gamut as the source",
        1.0,
        "what comes from a camera mostly has the camera's gamut",
        lambda h: _converts(h) and h.pair.source.name in SHOWN_IN,
    ),
    Prior(
        "HDR in a narrow gamut, or a projector's gamma in television's",
        20.0,
        "HLG and PQ go with BT.2020 or P3 (BT.2100, table 2), gamma 2.6 with P3 (SMPTE ST 431-1)",
        lambda h: _converts(h) and not goes_together(h.target_end, h.pair.target.name),
    ),
    Prior(
        "a log curve in a display's gamut",
        30.0,
        "nobody sees log as a picture, so nobody makes it for a display's primaries",
        lambda h: (
            _converts(h) and _new_target(h) and _not_shown(h) and h.pair.target.name in SHOWN_IN
        ),
    ),
    Prior(
        "a target curve that no picture is shown in",
        3.0,
        "most LUTs are for looking at, not for going on in another log; nor is a small LUT"
        " from log the one that a film recorder prints from",
        lambda h: _new_target(h) and _not_shown(h),
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
        "a standard's name comes first where both explain as well",
        lambda h: _registered(h.source.curve),
    ),
)
