"""The look: what a conversion leaves over, its size and its direction."""

from __future__ import annotations

import numpy as np

from lutbench.analysis.delta_e import delta_e_2000, lab_from_xyz
from lutbench.analysis.identify.hypothesis import Forecast, Hypothesis
from lutbench.analysis.identify.result import Look
from lutbench.analysis.identify.samples import Samples
from lutbench.analysis.view import View, view_of
from lutbench.model.conversion import Encoding
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamuts import BT709
from lutbench.model.transforms import Array

# A look is present from this much on: less is rounding, noise, another adaptation.
SEEN_DELTA_E, SEEN_CODES = 1.0, 3.0


def view_for(hypothesis: Hypothesis | None) -> View:
    """How the output is seen: by its target, or as BT.709 on a BT.1886 display."""
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
    """The look that `clean`, the forecast without a grade, leaves over."""
    view = view_for(hypothesis)
    counted = clean.counted
    if samples.one_d:
        n = len(samples.axis)
        counted = np.zeros_like(counted)
        counted[np.arange(n), np.arange(n), np.arange(n)] = True
    delta = differences(clean.values[counted], samples.table[counted], view)
    p95 = float(np.percentile(delta, 95))
    return Look(
        present=bool(p95 >= SEEN_DELTA_E and clean.p95 >= SEEN_CODES),
        median=float(np.median(delta)),
        p95=p95,
        max=float(delta.max()),
    )
