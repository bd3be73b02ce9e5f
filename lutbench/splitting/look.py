"""The look of a LUT: the remaining change of the output signal, as a CDL if one explains it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from lutbench.fitting.cdl import fit_cdl
from lutbench.fitting.scattered import ScatteredFit
from lutbench.identification.curvebank import scale_of
from lutbench.model.grade import CDL_WEIGHTS, Cdl, Saturation
from lutbench.model.signal import CODES_10_BIT, Range, RangeFromSignal, SignalFromRange
from lutbench.model.transforms import Array, Pipeline, Transform
from lutbench.splitting.frame import MOST, USUAL
from lutbench.tables.lut import Lut3D, lattice

EXPLAINED = 1.0
"""10-bit codes, 95th percentile beside the noise, up to which a look is explained."""

REACH = 0.25
"""The share of the cube's edge over which the look fades, away from colours that the LUT gives."""

SMOOTHNESS = 1e-7
"""The weight of smoothness against error in the fit of the look."""


@dataclass(frozen=True, eq=False)
class LookPart:
    """The look as a LUT on the output signal; `cdl` is the CDL that explains it, or None."""

    lut: Lut3D
    cdl: Cdl | None


@dataclass(frozen=True, eq=False)
class Compared:
    """Full-scale values at the LUT's nodes, each of shape (m, 3), and their range.

    `clean` comes out of the clean conversion, `given` out of the LUT.
    """

    clean: Array
    given: Array
    range: Range

    def few(self) -> Compared:
        """At most `MOST` of them, by chance but always the same."""
        if len(self.clean) <= MOST:
            return self
        some = np.random.default_rng(3).choice(len(self.clean), MOST, replace=False)
        return Compared(self.clean[some], self.given[some], self.range)


def look_between(
    values: Compared,
    *,
    grade: Sequence[Transform] = (),
    expected: bool,
    noise: float = 0.0,
    clamp: bool = True,
) -> LookPart:
    """The look that maps the clean conversion's values to those of the LUT.

    Parameters
    ----------
    grade
        The identified grade on the signal, from which the fit starts.
    expected
        Whether identification found a look; if not, no CDL is fitted.
    noise
        10-bit codes of error at a node from rounding or noise.
    clamp
        Whether the signal is clipped to 0..1.
    """
    values = values.few()
    clean, given, name = values.clean, values.given, values.range
    low = min(0.0, float(clean.min()))
    high = max(1.0, float(clean.max()))
    domain = np.array([[low] * 3, [high] * 3])
    limit = EXPLAINED + noise
    seen = expected and np.percentile(np.abs(given - clean), 95) * CODES_10_BIT > limit
    cdl = fitted_cdl(clean, given, name, _start(grade, clamp), limit) if seen else None
    base: Transform = on_full_scale((cdl,), name) if cdl else Pipeline()
    if seen and cdl is None and grade:
        base = _better(on_full_scale(grade, name), clean, given)
    nodes = lattice(USUAL, domain)
    table = _carried_on(base, nodes, name, clamp)
    look = Lut3D(table, domain, title="look")
    rest = given - np.asarray(look.apply(clean))
    if np.percentile(np.abs(rest), 95) * CODES_10_BIT > limit:
        fit = ScatteredFit((clean - low) / (high - low), rest, USUAL)
        look = Lut3D(table + fit.solve(SMOOTHNESS, reach=REACH), domain, title="look")
    return LookPart(look, cdl)


def _carried_on(base: Transform, nodes: Array, name: Range, clamp: bool) -> Array:
    """`base` at nodes; beyond signal 0 and 1 continued with slope 1, because clipping between
    two nodes would bend the curve before it."""
    if not clamp:
        return np.asarray(base.apply(nodes))
    low, span = scale_of(name)
    held = np.clip(nodes, low, low + span)
    return np.asarray(base.apply(held)) + (nodes - held)


def on_full_scale(steps: Sequence[Transform], name: Range) -> Pipeline:
    """Steps on the signal as steps on full-scale values of a range."""
    if name == "full":
        return Pipeline(tuple(steps))
    return Pipeline((SignalFromRange(name), *steps, RangeFromSignal(name)))


def _better(trial: Transform, clean: Array, given: Array) -> Transform:
    """`trial`, or no change where that leaves a smaller residual."""
    with_it = np.abs(given - np.asarray(trial.apply(clean))).mean()
    return trial if with_it < np.abs(given - clean).mean() else Pipeline()


def _start(grade: Sequence[Transform], clamp: bool) -> Cdl:
    start = Cdl(clamp=clamp)
    for step in grade:
        if isinstance(step, Cdl):
            start = replace(step, clamp=clamp)
        elif isinstance(step, Saturation) and step.weights == CDL_WEIGHTS:
            start = replace(start, saturation=step.amount)
    return start


def fitted_cdl(clean: Array, given: Array, name: Range, start: Cdl, limit: float) -> Cdl | None:
    """The ASC CDL 1.2 that explains a look on the signal, or None where none does.

    It is fitted over the values that are clear of 0 and 1 on both sides, and explains
    the look when it leaves 95 % of them within `limit` 10-bit codes.
    """
    low, span = scale_of(name)
    x, y = (clean - low) / span, (given - low) / span
    clear = ((x > 0.01) & (x < 0.99) & (y > 0.005) & (y < 0.995)).all(axis=1)
    fit = fit_cdl(x[clear], y[clear], start=start)
    if fit is None:
        return None
    cdl = replace(fit.cdl, clamp=start.clamp)
    left = np.abs(cdl.apply(x[clear]) - y[clear]) * span * CODES_10_BIT
    return cdl if np.percentile(left, 95) <= limit else None
