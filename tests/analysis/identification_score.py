"""Whether an identification is right."""

from __future__ import annotations

from functools import cache
from typing import Any

from identification_cases import Case


@cache
def _catalogue() -> Any:
    from lutbench.model.catalogue import open_catalogue

    return open_catalogue(user=False)


ALIASES = {"ITU-R BT.2100 PQ": "BT.2100 PQ", "ITU-R BT.2100 HLG": "BT.2100 HLG"}


def curve_name(name: str) -> str:
    """The catalogue's name of a curve."""
    return str(_catalogue().curve(name).name)


def gamut_name(name: str) -> str:
    """The catalogue's name of a gamut."""
    return str(_catalogue().gamut(name).name)


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
        "kind": found.kind == case.kind,
        "top 1": bool(wrong) and not wrong[0],
        "top 3": any(not each for each in wrong),
        "range": best is not None
        and (best.source.range, best.target.range) == (case.source_range, case.target_range),
        "look": found.look.present == bool(case.look),
        "confidence": found.confidence,
        "wrong": wrong[0] if wrong else ["nothing found"],
    }
