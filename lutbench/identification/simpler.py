"""An answer without unnecessary parts: a tone curve, or an exposure that a CDL contains."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from lutbench.fitting.cdl import fit_cdl
from lutbench.identification.curvebank import scale_of
from lutbench.identification.hypothesis import Hypothesis, ToneTarget, forecast
from lutbench.identification.samples import Samples
from lutbench.identification.verdict import Finalist
from lutbench.model.grade import Cdl

SLACK = 1.02
"""Times the root mean square error that a simpler answer may have."""

CODES_MORE = 0.005
"""10-bit codes by which that error may grow in addition."""

NO_EXPOSURE = 0.15
"""Stops up to which no exposure is tried: before a pure power, a gain equals the slope of a CDL
after it."""


def simpler(finalist: Finalist, samples: Samples) -> Finalist:
    """The finalist with the plain target and no exposure, where that explains as much.

    Only answers with a tone curve or a grade are tried.
    """
    h = finalist.hypothesis
    if not (isinstance(h.target, ToneTarget) or h.grade):
        return finalist
    limit = SLACK * finalist.forecast.rms + CODES_MORE
    for trial in _trials(h):
        for graded in _with_grades(trial, h, samples):
            predicted = forecast(graded, samples)
            if predicted.rms <= limit:
                # It keeps its error, which was measured in the same way as those of the others.
                return replace(finalist, hypothesis=graded, forecast=predicted)
    return finalist


def _trials(h: Hypothesis) -> Iterator[Hypothesis]:
    """Simplest first."""
    near = abs(h.stops) <= NO_EXPOSURE
    end = h.target_end
    if isinstance(h.target, ToneTarget) and end is not None:
        if near:
            yield replace(h, target=end, stops=0.0)
        yield replace(h, target=end)
    if near and h.stops and not isinstance(h.target, ToneTarget):
        yield replace(h, stops=0.0)


def _with_grades(trial: Hypothesis, h: Hypothesis, samples: Samples) -> Iterator[Hypothesis]:
    """The trial with its grade, then with its CDL fitted again."""
    yield trial
    start = next((each for each in h.grade if isinstance(each, Cdl)), None)
    if start is None or trial.stops == h.stops:
        return
    clean = forecast(trial.without_grade(), samples)
    low, span = scale_of(trial.target.range)
    clear = clean.counted & np.all(samples.inside(samples.table), axis=-1)
    clear &= np.all((clean.values > low + 1e-4) & (clean.values < low + span - 1e-4), axis=-1)
    fit = fit_cdl(
        (clean.values[clear] - low) / span, (samples.table[clear] - low) / span, start=start
    )
    if fit is not None:
        yield replace(trial, grade=(fit.cdl,))
