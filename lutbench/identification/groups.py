"""Groups of LUTs that are alike, or differ in one or two things."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from lutbench.identification.common import CLIPS, STOPS
from lutbench.identification.groupwords import details_of
from lutbench.identification.lookwords import CONTRAST, LIGHTNESS
from lutbench.identification.result import Candidate, Identification, Look, Tone
from lutbench.identification.samples import CODES
from lutbench.identification.shifted import is_shifted
from lutbench.model.curves.base import MID_GREY
from lutbench.model.transforms import Array
from lutbench.results import PlainData

SAME_VALUES = 1.5
"""10-bit codes within which two LUTs hold the same values: rounding to 10 bits, and a margin."""

SAME_TONE = 8.0
"""10-bit codes within which two tone curves are the same: a coarse lattice shows no more."""

SAME_DELTA_E = 0.3
"""ΔE 2000 by which the medians of two looks may differ for the looks to be the same."""

SAME_SHARE = 0.1
"""The share of the larger median by which they may differ in addition."""

# What may set members of a group apart, in the order tried: the groups that
# differ in least come first.
_TRIED: tuple[tuple[str, ...], ...] = (
    (),
    ("exposure",),
    ("size",),
    ("target range",),
    ("source range",),
    ("source range", "target range"),
    ("look",),
    ("tone",),
    ("target",),
    ("source",),
    ("exposure", "look"),
    ("exposure", "tone"),
    ("exposure", "size"),
    ("look", "size"),
)


@dataclass(frozen=True)
class Group(PlainData):
    """Two or more LUTs and what they differ in; empty where they are alike in all aspects."""

    KEYS = ("differ_in", "files=names", "details", "same_values")

    differ_in: tuple[str, ...]
    names: tuple[str, ...]
    same_values: bool = False
    details: tuple[str, ...] = ()
    """For each LUT, the aspect in which they differ, in words."""

    @property
    def words(self) -> str:
        """What they have in common, after "These three"."""
        if self.same_values:
            return "hold the same values"
        if not self.differ_in:
            return "are alike"
        return f"differ only in {' and '.join(self.differ_in)}"


def groups_of(results: Sequence[tuple[str, Identification]]) -> list[Group]:
    """The groups of named LUTs.

    LUTs that are alike come first; the first of them stands for all. Then every LUT is listed
    in the group from which it differs least, with all members of that group.
    """
    found: list[Group] = []
    listed: set[str] = set()
    for free in _TRIED:
        for cluster in _clusters(results, free):
            names = tuple(name for name, _ in cluster)
            if len(names) < 2 or listed.issuperset(names):
                continue
            same = not free and all(_same_values(cluster[0][1], each) for _, each in cluster)
            details = details_of([each for _, each in cluster], free)
            found.append(Group(free, names, same, details))
            if free:
                listed.update(names)
            else:
                # Of LUTs that are alike one stands for all in other groups.
                results = [each for each in results if each[0] not in names[1:]]
    return found


def _clusters(
    results: Sequence[tuple[str, Identification]], free: tuple[str, ...]
) -> list[list[tuple[str, Identification]]]:
    """The LUTs in clusters: each is like another of its cluster, except in what is free."""
    clusters: list[list[tuple[str, Identification]]] = []
    for item in results:
        like = [each for each in clusters if any(_alike(one, item[1], free) for _, one in each)]
        clusters = [each for each in clusters if all(each is not one for one in like)]
        clusters.append([*(one for each in like for one in each), item])
    order = {name: place for place, (name, _) in enumerate(results)}
    return [sorted(each, key=lambda one: order[one[0]]) for each in clusters]


def _alike(a: Identification, b: Identification, free: tuple[str, ...]) -> bool:
    """Whether two differ in nothing but what is free."""
    if a.best is None or b.best is None:
        if a.kind == b.kind == "identity":
            return "size" in free or _size(a) == _size(b)
        return not free and a.best is b.best and _same_values(a, b)
    alike = a.kind == b.kind and all(
        same(a, b) for aspect, same in _ASPECTS.items() if aspect not in free
    )
    # Names alone may be guesses: the tables show whether only exposure differs.
    return alike and (free != ("exposure",) or is_shifted(a, b, _stops_between(a, b)))


def _best(result: Identification) -> Candidate:
    assert result.best is not None
    return result.best


def _same_end(a: Candidate, b: Candidate, side: str) -> bool:
    """Whether an end has the same curve and gamut in both, by one of its names."""
    return all(_one_name(a, b, side, part) for part in ("curve", "gamut"))


def _one_name(a: Candidate, b: Candidate, side: str, part: str) -> bool:
    one, two = (getattr(getattr(each, side), part) for each in (a, b))
    same, other = (getattr(each.same_as, f"{side}_{part}") for each in (a, b))
    return one == two or two in same or one in other


def _same_target(a: Identification, b: Identification) -> bool:
    # The target curve of a gamut conversion is that of the source, and with an unnamed tone
    # curve it is little more than a guess.
    if a.kind == "gamut" or (_has_unnamed_tone(a) and _has_unnamed_tone(b)):
        return _best(a).target.gamut == _best(b).target.gamut
    return _same_end(_best(a), _best(b), "target")


def _same_exposure(a: Identification, b: Identification) -> bool:
    if _has_unnamed_tone(a) and _has_unnamed_tone(b):
        return abs(_shift(a, b)[0]) <= STOPS
    return abs(_best(a).exposure_stops - _best(b).exposure_stops) <= STOPS


def _stops_between(a: Identification, b: Identification) -> float:
    """How many stops brighter b is than a."""
    if _has_unnamed_tone(a) and _has_unnamed_tone(b):
        return _shift(a, b)[0]
    return _best(b).exposure_stops - _best(a).exposure_stops


def _has_unnamed_tone(result: Identification) -> bool:
    return result.tone is not None and not result.tone.plain


def _shift(a: Identification, b: Identification) -> tuple[float, float]:
    """How many stops brighter b is than a, and by how many codes their tone still differs.

    Exposure cannot be separated from an unnamed tone curve, so only a comparison of the two
    tables shows how far apart two such LUTs are.
    """
    assert a.tone is not None
    assert b.tone is not None
    one, two = a.tone, b.tone
    stops = np.linspace(-5, 4, 46)
    wanted = _signal(one, MID_GREY * 2.0**stops)
    best = (0.0, np.inf)
    centre, width = 0.0, 5.0
    for _ in range(4):
        for shift in np.linspace(centre - width, centre + width, 41):
            seen = _signal(two, MID_GREY * 2.0 ** (stops - shift))
            # Values where either clips are left out.
            clear = (wanted < one.white_signal - CLIPS) & (seen < two.white_signal - CLIPS)
            clear &= (wanted > one.curve[0][1] + CLIPS) & (seen > two.curve[0][1] + CLIPS)
            if clear.sum() < 5:
                continue
            off = float(np.percentile(np.abs(wanted - seen)[clear], 90)) * CODES
            if off < best[1]:
                best = (float(shift), off)
        centre, width = best[0], width / 10
    return best


def _size(result: Identification) -> tuple[bool, int]:
    samples = result.samples
    return (False, 0) if samples is None else (samples.one_d, len(samples.neutral_in))


def _same_values(a: Identification, b: Identification) -> bool:
    one, two = a.samples, b.samples
    if one is None or two is None or one.table.shape != two.table.shape or _size(a) != _size(b):
        return False
    return bool(np.abs(one.table - two.table).max() * CODES <= SAME_VALUES)


def _same_look(a: Identification, b: Identification) -> bool:
    one, two = a.look, b.look
    if one.present != two.present:
        return False
    if not one.present:
        return True
    return (
        abs(one.median - two.median) <= SAME_DELTA_E + SAME_SHARE * max(one.median, two.median)
        and _near(one.saturation, two.saturation)
        and _near(one.contrast, two.contrast)
        and _same_tints(one, two)
    )


def _near(a: float | None, b: float | None) -> bool:
    return a is b if a is None or b is None else abs(a - b) <= CONTRAST


def _same_tints(one: Look, two: Look) -> bool:
    other = {each.part: each for each in two.tones}
    return all(
        max(abs(each.a - now.a), abs(each.b - now.b)) <= LIGHTNESS
        for each in one.tones
        if (now := other.get(each.part)) is not None
    )


def _same_tone(a: Identification, b: Identification) -> bool:
    one, two = a.tone, b.tone
    if one is None or two is None or (one.plain and two.plain):
        return True
    if one.plain != two.plain:
        return False
    return _shift(a, b)[1] <= SAME_TONE


def _signal(tone: Tone, light: Array) -> Array:
    table = np.array(tone.curve)
    return np.asarray(
        np.interp(np.arcsinh(light / 0.01), np.arcsinh(table[:, 0] / 0.01), table[:, 1])
    )


_ASPECTS: dict[str, Callable[[Identification, Identification], bool]] = {
    "source": lambda a, b: _same_end(_best(a), _best(b), "source"),
    "target": _same_target,
    "source range": lambda a, b: _best(a).source.range == _best(b).source.range,
    "target range": lambda a, b: _best(a).target.range == _best(b).target.range,
    "exposure": _same_exposure,
    "size": lambda a, b: _size(a) == _size(b),
    "look": _same_look,
    "tone": _same_tone,
}
