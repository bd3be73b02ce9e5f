"""Hypotheses from free fits: which forms are tried, and the names that come of the best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from lutbench.identification.carriers import by_proportion, in_bt2020, soft_maxima
from lutbench.identification.curvebank import End, scale_of
from lutbench.identification.curvesonly import SeenCurve, finalists_of_curve
from lutbench.identification.forms.fits import ENOUGH, After, Form, FreeFit
from lutbench.identification.forms.fitted import Fitted
from lutbench.identification.forms.named import grade_of
from lutbench.identification.forms.stepped import stepped_form
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.ordering import settled
from lutbench.identification.plausible import SHOWN_IN
from lutbench.identification.rising import rising_run
from lutbench.identification.samples import Samples, range_seen
from lutbench.identification.untint import tints_of
from lutbench.identification.verdict import Finalist, ranked
from lutbench.model.compression import GamutCompression
from lutbench.model.curves.video import Linear
from lutbench.model.grade import Saturation

ENOUGH_NOISE = 2.0
"""Times what the nodes are uncertain by that are added to that."""

TRIED = 2
"""Forms of one kind that are fitted in full: the best on few nodes."""

LEFT = 1.5
"""10-bit codes of typical error up to which a form counts: noise of a code leaves as much."""

LEFT_NOISE = 1.5
"""Times the noise that are added to that."""

COULD = 1.5
"""Times that error on few nodes from which a form is not fitted to more: these leave more."""

GUESSED = 7.0
"""Times that error on few nodes up to which a form may still give a guess."""

UNMOVED = 0.02
"""The largest difference from the identity of a matrix that counts as no mixing of light."""

FOLLOWED = 4
"""Free fits that get names."""

WITHIN = 120.0
"""Nats within which free fits are rivals of the first."""

CLEARLY = 20.0
"""Nats within which names are told beside the first."""


def plain_finalists_of(fitted: Fitted) -> list[Finalist]:
    """Finalists of a plain conversion, where one with a free matrix leaves almost nothing."""
    fits = fitted.of(Form())
    near = bool(fits) and fits[0].error <= _enough(fitted)
    return _named(rivals(fits), fitted) if near and not _is_grade(fits[0]) else []


def finalists_of(fitted: Fitted) -> list[Finalist]:
    """Finalists of the free forms that explain a LUT, best first.

    Where none does, the best fit is named however much it leaves: a guess at least.
    """
    idle = _idle_fit(fitted)
    found = [] if idle is None else _of_curve(fitted, idle)
    if not found:
        fits = sorted(free_fits(fitted), key=lambda fit: settled(fit.nats))
        # A look on some of the colours leaves the others as a plain conversion makes them.
        plain = fitted.of(Form())[:FOLLOWED]
        kept = [fit for fit in plain if fit.partly <= _enough(fitted)]
        found = _named(rivals(fits), fitted) or _named(kept, fitted)
        if not found:
            freest = Form(mixed=True, compression=GamutCompression())
            guesses = [fit for fit in fits or fitted.of(freest) if not _is_idle(fit)]
            found = _named(guesses[:1], fitted)
    return ranked([each for each in found if each.nats <= found[0].nats + CLEARLY])


def _named(fits: Sequence[FreeFit], fitted: Fitted) -> list[Finalist]:
    """Finalists of free fits, those that explain the nodes best first."""
    found = [each for fit in fits for each in fitted.named(fit)]
    return sorted(found, key=lambda each: each.nats)


def _of_curve(fitted: Fitted, fit: FreeFit) -> list[Finalist]:
    """Finalists for the greys of a fit that mixes no light: they alone then show the ends."""
    samples, run = fitted.samples, rising_run(fitted.samples)
    if run is None:
        return []
    outputs, after, error = samples.neutral[run], fit.form.after, fit.partly
    if after is not None:
        outputs = after.greys(outputs)
    outputs = outputs @ np.linalg.inv(fit.mixing).T
    grade = (*grade_of(fit.mixing, None), *(() if after is None else (after.step,)))
    seen = SeenCurve(samples.neutral_in[run], outputs, error, error, grade)
    found = finalists_of_curve(seen, samples, samples.few, fitted.knowledge)
    # The nodes say the same of all: the cost of the curve's names decides.
    return [replace(each, nats=0.0) for each in found]


def _idle_fit(fitted: Fitted) -> FreeFit | None:
    """The best fit of a form without a matrix on light, if a part of the nodes keep to it."""
    if fitted.lit is None:
        return None
    idle: list[FreeFit] = []
    for form in (Form(), *_tinted(fitted), Form(mixed=True)):
        fit = next(iter(fitted.of(form)), None)
        if fit is not None and _is_idle(fit) and fit.partly <= _enough(fitted):
            idle.append(fit)
        if fit is not None and fit.error <= _enough(fitted) and not _is_grade(fit):
            break
    return min(idle, key=lambda fit: fit.nats, default=None)


def _is_grade(fit: FreeFit) -> bool:
    """Whether its matrix is a saturation of linear signal, which a grade of any signal may be."""
    linear = isinstance(fit.source.end.curve.curve, Linear)
    return linear and isinstance(next(iter(grade_of(fit.matrix, None)), None), Saturation)


def rivals(order: Sequence[FreeFit]) -> list[FreeFit]:
    """The best of sorted fits and its close rivals, each source once.

    None where the best has a large error, for a form must explain most of the nodes. Also none
    where its matrix mixes no light, because then any source fits.
    """
    if not order or _is_idle(order[0]):
        return []
    if order[0].error > most_left(order[0].samples):
        return []
    kept: list[FreeFit] = []
    for fit in order:
        new = all(fit.source != other.source for other in kept)
        if new and fit.nats <= order[0].nats + WITHIN and len(kept) < FOLLOWED:
            kept.append(fit)
    return kept


def most_left(samples: Samples) -> float:
    """The codes of typical error up to which a form counts."""
    return LEFT + LEFT_NOISE * samples.noise


def _is_idle(fit: FreeFit) -> bool:
    """Whether nothing mixes light: a norm and the system gamma of HLG do without a matrix."""
    mixes = fit.form.norm or fit.source.rendering is not None
    return not mixes and bool(np.abs(fit.matrix - np.eye(3)).max() < UNMOVED)


def free_fits(fitted: Fitted) -> list[FreeFit]:
    """Fits of the forms, simplest first, until one has almost no error.

    Where no form may count, those that leave least, for a guess.
    """
    if fitted.lit is None:
        return []
    glances, most = fitted.glances, most_left(fitted.samples)
    tried: list[Sequence[Form]] = []
    found: list[FreeFit] = []
    for forms in _forms(fitted):
        tried.append(forms)
        # What has been fitted already needs no glance.
        known = [form for form in forms if form in fitted]
        for form in known or [form for _, form in glances.best(TRIED, forms, COULD * most)]:
            found += [fit for fit in fitted.of(form) if fit.error <= COULD * most]
        if found and min(fit.error for fit in found) <= _enough(fitted):
            break
    if not found:
        near = [one for forms in tried for one in glances.best(1, forms, GUESSED * most)]
        near.sort(key=lambda each: each[0])
        found = [fit for _, form in near[:TRIED] for fit in fitted.of(form)]
    return found


def _enough(fitted: Fitted) -> float:
    """The codes of typical error from which no other form is tried."""
    return ENOUGH + ENOUGH_NOISE * fitted.floor


def _forms(fitted: Fitted) -> Iterator[Sequence[Form]]:
    samples, knowledge = fitted.samples, fitted.knowledge
    yield (Form(),)
    if samples.grey:
        yield (Form(mono=True),)
        return
    for tinted in _tinted(fitted):
        yield (tinted,)
    yield (Form(mixed=True),)
    yield (Form(compression=GamutCompression()),)
    yield (Form(mixed=True, compression=GamutCompression()),)
    displays = displays_of(samples, knowledge)
    gamuts = [
        (entry.name, entry.gamut)
        for entry in knowledge.bank.gamuts
        if entry.gamut is not None and entry.name in SHOWN_IN
    ]
    for norms in (by_proportion(gamuts), in_bt2020(gamuts)):
        yield [Form(display=end, norm=norm) for norm in norms for end in displays]
    soft = [Form(display=end, norm=norm) for norm in soft_maxima() for end in displays]
    if soft:
        yield (fitted.glances.tuned(soft),)
    yield [Form(mixed=True, display=end) for end in displays]
    if (form := stepped_form(fitted)) is not None:
        yield (form,)
    yield (Form(look=True),)


def _tinted(fitted: Fitted) -> list[Form]:
    """The form with the tint that greys show, if there is one."""
    ends = scale_of(range_seen(fitted.samples) or "full")
    forms = [Form(after=After(tint, *ends)) for tint in tints_of(fitted.samples)]
    return [min(forms, key=fitted.glances.error)] if forms else []


def displays_of(samples: Samples, knowledge: Knowledge) -> list[End]:
    """The display curves, in the range that the plateaus show."""
    wanted = range_seen(samples)
    return [
        end
        for end in knowledge.targets
        if end.curve.curve.shown and (wanted is None or end.range == wanted)
    ]
