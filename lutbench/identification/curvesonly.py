"""LUTs that leave the gamut alone: no matrix mixes light, so any source would fit.

What is left to tell source and target by is the curve itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.freecurve import FreeCurve, TargetFit
from lutbench.identification.freefit import CurveFit, CurveForm
from lutbench.identification.freeform import settle, started
from lutbench.identification.graded import Problems, fit_cdl, fit_contrast
from lutbench.identification.ground import Ground
from lutbench.identification.samples import CODES, Samples
from lutbench.identification.target import Through
from lutbench.model.transforms import Array

APART = 2.5
"""Codes: channels that act on each other by no more are taken to be apart (noise of a code)."""

NOISY = 0.1
"""Codes: nodes that differ by less say nothing more together than one alone."""

ADDED, ADDED_ROWS, ADDED_FROM = 1.0, 3000, 3
"""Codes, root mean square, that a sum of curves may leave; nodes it is made on, and how many
at least for each value of the curves.
"""

POINTS = 33
KEPT = 12


def is_apart(samples: Samples) -> bool:
    """Whether each output channel hangs on its own input alone."""
    alone = np.stack(
        [np.interp(samples.axis, samples.neutral_in, samples.neutral[:, c]) for c in range(3)],
        axis=1,
    )
    worst = 0.0
    for c in range(3):
        shape = [1, 1, 1]
        shape[c] = -1
        off = np.abs(samples.table[..., c] - alone[:, c].reshape(shape))
        worst = max(worst, float(off.max()))
    return worst * CODES <= APART


def only_mixes(samples: Samples) -> bool:
    """Whether the channels do no more to each other than mix after curves of their own.

    Then each output is a sum of a curve of red, one of green and one of blue (but where
    it is clipped), whatever the curves are: a grade's saturation does that, a conversion
    of the gamut between curves does not.
    """
    places = np.argwhere(samples.clear.all(axis=-1))
    if len(places) > ADDED_ROWS:
        places = places[np.random.default_rng(3).choice(len(places), ADDED_ROWS, replace=False)]
    size = len(samples.axis)
    used = [np.unique(places[:, c], return_inverse=True) for c in range(3)]
    if not len(places) or len(places) < ADDED_FROM * sum(len(values) for values, _ in used):
        return False
    sums = np.concatenate([np.eye(size)[values[at]][:, values] for values, at in used], axis=1)
    outputs = samples.table[tuple(places.T)]
    solution = np.linalg.lstsq(sums, outputs, rcond=None)[0]
    left = np.sqrt(np.mean((outputs - sums @ solution) ** 2)) * CODES
    ends = np.cumsum([len(values) for values, _ in used])[:2]
    spans = np.array([np.ptp(curve, axis=0) for curve in np.split(solution, ends)])
    # A swap of channels or a turn of the hues is no curve: each must stay mostly itself.
    own = (np.diag(spans) > spans.sum(axis=0) / 2).all()
    return bool(left <= ADDED and own)


def averaged(samples: Samples) -> Samples:
    """Samples whose channels are apart, with the noise of their neutral axis averaged out.

    Every node of one input says the same of its channel.
    """
    means, spread = [], 0.0
    for c in range(3):
        others = tuple(k for k in range(3) if k != c)
        means.append(samples.table[..., c].mean(axis=others))
        spread = max(spread, float(samples.table[..., c].std(axis=others).max()))
    if spread * CODES < NOISY:
        return samples
    return replace(samples, neutral_in=samples.axis, neutral=np.stack(means, axis=1))


def unmoved_fit(ground: Ground, samples: Samples, sources: list[End]) -> CurveFit | None:
    """The fit with no matrix on light, the channels of the signal mixed at most."""
    form = CurveForm(ground.tinted, held=True)
    fit = settle(ground, samples, sources, started(ground, form, 0, np.eye(3), np.eye(3)))
    return fit if fit.knots is not None else None


def pairs_of_curves(
    places: Array,
    outputs: Array,
    sources: Sequence[End],
    targets: Sequence[End],
    limit: float,
    step: float = 0.0,
) -> list[TargetFit]:
    """Source and target for a curve given at full-scale inputs, the source as `group`.

    Plain pairs first; where none fits within `limit` codes, a stretch of a pair
    under a tone curve, and a CDL on the curves that pictures are made for.
    """
    if len(places) > POINTS:
        some = np.linspace(0, len(places) - 1, POINTS).round().astype(int)
        places, outputs = places[some], outputs[some]
    lights = np.array([source.decode(places) for source in sources])
    tinted = FreeCurve(lights[0], outputs, np.ones(len(places))).tinted
    through = Through.of(outputs, targets, step)
    found: list[TargetFit] = []
    for i, light in enumerate(lights):
        for fit in through.fits(light, tinted):
            if fit.model == "tone" or fit.error <= limit:
                found.append(
                    TargetFit(
                        fit.target,
                        fit.model,
                        fit.stops,
                        fit.error,
                        fit.share,
                        None,
                        fit.cost,
                        i,
                    )
                )
    if not any(fit.model == "plain" for fit in found):
        if not tinted:
            found += through.logistic(lights, targets)
        chosen = np.array(
            [j for j, end in enumerate(targets) if end.curve.curve.shown], dtype=np.int64
        )
        group, target = (
            each.ravel() for each in np.meshgrid(np.arange(len(sources)), chosen, indexing="ij")
        )
        if len(target):
            curve = FreeCurve(lights[0], outputs, np.ones(len(places)))
            problems = Problems.of(lights[group], curve, targets, target, group)
            found += fit_cdl(problems, np.zeros(len(target)))
            found += fit_contrast(problems)
    return sorted(found, key=lambda fit: fit.cost)[: 4 * KEPT]
