"""Notes on an identification: what the LUT leaves open, and what would decide it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from lutbench.identification.common import STOPS
from lutbench.identification.hypothesis import Hypothesis, ToneTarget
from lutbench.identification.result import Candidate, Identification
from lutbench.identification.samples import CODES, Samples
from lutbench.identification.verdict import is_one_matrix
from lutbench.model.curves.video import Bt1886, Power

DISTINCT = 0.1
"""10-bit codes by which two conversions must differ for another LUT to separate them."""

RIVAL = 1.5
"""A candidate whose error is up to this many times that of the best is a close rival."""

LARGE = 33
"""Nodes along an edge that a note recommends where a smaller LUT leaves doubt."""

NAMED = 3
"""Names or phrases that a sentence lists; --json lists them all."""


def notes_of(result: Identification) -> tuple[str, ...]:
    """The notes on an identification."""
    if result.kind == "identity":
        return ()
    best, samples = result.best, result.samples
    if best is None or not result.is_described:
        return (
            "If you know one end, name it: --source-curve, --source-gamut, --target-curve, "
            "--target-gamut. Add a curve or gamut of your own with --definitions.",
        )
    found = [*_of_names(best)]
    if samples is not None:
        if samples.smoothed:
            found.append(
                f"The table was smoothed, by a Gaussian of {samples.smoothed:.2f} nodes. The "
                "answer is about the table before that, so the errors are those without it."
            )
        found += _of_ties(best, samples)
        found += _of_ranges(best)
    found += _of_guesses(best)
    found += _of_rivals(result)
    named = any("--target-curve" in note for note in found)
    found += _of_tone(result, best, named)
    found += _of_kind(result, best, samples)
    exact = best.hypothesis is not None and best.hypothesis.built is not None
    if result.look.present and not exact:
        found.append(
            "The look hides how exact the conversion is: the same LUT without its look "
            "would give a safer answer."
        )
    elif result.confidence != "high" and samples is not None:
        found.append(_of_doubt(samples))
    return tuple(found)


def _of_names(best: Candidate) -> Iterator[str]:
    """Names of one and the same encoding."""
    h = best.hypothesis
    if h is None:
        return
    end = h.target_end
    ends = [("source", h.source.curve)]
    if end is not None and end.number != h.source.number:
        ends.append(("target", end.curve))
    for side, curve in ends:
        if not curve.same_as:
            continue
        same = [
            name
            for name, gain in zip(curve.names, curve.gains, strict=False)
            if abs(gain - 1) <= 1e-3 and name != curve.name
        ]
        scaled = [
            f"{name} ({round(best.exposures[key], 2) + 0.0:+.2f} stops)"
            for name in curve.same_as
            if (key := f"{side} {name}") in best.exposures
        ]
        if same:
            yield (
                f"{some_of([curve.name, *same])} are the same curve, so "
                f"{'either' if len(same) == 1 else 'each'} name is right for the {side}."
            )
        if scaled:
            yield (
                f"Other curves differ from {curve.name} only by a gain of light. "
                f"By their names the exposure is: {some_of(scaled)}."
            )


def _of_ties(best: Candidate, samples: Samples) -> Iterator[str]:
    """Other conversions that explain the LUT equally well, and what would separate them."""
    h = best.hypothesis
    if h is None:
        return
    groups: dict[tuple[str, str], list[str]] = {}
    for other in best.others:
        for part, instead in _difference(h, other):
            advice = "" if part in best.not_told else _separating(h, other, samples)
            groups.setdefault((part, advice), []).append(instead)
    for (part, advice), names in groups.items():
        several = list(dict.fromkeys(names))
        free = isinstance(h.target, ToneTarget) and part == "target curve"
        tone = ", with a different tone curve" if free or part in best.not_told else ""
        yield (
            f"{some_of(several, 'or')} as the {part} explains the LUT as well as "
            f"{_names(h)[part]}{tone}. {advice}Name it with {_option(part)} if you know it."
        )


def _of_ranges(best: Candidate) -> Iterator[str]:
    """Ranges that an unnamed tone curve hides."""
    sides = [side for side in ("source", "target") if f"{side} range" in best.not_told]
    options = [f"--{side}-range" for side in sides]
    if options:
        yield (
            f"The tone curve also hides the {' and '.join(sides)} range; what is given above is "
            f"assumed. Name the range with {some_of(options)} if you know it."
        )


def _of_guesses(best: Candidate) -> Iterator[str]:
    """What would settle the guesses."""
    if best.guesses:
        options = [_option(part) for part in best.guesses]
        yield (
            "Guesses are settled by the camera's menu (source) and the monitor's (target): name "
            f"what you know with {some_of(options, 'or')}."
        )


def alternatives(candidate: Candidate) -> dict[str, tuple[str, ...]]:
    """What else explains the LUT equally well, by part; synonyms are left out."""
    found: dict[str, list[str]] = {}
    if candidate.hypothesis is not None:
        for other in candidate.others:
            for part, instead in _difference(candidate.hypothesis, other):
                found.setdefault(part, []).append(instead)
    return {part: tuple(dict.fromkeys(names)) for part, names in found.items()}


def _names(h: Hypothesis) -> dict[str, str]:
    """The names of a hypothesis, by part."""
    end = h.target_end
    return {
        "source curve": h.source.curve.name,
        "target curve": end.curve.name if end else "an unnamed curve",
        "source gamut": h.pair.source.name,
        "target gamut": h.pair.target.name,
    }


def _difference(h: Hypothesis, other: Hypothesis) -> list[tuple[str, str]]:
    """The first part that has another name, and that name; none where all are the same."""
    own, its = _names(h), _names(other)
    differ = [part for part in own if own[part] != its[part]]
    if differ == ["source gamut", "target gamut"]:
        return [("source gamut", f"{its['source gamut']} (to {its['target gamut']})")]
    return [(part, its[part]) for part in differ[:1]]


def _option(part: str) -> str:
    return f"--{part.replace(' ', '-')}"


def _separating(h: Hypothesis, other: Hypothesis, samples: Samples) -> str:
    """The kind of LUT of the same conversion that would separate the two; empty if none would."""
    if isinstance(h.target, ToneTarget):
        # An unnamed tone curve can compensate for any other curve.
        return ""
    if other.source == h.source and other.target == h.target and is_one_matrix(h, other):
        return ""
    values = samples.few.nodes.reshape(-1, 3)
    clear = np.all(samples.few.clear, axis=-1).ravel()
    with np.errstate(all="ignore"):
        apart = np.abs(h.apply(values, clip=False) - other.apply(values, clip=False)).max(axis=1)
    apart = np.nan_to_num(apart, nan=0.0, posinf=1.0) * CODES
    where_clear = float(np.percentile(apart[clear], 95)) if clear.any() else 0.0
    where_clipped = float(np.percentile(apart[~clear], 95)) if (~clear).any() else 0.0
    if where_clipped > max(DISTINCT, 3 * where_clear):
        return "They differ where this LUT clips: one without clipping would separate them. "
    if where_clear > 3 * samples_unit(samples) and samples.floor > 3 * samples_unit(samples):
        return "They differ by little: one with six decimals would separate them. "
    return ""


def samples_unit(samples: Samples) -> float:
    """The rounding of six decimals, in codes."""
    return 1e-6 * CODES


def _of_rivals(result: Identification) -> Iterator[str]:
    """The second candidate, where its errors are close to those of the best."""
    if result.confidence == "high" or len(result.candidates) < 2:
        return
    best, rival = result.candidates[:2]
    if "source curve" in best.not_told:
        return
    near = rival.error_median <= RIVAL * best.error_median + DISTINCT
    if not near or rival.error_p95 > RIVAL * best.error_p95 + DISTINCT:
        return
    differ = [
        (what, a, b)
        for what, a, b in (
            ("--source-curve", best.source.curve, rival.source.curve),
            ("--source-gamut", best.source.gamut, rival.source.gamut),
            ("--source-range", best.source.range, rival.source.range),
            ("--target-curve", best.target.curve, rival.target.curve),
            ("--target-gamut", best.target.gamut, rival.target.gamut),
            ("--target-range", best.target.range, rival.target.range),
        )
        if a != b
    ]
    if not differ:
        return
    changes = ", ".join(
        f"{_part_name(option, b)} instead of {_part_name(option, a)}" for option, a, b in differ
    )
    yield (
        f"The next candidate explains the LUT nearly as well: {changes}. "
        f"Name what you know with {some_of([option for option, _, _ in differ], 'or')}."
    )


def _part_name(option: str, name: str | None) -> str:
    """The name of a part of a candidate, as a note calls it."""
    if option.endswith("range"):
        return f"{name} range"
    return name or ("an unnamed curve" if option.endswith("curve") else "any gamut")


def _rounding(step: float) -> str:
    """A rounding step in words: as bits, or as decimals."""
    bits = math.log2(1 / step + 1)
    if abs(bits - round(bits)) < 1e-6:
        return f"{round(bits)} bits"
    return f"{round(-math.log10(step))} decimals"


def _of_doubt(samples: Samples) -> str:
    """Why an answer without a look is uncertain."""
    size = len(samples.neutral_in)
    if not samples.one_d and size < LARGE:
        return (
            f"With {size} nodes along an edge the answer is uncertain: the same LUT with {LARGE} "
            "or more would usually be clearer."
        )
    if samples.step > 0:
        return (
            f"The LUT is rounded to {_rounding(samples.step)}, which hides finer differences: "
            "the same LUT with six decimals would usually be clearer."
        )
    return "If you know a part, name it (--source-curve and the like): the answer gets safer."


def _of_tone(result: Identification, best: Candidate, named: bool) -> Iterator[str]:
    """Notes on the target curve; `named`: an earlier note has named --target-curve."""
    h = best.hypothesis
    if h is None or (result.measured is not None and result.measured.display is not None):
        return
    if isinstance(h.target, ToneTarget):
        if h.target.guessed and not named:
            yield (
                "The target curve is a guess: this smooth tone curve could belong to others too. "
                "Name it with --target-curve if you know it."
            )
        if abs(best.exposure_stops) > STOPS:
            yield (
                "Exposure and an unnamed tone curve cannot be separated: "
                "only their combined effect is certain."
            )
        return
    end = h.target_end
    if result.look.cdl is not None and end is not None:
        curve = end.curve.curve
        gamma = (
            2.4
            if isinstance(curve, Bt1886) and curve.encode(0.0) == 0
            else curve.gamma
            if isinstance(curve, Power)
            else None
        )
        if gamma is not None:
            yield (
                "On a power curve, exposure and CDL slope have the same effect: "
                f"one stop is a slope of {2 ** (1 / gamma):.2f}."
            )


def _of_kind(result: Identification, best: Candidate, samples: Samples | None) -> Iterator[str]:
    if result.kind == "curve" and best.source.gamut is None:
        if samples is not None and samples.one_d:
            yield "A 1D LUT cannot convert a gamut, so it works with any."
        else:
            yield "The LUT leaves the gamut as it is, so it does not show which gamut it is for."


def some_of(names: Sequence[str], word: str = "and") -> str:
    """``a, b and c``; of a long list the first names and the number of the others."""
    if len(names) > NAMED + 1:
        return f"{', '.join(names[:NAMED])} {word} {len(names) - NAMED} more"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"
