"""Hypotheses from free fits: which forms are tried, and the names that come of the best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.curves import of_curve
from lutbench.identification.forms.axis import FINE, averaged_axis
from lutbench.identification.forms.fits import Form, FreeFit, fits_of, glance
from lutbench.identification.forms.free import evenly
from lutbench.identification.forms.looks import SmoothLook
from lutbench.identification.forms.named import grade_of, hypotheses_of, unmixed
from lutbench.identification.forms.nodes import Ground, Source, ground_of
from lutbench.identification.forms.score import INDEPENDENT, nats_of
from lutbench.identification.ground import rising_run
from lutbench.identification.hypothesis import Forecast, Hypothesis, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.neutral import match_neutral
from lutbench.identification.plausible import SHOWN_IN
from lutbench.identification.samples import Samples, range_seen
from lutbench.identification.simpler import simpler
from lutbench.identification.targets import error_of
from lutbench.identification.untint import Tint, untinted_forms
from lutbench.identification.untold import guessed_curves
from lutbench.identification.verdict import Finalist, ranked
from lutbench.model.compression import GamutCompression
from lutbench.model.curves.hdr import HlgScene, HlgSystemGamma
from lutbench.model.grade import Saturation
from lutbench.model.transforms import Matrix, Transform

DISPLAY_PEAK = 1000.0
"""cd/m² of the display that HLG is shown on: the reference of Recommendation ITU-R BT.2100."""

LEAST_FLOOR = 0.05
"""Codes, root mean square, that a neutral axis known at its nodes alone leaves between them."""

FINE_FIT = 2.0
"""Codes that a first fit may leave and tell of a neutral axis."""

NOISY = 0.2
"""Codes of rounding or noise from which a neutral axis is averaged over all nodes."""

ENOUGH = 0.2
"""Codes: a form that leaves no more, beside the noise, needs no other."""

TRIED = 2
"""Displays that a form is fitted on in full: those that few nodes speak for."""

BEHIND = 3.0
"""A form that leaves so many times what another does at a glance is not fitted."""

USUAL = "BT.1886"
"""The curve of the display that forms are first looked at on."""

UNMOVED, MOVED, ROWS = 0.02, 20.0, 300
"""A matrix nearer to none than this may mix no light: it must explain so many nats more, on so
many nodes, than none does.
"""

TWIN = 1.1
"""Times the error of one source that another may leave and be one with it to a LUT."""

EXACT_FLOOR = 0.002
"""Codes, root mean square, that closed formulas are known to in the arithmetic of tables."""

VARIED, NEARER = 3, 0.98
"""Finalists whose matrix is tried in each publication, and the error of one that is better."""

NEAR_STOPS, AS_MUCH = 0.002, 1.001
"""Stops within which an exposure may be round, and how much more a round one may leave."""

LEAST_OWN = 0.3
"""What of a channel stays itself in a conversion and in a look: less swaps or inverts channels."""

FOLLOWED, WITHIN = 4, 120.0
"""Free fits that get names, and the nats within which they are rivals of the first."""


def search_forms(samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    """Finalists of the forms that explain the nodes best; none where nothing can be fitted."""
    ground = ground_of(samples)
    if ground is None:
        return []
    if samples.noise >= NOISY or len(samples.neutral_in) < FINE:
        samples, ground = _averaged(samples, ground, knowledge)
    fits = rivals(free_fits(samples, ground, knowledge))
    fits = [*fits, *_twins(fits[0], sources_of(knowledge))] if fits else []
    if fits and not _mixes_light(fits[0]):
        return _unmoved(fits[0], samples, knowledge)
    few = samples.few
    found: list[Finalist] = []
    for fit in fits:
        more = 0.5 * fit.form.parameters * np.log(INDEPENDENT)
        for hypothesis, cost in hypotheses_of(fit, knowledge):
            settled = _on_the_axis(hypothesis, fit.samples)
            told = forecast(settled, few)
            fitted = fit.samples if fit.samples.tint is not None else None
            nats = nats_on(told, few, _floor(settled, few)) + more
            found.append(Finalist(settled, told, error_of(told, few), cost, nats, fitted))
    order = ranked(found)
    first = [_settled(each, few, knowledge) for each in order[:VARIED]]
    return ranked([*first, *order[VARIED:]])


def _settled(finalist: Finalist, few: Samples, knowledge: Knowledge) -> Finalist:
    """The finalist with what is round, or published, or not needed, where that explains as much."""
    plain = _without_norm(simpler(finalist, few), few)
    better = _rounded(_as_published(_rounded(plain, few), few, knowledge), few)
    floors = [_floor(each.hypothesis, few) for each in (better, finalist)]
    gained = nats_on(better.forecast, few, floors[0]) - nats_on(finalist.forecast, few, floors[1])
    return replace(better, nats=finalist.nats + min(gained, 0.0))


def nats_on(told: Forecast, few: Samples, floor: float) -> float:
    """The nats of a forecast over the values that are clear of clipping."""
    misses = told.miss[few.clear] if few.clear.any() else told.miss
    return float(nats_of(misses.ravel()[None], floor)[0])


def _floor(h: Hypothesis, few: Samples) -> float:
    """Codes that a forecast is known to: a tone curve known at nodes is known less well."""
    return max(few.noise, EXACT_FLOOR if isinstance(h.target, End) else LEAST_FLOOR)


def _as_published(finalist: Finalist, few: Samples, knowledge: Knowledge) -> Finalist:
    """The finalist with the matrix between its gamuts, as adapted or published, that fits best."""
    h = finalist.hypothesis
    best = finalist
    for pair in () if h.pair.alike else knowledge.bank.like(h.pair):
        trial = replace(h, pair=pair)
        told = forecast(trial, few)
        error = error_of(told, few)
        if error < NEARER * best.error:
            best = replace(finalist, hypothesis=trial, forecast=told, error=error)
    return best


def _averaged(samples: Samples, ground: Ground, knowledge: Knowledge) -> tuple[Samples, Ground]:
    """The samples with the noise of their neutral axis averaged out by a first fit."""
    sources, floor = sources_of(knowledge), max(samples.noise, LEAST_FLOOR)
    fits = [
        fit
        for form in (Form(), Form(mixed=True))
        for fit in fits_of(form, ground, samples, sources, floor)[:1]
    ]
    best = min(fits, key=lambda fit: fit.nats, default=None)
    if best is None or best.error > FINE_FIT + samples.noise:
        return samples, ground
    averaged = averaged_axis(best)
    again = ground_of(averaged)
    return (samples, ground) if again is None else (averaged, again)


def _is_idle(fit: FreeFit) -> bool:
    """Whether the first matrix is nearly none, so that it says little of the source."""
    return bool(np.abs(fit.matrix - np.eye(3)).max() < UNMOVED)


def _mixes_light(fit: FreeFit) -> bool:
    """Whether the matrix of a fit does more than none would: else any source explains the nodes."""
    if not _is_idle(fit):
        return True
    model = fit.form.model(fit.ground.thinned(ROWS), [fit.source])
    trials = np.array([model.misses(m[None], fit.mixing[None])[0] for m in (np.eye(3), fit.matrix)])
    without, with_it = nats_of(trials.reshape(2, -1), max(fit.samples.noise, LEAST_FLOOR))
    return bool(without > with_it + MOVED)


def _unmoved(fit: FreeFit, samples: Samples, knowledge: Knowledge) -> list[Finalist]:
    """Finalists of a fit that mixes no light: any source does, so its curve has to tell."""
    run = rising_run(samples)
    if run is None or fit.form.display is not None:
        return []
    outputs = samples.neutral[run]
    if fit.form.look:
        grade: tuple[Transform, ...] = ()
    else:
        outputs, grade = unmixed(outputs, fit.mixing, None), grade_of(fit.mixing, None)
    known_to = (fit.error, fit.error)
    curve = samples.neutral_in[run], outputs
    found = of_curve(curve, grade, known_to, samples, knowledge)
    return ranked(found) or ranked(guessed_curves(samples.few, knowledge))


def _on_the_axis(h: Hypothesis, samples: Samples) -> Hypothesis:
    """The hypothesis with its exposure from the neutral axis, where nothing else moves that."""
    plain = h.norm is None and h.gains is None and h.rendering is None
    if not isinstance(h.target, End) or not plain or not all(map(_keeps_greys, h.grade)):
        return h
    match = match_neutral(samples, [h.source], [h.target])
    if not np.isfinite(match.error[0, 0]):
        return h
    return replace(h, stops=float(match.stops[0, 0].mean()))


def _keeps_greys(step: Transform) -> bool:
    """Whether a step leaves greys alone, or was taken out of the samples."""
    return isinstance(step, Saturation | Matrix | SmoothLook | Tint)


def _without_norm(finalist: Finalist, few: Samples) -> Finalist:
    """The finalist with its target on each channel: without a tone curve that is the same."""
    h = finalist.hypothesis
    if h.norm is None or not isinstance(h.target, End):
        return finalist
    trial = _on_the_axis(replace(h, norm=None), few)
    told = forecast(trial, few)
    if told.rms > finalist.forecast.rms:
        return finalist
    return replace(finalist, hypothesis=trial, forecast=told, error=error_of(told, few))


def _rounded(finalist: Finalist, few: Samples) -> Finalist:
    """The finalist with an exposure in hundredths of a stop, where that explains as much."""
    h = finalist.hypothesis
    stops = round(h.stops, 2)
    if stops == h.stops or abs(stops - h.stops) > NEAR_STOPS:
        return finalist
    told = forecast(replace(h, stops=stops), few)
    if told.rms > finalist.forecast.rms * AS_MUCH:
        return finalist
    return replace(
        finalist, hypothesis=replace(h, stops=stops), forecast=told, error=error_of(told, few)
    )


def rivals(fits: list[FreeFit]) -> list[FreeFit]:
    """The best fit of the best sources; of the very best in plainer forms too."""
    kept: list[FreeFit] = []
    for fit in sorted(fits, key=lambda fit: fit.nats):
        if not _keeps_channels(fit) or (fit.form.display and fit.form.mixed and _is_idle(fit)):
            continue
        if kept and fit.source == kept[0].source:
            plainer = fit.form.parameters < min(
                each.form.parameters for each in kept if each.source == fit.source
            )
            if plainer:
                kept.append(fit)
            continue
        new = all(fit.source != other.source for other in kept)
        near = not kept or fit.nats <= kept[0].nats + WITHIN
        if new and near and len({each.source.end for each in kept}) < FOLLOWED:
            kept.append(fit)
    return kept


def _keeps_channels(fit: FreeFit) -> bool:
    """Whether each channel stays mostly itself."""
    mixing = np.eye(3) if fit.form.look else fit.mixing
    return bool(min(np.diag(fit.matrix).min(), np.diag(mixing).min()) >= LEAST_OWN)


def _twins(best: FreeFit, sources: Sequence[Source]) -> list[FreeFit]:
    """The fits of other sources that explain as much with the very same matrices.

    Curves that are one but for a gain and an offset of light do.
    """
    if best.samples.tint is not None:
        return []
    model = best.form.model(best.ground.thinned(ROWS), sources)
    count = len(sources)
    left = model.misses(
        np.repeat(best.matrix[None], count, 0), np.repeat(best.mixing[None], count, 0)
    )
    # Where black lies decides whether the darkest nodes are foretold: it says nothing else.
    own = left[sources.index(best.source)]
    error = evenly(np.where(np.isnan(left), own, left))
    most = TWIN * error[sources.index(best.source)]
    near = [k for k in np.argsort(error)[:FOLLOWED] if error[k] <= most]
    return [replace(best, source=sources[k]) for k in near if sources[k] != best.source]


def free_fits(samples: Samples, ground: Ground, knowledge: Knowledge) -> list[FreeFit]:
    """Fits of the forms, simplest first, until one leaves next to nothing."""
    sources = sources_of(knowledge)
    floor = max(samples.noise, LEAST_FLOOR)
    found: list[FreeFit] = []
    for form in _forms(samples, ground, knowledge, sources, found):
        found += fits_of(form, ground, samples, sources, floor)
        if found and min(fit.error for fit in found) <= ENOUGH + 1.2 * samples.noise:
            return found
    for untinted in untinted_forms(samples):
        plain = ground_of(untinted)
        if plain is not None:
            for form in (Form(), Form(compression=GamutCompression()), Form(look=True)):
                found += fits_of(form, plain, untinted, sources, floor)
    return found


def sources_of(knowledge: Knowledge) -> list[Source]:
    """Every end as it is; those of HLG as a display shows them too."""
    plain = [Source(end) for end in knowledge.sources]
    shown = [
        Source(each.end, HlgSystemGamma(DISPLAY_PEAK))
        for each in plain
        if isinstance(each.end.curve.curve, HlgScene)
    ]
    return plain + shown


def _forms(
    samples: Samples,
    ground: Ground,
    knowledge: Knowledge,
    sources: Sequence[Source],
    found: Sequence[FreeFit],
) -> Iterator[Form]:
    """The forms; what comes late is left out where a glance tells that it cannot win."""
    packed = GamutCompression()
    yield from (Form(), Form(mixed=True), Form(compression=packed), Form(look=True))
    yield Form(mixed=True, compression=packed)
    displays = displays_of(samples, knowledge)
    weights = [
        entry.gamut.luminance_weights
        for entry in knowledge.bank.gamuts
        if entry.gamut is not None and entry.name in SHOWN_IN
    ]
    norms: list[str | tuple[float, float, float]] = ["largest", *weights]
    limit = BEHIND * min((fit.error for fit in found), default=np.inf)
    for forms in ([Form(norm=norm) for norm in norms], [Form(mixed=True)]):
        yield from _glanced(forms, displays, ground, sources, limit)


def _glanced(
    forms: Sequence[Form],
    displays: Sequence[End],
    ground: Ground,
    sources: Sequence[Source],
    limit: float,
) -> Iterator[Form]:
    """The form that fits best on one display, on the displays that it fits best with.

    Displays differ little: what one rules out is out on all.
    """
    if not displays:
        return
    usual = next((end for end in displays if end.curve.curve.name == USUAL), displays[0])
    told = [(glance(replace(form, display=usual), ground, sources), form) for form in forms]
    (error, near), form = min(told, key=lambda each: each[0][0])
    if error > limit:
        return
    order = [replace(form, display=end) for end in displays]
    yield from sorted(order, key=lambda each: glance(each, ground, near)[0])[:TRIED]


def displays_of(samples: Samples, knowledge: Knowledge) -> list[End]:
    """The ends that pictures are shown on, in the range that the plateaus tell."""
    wanted = range_seen(samples)
    return [
        end
        for end in knowledge.targets
        if end.curve.curve.shown and (wanted is None or end.range == wanted)
    ]
