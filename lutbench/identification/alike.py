"""Names that explain a LUT equally well: curves closer than its rounding and noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.neutral import match_neutral
from lutbench.identification.plausible import goes_together
from lutbench.identification.result import Candidate
from lutbench.identification.samples import Samples
from lutbench.identification.untold import other_curves, shown_targets
from lutbench.identification.verdict import resolution
from lutbench.tables.nodes import greys

ROUGH = 0.3
"""10-bit codes by which a look-up table of a curve may be off."""


def with_alike(
    candidate: Candidate, error: float, samples: Samples, known: Knowledge, *, untold: bool
) -> Candidate:
    """The candidate with the curves that explain the LUT equally well added to `same_as`.

    `error` is its typical error in codes: a residual, such as a look, hides small
    differences. Where the source is `untold`, the sources and targets that a tone curve also
    allows are added.
    """
    hypothesis = candidate.hypothesis
    if hypothesis is None or hypothesis.target_end is None:
        return candidate
    limit = resolution(error, samples)
    sources, targets = _near(hypothesis, hypothesis.target_end, samples, known, limit)
    guesses = _guesses(hypothesis, samples, known)
    if untold:
        guesses += other_curves(hypothesis, samples, known)
    sources += [each.source for each in guesses]
    targets += [end for each in guesses if (end := each.target_end) is not None]
    same = candidate.same_as
    added = replace(
        same,
        source_curve=_joined(same.source_curve, sources, candidate.source.curve),
        target_curve=_joined(same.target_curve, targets, candidate.target.curve),
    )
    return replace(
        candidate,
        same_as=added,
        others=(*candidate.others, *guesses),
        hidden=(
            *_guessed_parts(hypothesis, guesses),
            *(("target gamut",) if samples.grey else ()),
        ),
    )


def _guessed_parts(hypothesis: Hypothesis, guesses: Sequence[Hypothesis]) -> tuple[str, ...]:
    """The parts for which the guesses have other names."""
    own, end = hypothesis.source, hypothesis.target_end
    others = [(each.source, each.target_end) for each in guesses]
    differs = {
        "source curve": any(source.number != own.number for source, _ in others),
        "source range": any(source.range != own.range for source, _ in others),
        "target curve": any(target and end and target.number != end.number for _, target in others),
        "target range": any(target and end and target.range != end.range for _, target in others),
    }
    return tuple(part for part, does in differs.items() if does)


def _near(
    hypothesis: Hypothesis, target: End, samples: Samples, known: Knowledge, limit: float
) -> tuple[list[End], list[End]]:
    """Ends in the same ranges that predict the hypothesis's neutral axis within the limit."""
    source = hypothesis.source
    light = np.nan_to_num(source.of_axis(samples.neutral_in) * 2.0**hypothesis.stops)
    plain = replace(samples, neutral=greys(target.encode(light)))
    sources = [end for end in known.sources if end.range == source.range]
    targets = [end for end in known.targets if end.range == target.range]
    by_source = match_neutral(plain, sources, [target]).error[:, 0]
    # Exact decoding of all targets takes long, and few come close.
    roughly = match_neutral(plain, [source], targets, exact=False).error[0]
    targets = [end for end, error in zip(targets, roughly, strict=True) if error <= limit + ROUGH]
    by_target = match_neutral(plain, [source], targets).error[0] if targets else ()
    return (
        [end for end, error in zip(sources, by_source, strict=True) if error <= limit],
        [end for end, error in zip(targets, by_target, strict=True) if error <= limit],
    )


def _guesses(hypothesis: Hypothesis, samples: Samples, known: Knowledge) -> list[Hypothesis]:
    """Where the target is a guess, the hypothesis with each other display curve for its gamut.

    Each explains the LUT equally well, with a different tone curve before it.
    """
    target = hypothesis.target
    if isinstance(target, End) or not target.guessed:
        return []
    gamut = None if hypothesis.pair.alike else hypothesis.pair.target.name
    return [
        replace(hypothesis, target=replace(target, based_on=end))
        for end in shown_targets(samples, known)
        if (gamut is None or goes_together(end, gamut)) and end != target.based_on
    ]


def _joined(names: tuple[str, ...], ends: Sequence[End], own: str | None) -> tuple[str, ...]:
    more = (name for end in ends for name in end.curve.names)
    return tuple(dict.fromkeys([*names, *(name for name in more if name != own)]))
