"""Hypotheses from free fits: which forms are tried, and the names that come of the best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.forms.fits import GLANCED, Form, FreeFit, glance
from lutbench.identification.forms.fitted import LEAST_FLOOR, Fitted
from lutbench.identification.forms.named import hypotheses_of
from lutbench.identification.forms.score import nats_of
from lutbench.identification.hypothesis import Forecast, error_of, forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.plausible import SHOWN_IN
from lutbench.identification.samples import Samples, range_seen
from lutbench.identification.verdict import Finalist, ranked
from lutbench.model.compression import GamutCompression

ENOUGH = 0.2
"""10-bit codes of error up to which no other form is tried."""

ENOUGH_NOISE = 1.2
"""Times what the nodes are uncertain by that are added to that."""

TRIED = 2
"""Forms of one kind that are fitted in full: the best on few nodes."""

LEFT = 0.5
"""10-bit codes of typical error up to which a form counts: half a code is rounding."""

LEFT_NOISE = 1.5
"""Times the noise that are added to that."""

COULD = 20.0
"""Times that error at a glance from which a form is not fitted: most fits lower what a glance
leaves by a tenth, but one with a second matrix lowered 4.8 codes to 0.001.
"""

UNMOVED = 0.02
"""The largest difference from the identity of a matrix that counts as no mixing of light."""

FOLLOWED = 4
"""Free fits that get names."""

WITHIN = 120.0
"""Nats within which free fits are rivals of the first."""

NAMED = 3
"""Hypotheses, the best, that a form is compared with."""

CLEARLY = 20.0
"""Nats by which a form must explain more than they do."""


def in_other_forms(order: list[Finalist], fitted: Fitted) -> list[Finalist]:
    """The order with hypotheses of other forms before it, where those explain much more."""
    samples = fitted.samples
    before = min((nats_on(each.forecast, samples) for each in order[:NAMED]), default=np.inf)
    found = search_forms(fitted)
    if not found or found[0].nats > before - CLEARLY:
        return order
    return [*ranked([each for each in found if each.nats <= found[0].nats + CLEARLY]), *order]


def search_forms(fitted: Fitted) -> list[Finalist]:
    """Finalists of the forms that explain the nodes best; none where nothing can be fitted."""
    samples = fitted.samples
    few = samples.few
    found: list[Finalist] = []
    for fit in rivals(free_fits(fitted)):
        groups: dict[int, list[Finalist]] = {}
        for hypothesis, cost in hypotheses_of(fit, fitted.knowledge):
            told = forecast(hypothesis, few)
            one = Finalist(hypothesis, told, error_of(told, few), cost)
            groups.setdefault(id(hypothesis.pair), []).append(one)
        for group in groups.values():
            # The curve's names are told by its cost: the nodes tell the rest.
            error = min(each.error for each in group)
            nats = min(nats_on(each.forecast, samples) for each in group)
            found += [replace(each, error=error, nats=nats) for each in group]
    return sorted(found, key=lambda each: each.nats)


def rivals(fits: list[FreeFit]) -> list[FreeFit]:
    """The best fit and its close rivals, each source once.

    None where the best has a large error, for a form must explain most of the nodes. Also none
    where its matrix mixes no light, because then any source fits.
    """
    order = sorted(fits, key=lambda fit: fit.nats)
    if not order:
        return []
    if _is_idle(order[0]):
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
    """Fits of the forms, simplest first, until one has almost no error."""
    if fitted.lit is None:
        return []
    few = fitted.lit.thinned(GLANCED)
    limit = COULD * most_left(fitted.samples)
    found: list[FreeFit] = []
    for forms in _forms(fitted.samples, fitted.knowledge):
        order = {form: glance(form, few) for form in forms}
        near = [form for form in forms if order[form] <= limit]
        for form in sorted(near, key=order.__getitem__)[:TRIED]:
            found += fitted.of(form)
        if found and min(fit.error for fit in found) <= ENOUGH + ENOUGH_NOISE * fitted.floor:
            break
    return found


def _forms(samples: Samples, knowledge: Knowledge) -> Iterator[Sequence[Form]]:
    yield (Form(),)
    yield (Form(mixed=True),)
    yield (Form(compression=GamutCompression()),)
    displays = displays_of(samples, knowledge)
    weights = [
        entry.gamut.luminance_weights
        for entry in knowledge.bank.gamuts
        if entry.gamut is not None and entry.name in SHOWN_IN
    ]
    norms: list[str | tuple[float, float, float]] = ["largest", *weights]
    yield [Form(display=end, norm=norm) for end in displays for norm in norms]
    yield [Form(mixed=True, display=end) for end in displays]
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
