"""What cannot be told apart in a LUT, and what would settle it; each note only where it is true."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from lutbench.identification.hypothesis import Hypothesis, ToneTarget
from lutbench.identification.result import Candidate, Identification
from lutbench.identification.samples import CODES, Samples
from lutbench.identification.verdict import is_one_matrix
from lutbench.model.curves.video import Bt1886, Power

SEEN = 0.1
"""Codes by which two conversions must differ somewhere for another LUT to tell them."""

RIVAL = 1.5
"""A candidate whose error is no more than this many times the best comes near."""

LARGE = 33
"""Nodes along an edge that a LUT needs for a sure answer, where a smaller one leaves doubt."""

NAMED = 3
"""Names of a list that a note gives; --json has them all."""


def notes_of(result: Identification) -> tuple[str, ...]:
    """The notes on an identification."""
    if result.kind == "identity":
        return ()
    best, samples = result.best, result.samples
    if best is None:
        return (
            "If you know one end, name it: --source-curve, --source-gamut, --target-curve, "
            "--target-gamut. A curve or gamut of your own comes with --definitions.",
        )
    found = [*_of_names(best)]
    if samples is not None:
        found += _of_ties(best, samples)
        found += _of_ranges(best)
    found += _of_rivals(result)
    told = any("--target-curve" in note for note in found)
    found += _of_tone(result, best, told)
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
            f"{name} ({best.exposures[key]:+.2f} stops)"
            for name in curve.same_as
            if (key := f"{side} {name}") in best.exposures
        ]
        if same:
            yield (
                f"{some_of([curve.name, *same])} are one curve: whichever the {side} is called, "
                "the LUT is right for it."
            )
        if scaled:
            yield (
                f"But for a gain of light {curve.name} is the curve of others, in whose scale the "
                f"exposure reads otherwise: {some_of(scaled)}."
            )


@dataclass(frozen=True)
class _Tie:
    """What a tied conversion would name otherwise."""

    what: str
    option: str
    instead: str


def _of_ties(best: Candidate, samples: Samples) -> Iterator[str]:
    """Other conversions that explain the LUT as well: by what they differ, and what tells."""
    h = best.hypothesis
    if h is None:
        return
    groups: dict[tuple[str, str, str], list[str]] = {}
    for other in best.others:
        tie = _difference(h, other)
        if tie is not None:
            settles = "" if tie.what in best.not_told else _settling(h, other, samples)
            groups.setdefault((tie.what, tie.option, settles), []).append(tie.instead)
    for (what, option, settles), names in groups.items():
        own = _named(h, option)
        several = list(dict.fromkeys(names))
        free = isinstance(h.target, ToneTarget) and option == "--target-curve"
        tone = ", with another tone curve" if free or what in best.not_told else ""
        yield (
            f"{some_of(several, 'or')} as {what} explains the LUT as well as {own}{tone}. {settles}"
            f"{option} settles it where you know."
        )


def _of_ranges(best: Candidate) -> Iterator[str]:
    """Ranges that a tone curve makes up for."""
    sides = [side for side in ("source", "target") if f"{side} range" in best.not_told]
    options = [f"--{side}-range" for side in sides]
    if options:
        yield (
            "A tone curve of its own hides the range as well, which is taken to be as above: "
            f"{some_of(options)} settle{'s' if len(options) == 1 else ''} it where you know."
        )


def alternatives(candidate: Candidate) -> dict[str, tuple[str, ...]]:
    """What else explains the LUT as well, by side; other names of the same thing are left out."""
    found: dict[str, list[str]] = {}
    for other in candidate.others if candidate.hypothesis is not None else ():
        assert candidate.hypothesis is not None
        tie = _difference(candidate.hypothesis, other)
        if tie is not None:
            found.setdefault(tie.option.removeprefix("--").replace("-", " "), []).append(
                tie.instead
            )
    return {side: tuple(dict.fromkeys(names)) for side, names in found.items()}


def _difference(h: Hypothesis, other: Hypothesis) -> _Tie | None:
    a, b = h.target_end, other.target_end
    if other.source.number != h.source.number:
        return _Tie("source curve", "--source-curve", other.source.curve.name)
    if a is not None and b is not None and a.number != b.number:
        return _Tie("target curve", "--target-curve", b.curve.name)
    if other.pair.source.name != h.pair.source.name:
        to = (
            f" (to {other.pair.target.name})"
            if other.pair.target.name != h.pair.target.name
            else ""
        )
        return _Tie("source gamut", "--source-gamut", other.pair.source.name + to)
    if other.pair.target.name != h.pair.target.name:
        return _Tie("target gamut", "--target-gamut", other.pair.target.name)
    return None


def _named(h: Hypothesis, option: str) -> str:
    end = h.target_end
    return {
        "--source-curve": h.source.curve.name,
        "--target-curve": end.curve.name if end else "its own",
        "--source-gamut": h.pair.source.name,
        "--target-gamut": h.pair.target.name,
    }[option]


def _settling(h: Hypothesis, other: Hypothesis, samples: Samples) -> str:
    """What other LUT of the same conversion would tell the two apart; empty where none would."""
    if isinstance(h.target, ToneTarget):
        # A tone curve of its own makes up for any other curve.
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
    if where_clipped > max(SEEN, 3 * where_clear):
        return "They part where this LUT clips, so one without clipping would tell. "
    if where_clear > 3 * samples_unit(samples) and samples.floor > 3 * samples_unit(samples):
        return "They part by less than its rounding, so one with six decimals would tell. "
    return ""


def samples_unit(samples: Samples) -> float:
    """The rounding of six decimals, in codes."""
    return 1e-6 * CODES


def _of_rivals(result: Identification) -> Iterator[str]:
    """The candidate that comes next, where its errors are near those of the best."""
    if result.confidence == "high" or len(result.candidates) < 2:
        return
    best, rival = result.candidates[:2]
    if "source curve" in best.not_told:
        return
    near = rival.error_median <= RIVAL * best.error_median + SEEN
    if not near or rival.error_p95 > RIVAL * best.error_p95 + SEEN:
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
    told = ", ".join(f"{b or 'any'} for {a or 'any'}" for _, a, b in differ)
    yield (
        f"The next candidate explains it nearly as well: {told}. "
        f"{some_of([what for what, _, _ in differ], 'or')} settles it where you know."
    )


def _rounding(step: float) -> str:
    """What a step of rounding is: bits, or decimals."""
    bits = math.log2(1 / step + 1)
    if abs(bits - round(bits)) < 1e-6:
        return f"{round(bits)} bits"
    return f"{round(-math.log10(step))} decimals"


def _of_doubt(samples: Samples) -> str:
    """Why an answer without a look is not a sure one."""
    size = len(samples.neutral_in)
    if not samples.one_d and size < LARGE:
        return f"With {size} nodes little is sure: the same LUT with {LARGE} or more would tell."
    if samples.step > 0:
        return (
            f"It is rounded to {_rounding(samples.step)}, which hides finer "
            "differences: the same LUT with six decimals would tell."
        )
    return "What you know of it, given with --source-curve and the like, makes the answer safer."


def _of_tone(result: Identification, best: Candidate, told: bool) -> Iterator[str]:
    """Notes on the target's curve; `told` is whether a note named the option already."""
    h = best.hypothesis
    if h is None:
        return
    if isinstance(h.target, ToneTarget):
        if h.target.guessed and not told:
            yield (
                "The target curve is a guess, since the tone curve is smooth all the way: "
                "--target-curve settles it where you know."
            )
        if abs(best.exposure_stops) > 0.02:
            yield "Exposure and a tone curve act alike: of the two only their product is sure."
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
                "On a power curve exposure and the slope of a CDL act alike: a stop is a slope "
                f"of {2 ** (1 / gamma):.2f}."
            )


def _of_kind(result: Identification, best: Candidate, samples: Samples | None) -> Iterator[str]:
    if result.kind == "curve" and best.source.gamut is None:
        if samples is not None and samples.one_d:
            yield "A 1D LUT cannot convert a gamut: it serves any."
        else:
            yield "The gamut is left as it is, so the LUT does not say which it is."


def some_of(names: Sequence[str], word: str = "and") -> str:
    """``a, b and c``; of many the first, and how many more."""
    if len(names) > NAMED + 1:
        return f"{', '.join(names[:NAMED])} {word} {len(names) - NAMED} more"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {word} {names[-1]}"
