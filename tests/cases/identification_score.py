"""Whether an identification is right."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from identification_cases import Case, decode


@cache
def _catalogue() -> Any:
    from lutbench.model.catalogue import open_catalogue

    return open_catalogue(user=False)


REGISTERED = {"BT.2100 PQ": "ITU-R BT.2100 PQ", "BT.2100 HLG": "ITU-R BT.2100 HLG"}
"""What colour-science calls the curves that the cases name by their standard."""


def curve_name(name: str) -> str:
    """The catalogue's name of a curve."""
    return str(_catalogue().curve(name).name)


def gamut_name(name: str) -> str:
    """The catalogue's name of a gamut."""
    return str(_catalogue().gamut(name).name)


@cache
def one_encoding(a: str, b: str) -> bool:
    """Whether two registered curves are one but for a gain of light, by colour-science."""
    if a == b:
        return True
    signal = np.linspace(0.1, 0.9, 17)
    try:
        ratio = decode(a, signal) / decode(REGISTERED.get(b, b), signal)
    except (KeyError, ValueError):
        return False  # a display's curve that has no decoding among those of cameras
    return bool(np.ptp(ratio) < 1e-4 * np.mean(ratio))


def kinds_of(case: Case) -> set[str]:
    """What a case may be called: from a curve to itself nothing but the gamut is converted."""
    if case.kind == "combined" and one_encoding(case.source_curve, case.target_curve):
        return {"combined", "gamut"}
    return {case.kind}


def named(candidate: Any, case: Case) -> bool:
    """Whether the curves are named that the LUT does not tell, where `same_as` may hold any."""
    h = candidate.hypothesis
    if h is None:
        return True
    source = {candidate.source.curve, *h.source.curve.names}
    target = {candidate.target.curve, *h.target_end.curve.names} if h.target_end else set()
    return (
        "source curve" not in candidate.not_told or curve_name(case.source_curve) in source
    ) and ("target curve" not in candidate.not_told or curve_name(case.target_curve) in target)


def range_right(candidate: Any, case: Case) -> bool:
    """Whether both ranges are those of the case, or are said not to be told."""
    return all(
        f"{side} range" in candidate.not_told or told == truth
        for side, told, truth in (
            ("source", candidate.source.range, case.source_range),
            ("target", candidate.target.range, case.target_range),
        )
    )


def wrong_parts(candidate: Any, case: Case) -> list[str]:
    """What a candidate has wrong, up to its `same_as`."""
    same = candidate.same_as
    wanted = [
        ("source curve", curve_name(case.source_curve), candidate.source.curve, same.source_curve),
        ("target curve", curve_name(case.target_curve), candidate.target.curve, same.target_curve),
    ]
    if case.kind in ("gamut", "combined"):
        wanted += [
            (
                "source gamut",
                gamut_name(case.source_gamut),
                candidate.source.gamut,
                same.source_gamut,
            ),
            (
                "target gamut",
                gamut_name(case.target_gamut),
                candidate.target.gamut,
                same.target_gamut,
            ),
        ]
    return [part for part, truth, told, alike in wanted if truth != told and truth not in alike]


def judged(found: Any, case: Case) -> dict[str, Any]:
    """What of a case an identification has right, part by part."""
    wrong = [wrong_parts(each, case) for each in found.candidates[:3]]
    best = found.candidates[0] if found.candidates else None
    return {
        "kind": found.kind in kinds_of(case),
        "top 1": bool(wrong) and not wrong[0],
        "named": best is not None and not wrong[0] and named(best, case),
        "top 3": any(not each for each in wrong),
        "range": best is not None and range_right(best, case),
        "look": found.look.present == bool(case.look),
        "confidence": found.confidence,
        "wrong": wrong[0] if wrong else ["nothing found"],
    }
