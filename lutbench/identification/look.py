"""The look: what a conversion does not explain, its size, its direction, and its CDL."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lutbench.fitting.cdl import fit_cdl
from lutbench.identification.curvebank import End, scale_of
from lutbench.identification.directions import (
    GreyScale,
    contrast_change,
    hue_changes,
    saturation_change,
    tone_changes,
)
from lutbench.identification.hypothesis import Forecast, Hypothesis
from lutbench.identification.lookwords import described
from lutbench.identification.result import FittedCdl, Identification, Look, MedianErrors
from lutbench.identification.samples import CODES, Samples
from lutbench.identification.scope import weights_for
from lutbench.measure.delta_e import View, delta_e_2000, lab_from_xyz, view_of
from lutbench.model.conversion import Encoding
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamuts import BT709
from lutbench.model.grade import Cdl
from lutbench.model.signal import Range
from lutbench.model.transforms import Array
from lutbench.tables.nodes import greys

SEEN_DELTA_E = 1.0
"""ΔE 2000, 95th percentile, from which a look is present: less may be rounding or noise."""

SEEN_CODES = 3.0
"""10-bit codes, 95th percentile, that a look must have as well."""

FEW = 99.0
"""The percentile at which a look on few nodes is seen: one node in a hundred."""

FEW_DELTA_E = 1.5
"""ΔE 2000 at that percentile from which a look is present."""

FEW_CODES = 6.0
"""10-bit codes at that percentile that a look must have as well."""

CDL_LEAVES = 0.08
"""The share of a look up to which the residual of a CDL may reach for the CDL to explain it."""

ROWS = 6000
"""The fewest nodes, if there are that many, that a CDL is fitted on."""


def view_for(hypothesis: Hypothesis | None) -> View:
    """How the output is viewed: as its target, or as BT.709 on a BT.1886 display."""
    end = hypothesis.target_end if hypothesis else None
    if hypothesis is None:
        return view_of(Encoding(Bt1886(), BT709))
    gamut = hypothesis.pair.target.gamut if not hypothesis.pair.alike else BT709
    curve = end.curve.curve if end else Bt1886()
    return view_of(Encoding(curve, gamut or BT709, hypothesis.target.range))


def differences(a: Array, b: Array, view: View) -> Array:
    """ΔE 2000 of two sets of full-scale values, shape (...)."""
    lab = (lab_from_xyz(view.xyz(each), view.white_xyz) for each in (a, b))
    return np.asarray(np.nan_to_num(delta_e_2000(*lab), nan=0.0))


def measured_look(hypothesis: Hypothesis | None, clean: Forecast, samples: Samples) -> Look:
    """The look: what `clean`, the forecast without a grade, does not explain."""
    view = view_for(hypothesis)
    counted = clean.counted
    if samples.one_d:
        n = len(samples.axis)
        counted = np.zeros_like(counted)
        counted[np.arange(n), np.arange(n), np.arange(n)] = True
    delta = differences(clean.values[counted], samples.table[counted], view)
    p95 = float(np.percentile(delta, 95))
    look = Look(
        present=bool(p95 >= SEEN_DELTA_E and clean.p95 >= SEEN_CODES)
        or _shows_in_few(hypothesis, clean, delta),
        median=float(np.median(delta)),
        p95=p95,
        max=float(delta.max()),
    )
    return _directed(look, hypothesis, clean, samples, view, delta) if look.present else look


def look_at(told: Array, outputs: Array, view: View) -> Look:
    """The size of a look at some nodes, (n, 3) full-scale values; its direction is not told."""
    delta = differences(told, outputs, view)
    off = np.abs(told - outputs).max(axis=1) * CODES
    median, p95, most = (float(np.percentile(delta, share)) for share in (50, 95, 100))
    present = p95 >= SEEN_DELTA_E and np.percentile(off, 95) >= SEEN_CODES
    return Look(bool(present), median=median, p95=p95, max=most)


def _shows_in_few(hypothesis: Hypothesis | None, clean: Forecast, delta: Array) -> bool:
    """Whether a few nodes show a look, such as one on a narrow range of hues.

    A tone curve known only as a table is too inaccurate to show that.
    """
    if hypothesis is None or not isinstance(hypothesis.target, End):
        return False
    codes = np.percentile(np.abs(clean.miss[clean.counted]), FEW)
    return bool(np.percentile(delta, FEW) >= FEW_DELTA_E and codes >= FEW_CODES)


def _directed(
    look: Look,
    hypothesis: Hypothesis | None,
    clean: Forecast,
    samples: Samples,
    view: View,
    delta: Array,
) -> Look:
    """The look with its direction; `delta` is its ΔE 2000 at each node that counts."""
    name: Range = hypothesis.target.range if hypothesis else "full"
    low, span = scale_of(name)
    weights = weights_for(view.encoding.gamut.name)
    neutral_before, neutral_after = _neutral(hypothesis, samples)
    # Values clipped before or after the look do not show its direction.
    clear = clean.counted & np.all(samples.inside(samples.table), axis=-1)
    clear &= np.all((clean.values > low + 1e-4) & (clean.values < low + span - 1e-4), axis=-1)
    before, after = clean.values[clear], samples.table[clear]
    cdl = None
    if samples.one_d:
        rows = np.all(samples.inside(samples.neutral), axis=-1)
        cdl = _cdl_of(
            neutral_before[rows], neutral_after[rows], look, hypothesis, view, (low, span)
        )
    elif len(before):
        cdl = _cdl_of(before, after, look, hypothesis, view, (low, span))
    look = replace(
        look,
        cdl=cdl,
        contrast=contrast_change(neutral_before, neutral_after, view),
        tones=tone_changes(neutral_before, neutral_after, view),
    )
    if len(before) and not samples.one_d:
        signals = (before - low) / span, (after - low) / span
        grey = GreyScale((neutral_before - low) / span, (neutral_after - low) / span)
        look = replace(
            look,
            saturation=saturation_change(*signals, grey, weights),
            strong_saturation=saturation_change(*signals, grey, weights, strong=True),
            hues=hue_changes(*signals, grey, delta[clear[clean.counted]], weights),
        )
    return replace(look, description=described(look))


def _neutral(hypothesis: Hypothesis | None, samples: Samples) -> tuple[Array, Array]:
    """The grey scale before the look and after it, full-scale values, shape (n, 3)."""
    grey = greys(samples.neutral_in)
    if hypothesis is not None:
        grey = hypothesis.without_grade().apply(grey, clip=samples.clipped)
    return np.nan_to_num(grey, nan=0.0, posinf=1.0, neginf=0.0), samples.neutral


def _cdl_of(
    before: Array,
    after: Array,
    look: Look,
    hypothesis: Hypothesis | None,
    view: View,
    scale: tuple[float, float],
) -> FittedCdl | None:
    """The CDL between full-scale values (n, 3), where one explains most of the look."""
    low, span = scale
    start = next((g for g in hypothesis.grade if isinstance(g, Cdl)), None) if hypothesis else None
    some = slice(None, None, max(1, len(before) // ROWS))
    before, after = before[some], after[some]
    neutral = bool(np.ptp(before, axis=1).max(initial=0.0) < 1e-6)
    fit = fit_cdl((before - low) / span, (after - low) / span, start=start, mixes=not neutral)
    if fit is None:
        return None
    graded = low + span * fit.cdl.apply((before - low) / span)
    left = differences(graded, after, view)
    whole = differences(before, after, view)
    shows = max(CDL_LEAVES * float(np.percentile(whole, 95)), SEEN_DELTA_E)
    if np.percentile(left, 95) > shows or np.median(left) > 0.25 * np.median(whole):
        return None
    codes = np.abs(fit.left) * span
    return FittedCdl(
        fit.cdl.slope,
        fit.cdl.offset,
        fit.cdl.power,
        fit.cdl.saturation,
        MedianErrors.of(codes),
        MedianErrors.of(left),
    )


def remainder(found: Identification) -> tuple[Array, NDArray[np.bool_]]:
    """ΔE 2000 between conversion and LUT at each node, and which nodes count, shape (m, m, m)."""
    assert found.samples is not None
    assert found.forecast is not None
    hypothesis = found.best.hypothesis if found.best is not None else None
    delta = differences(found.forecast.values, found.samples.table, view_for(hypothesis))
    return delta, found.forecast.counted
