"""Hypotheses from free fits: which forms are tried, and the names that come of the best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from lutbench.identification.carriers import by_proportion, in_bt2020, soft_maxima
from lutbench.identification.common import EARNED, ROWS, STEPS
from lutbench.identification.curvebank import End, scale_of
from lutbench.identification.curvesonly import SeenCurve, finalists_of_curve, only_mixes
from lutbench.identification.forms.bends import Bending, Bent, bent
from lutbench.identification.forms.fits import ENOUGH, After, Form, FreeFit, Glances
from lutbench.identification.forms.fitted import LEAST_FLOOR, Fitted
from lutbench.identification.forms.free import typical
from lutbench.identification.forms.named import grade_of, hypotheses_of
from lutbench.identification.forms.nodes import Source, ground_of
from lutbench.identification.forms.score import nats_of
from lutbench.identification.forms.stepped import stepped_form
from lutbench.identification.forms.yardstick import form_of
from lutbench.identification.hypothesis import Forecast, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.plausible import SHOWN_IN
from lutbench.identification.rising import rising_run
from lutbench.identification.samples import Samples, range_seen
from lutbench.identification.untint import tint_of, untinted_forms
from lutbench.identification.verdict import Finalist, ranked
from lutbench.model.compression import GamutCompression
from lutbench.model.transforms import Array

ENOUGH_NOISE = 1.2
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

UNMIXED = 0.75
"""10-bit codes of error, beside the noise, up to which a fit without a matrix is followed."""

BENDS = 4
"""Bends of its curve, the fewest of a cubic."""

FOLLOWED = 4
"""Free fits that get names."""

WITHIN = 120.0
"""Nats within which free fits are rivals of the first."""

NAMED = 3
"""Hypotheses, the best, that a form is compared with."""

CLEARLY = 20.0
"""Nats by which a form must explain more than they do."""


def in_other_forms(order: list[Finalist], fitted: Fitted) -> list[Finalist]:
    """The order with hypotheses of free forms before it, where those explain much more.

    Where there is no order yet, the best fit is named however much it leaves: a guess at least.
    """
    samples = fitted.samples
    before = min((nats_on(each.forecast, samples) for each in order[:NAMED]), default=np.inf)
    found, fits = _of_curves(fitted), list[FreeFit]()
    if found is None:
        fits = sorted(free_fits(fitted, guess=not order), key=lambda fit: fit.nats)
        found = _finalists_of(rivals(fits), fitted) or _of_idle(fits[0] if fits else None, fitted)
        if not order and not found:
            freest = Form(mixed=True, compression=GamutCompression())
            guesses = [fit for fit in fits or fitted.of(freest) if not _is_idle(fit)]
            found = _finalists_of(guesses[:1], fitted)
    found = [each for each in found if each.nats <= found[0].nats + CLEARLY]
    after = min((nats_on(each.forecast, samples) for each in found), default=np.inf)
    better = after <= before - CLEARLY or not order or _is_other_source(order[0], fits, fitted)
    return [*ranked(found), *order] if better else order


def _is_other_source(best: Finalist, fits: Sequence[FreeFit], fitted: Fitted) -> bool:
    """Whether with a free matrix another source explains the nodes far better.

    Where primaries have no name, the nearest pair of gamuts says little of the source.
    """
    if not fits or fits[0].error > ENOUGH + ENOUGH_NOISE * fitted.floor:
        return False
    if best.error <= fits[0].error + fitted.floor:
        return False
    h = best.hypothesis
    same = (fit.nats for fit in fitted.of(form_of(h)) if fit.source.end == h.source)
    return fits[0].nats < min(same, default=np.inf) - EARNED


def _finalists_of(fits: Sequence[FreeFit], fitted: Fitted) -> list[Finalist]:
    """Finalists of free fits, those that explain the nodes best first.

    Error and nats are those with the curve left free: its names are judged by their cost.
    """
    few = fitted.samples.few
    found = [
        Finalist(hypothesis, forecast(hypothesis, few), named.error, cost, named.nats)
        for fit in fits
        for hypothesis, cost, named in hypotheses_of(fit, fitted.knowledge)
    ]
    return sorted(found, key=lambda each: each.nats)


def _of_curves(fitted: Fitted) -> list[Finalist] | None:
    """Finalists where channels only mix after a curve on each; None for other LUTs.

    Only the curve then shows its ends: without a matrix on light, any source fits.
    """
    samples = fitted.samples
    forms = [form for form in (samples, *untinted_forms(samples)) if only_mixes(form)]
    sources = fitted.sources[:1]
    curves = [seen for form in forms if (seen := _unmixed(form, sources)) is not None]
    if not curves:
        return None
    return _of_curve(min(curves, key=lambda seen: seen.noise), samples, fitted.knowledge)


def _of_idle(fit: FreeFit | None, fitted: Fitted) -> list[Finalist]:
    """The same for a fit whose matrix mixes no light, where it leaves little."""
    samples = fitted.samples
    run = rising_run(samples)
    if fit is None or run is None or not _is_idle(fit) or fit.form.look or fit.form.display:
        return []
    if fit.error > UNMIXED + samples.noise:
        return []
    seen = _before(samples, run, fit.mixing, fit.error)
    return _of_curve(seen, samples, fitted.knowledge)


def _of_curve(seen: SeenCurve, samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    """Finalists for a curve; the nodes say the same of all."""
    found = finalists_of_curve(seen, samples, samples.few, knowledge)
    return [replace(each, nats=0.0) for each in found]


def _before(samples: Samples, run: slice, mixing: Array, error: float) -> SeenCurve:
    """The curve before the channels of the signal were mixed."""
    outputs = samples.neutral[run] @ np.linalg.inv(mixing).T
    grade = grade_of(mixing, None)
    return SeenCurve(samples.neutral_in[run], outputs, error, error, grade)


def _unmixed(samples: Samples, sources: Sequence[Source]) -> SeenCurve | None:
    """The curve before the channels of the signal were mixed; None where none fits."""
    ground, run = ground_of(samples), rising_run(samples)
    if ground is None or run is None or not sources:
        return None
    # Without a matrix on light any source, and any bend of it, gives the same.
    start = Bent(Form(mixed=True).model(ground.thinned(ROWS), sources), np.eye(3), np.eye(3))
    fit = bent(start, Bending(BENDS, STEPS, mixed=True, held=True))
    error = float(typical(fit.misses())[0])
    if error > UNMIXED + samples.noise:
        return None
    return _before(samples, run, fit.mixing, error)


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


def free_fits(fitted: Fitted, *, guess: bool = False) -> list[FreeFit]:
    """Fits of the forms, simplest first, until one has almost no error.

    To `guess`, where no form may count, also fits of those that leave more.
    """
    if fitted.lit is None:
        return []
    glances, most = Glances(fitted.lit), most_left(fitted.samples)
    tried: list[Sequence[Form]] = []
    found: list[FreeFit] = []
    for forms in _forms(fitted, glances):
        tried.append(forms)
        for _, form in glances.best(TRIED, forms, COULD * most):
            found += fitted.of(form)
        if found and min(fit.error for fit in found) <= ENOUGH + ENOUGH_NOISE * fitted.floor:
            break
    if guess and not found:
        near = [one for forms in tried for one in glances.best(1, forms, GUESSED * most)]
        near.sort(key=lambda each: each[0])
        found = [fit for _, form in near[:TRIED] for fit in fitted.of(form)]
    return found


def _forms(fitted: Fitted, glances: Glances) -> Iterator[Sequence[Form]]:
    samples, knowledge = fitted.samples, fitted.knowledge
    yield (Form(),)
    if samples.grey:
        yield (Form(mono=True),)
        return
    if (tint := tint_of(samples)) is not None:
        yield (Form(after=After(tint, *scale_of(range_seen(samples) or "full"))),)
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
        yield (glances.tuned(soft),)
    yield [Form(mixed=True, display=end) for end in displays]
    if (form := stepped_form(fitted)) is not None:
        yield (form,)
    yield (Form(look=True),)


def displays_of(samples: Samples, knowledge: Knowledge) -> list[End]:
    """The display curves, in the range that the plateaus show."""
    wanted = range_seen(samples)
    return [
        end
        for end in knowledge.targets
        if end.curve.curve.shown and (wanted is None or end.range == wanted)
    ]


def nats_on(told: Forecast, samples: Samples) -> float:
    """The nats of a forecast over the values that are clear of clipping, in gamut or not."""
    few = samples.few
    clear = few.clear
    misses = told.miss[clear] if clear.any() else told.miss
    return float(nats_of(misses.ravel()[None], max(samples.noise, LEAST_FLOOR))[0])
