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
