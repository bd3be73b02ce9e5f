"""Groups of LUTs that are alike, or differ in little."""

from __future__ import annotations

from collections.abc import Sequence

from lutbench.analysis.identify.result import Identification

# What may set members of a group apart, in the order tried: the groups that
# differ in least come first.
ASPECTS = ("exposure", "target range", "source range", "look")
_TRIED: tuple[tuple[str, ...], ...] = (
    (),
    ("exposure",),
    ("target range",),
    ("source range",),
    ("look",),
    ("target",),
    ("exposure", "look"),
)


def groups_of(
    results: Sequence[tuple[str, Identification]],
) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Groups of two or more names, with what their members differ in (nothing: they are alike).

    A LUT stands in one group only, that which differs in least.
    """
    rest = [(name, _aspects(result)) for name, result in results if result.best is not None]
    found: list[tuple[tuple[str, ...], tuple[str, ...]]] = []
    for free in _TRIED:
        kept: dict[tuple[object, ...], list[str]] = {}
        for name, aspects in rest:
            key = tuple(value for aspect, value in aspects.items() if aspect not in free)
            kept.setdefault(key, []).append(name)
        for names in kept.values():
            if len(names) > 1:
                found.append((free, tuple(names)))
        grouped = {name for names in kept.values() if len(names) > 1 for name in names}
        rest = [(name, aspects) for name, aspects in rest if name not in grouped]
    return found


def _aspects(result: Identification) -> dict[str, object]:
    best = result.best
    assert best is not None
    look = (round(result.look.median, 1), round(result.look.p95, 1)) if result.look.present else ()
    return {
        "kind": result.kind,
        "source": (best.source.curve, best.source.gamut),
        "source range": best.source.range,
        "target": (best.target.curve, best.target.gamut),
        "target range": best.target.range,
        "exposure": round(best.exposure_stops, 1),
        "look": look,
    }
