"""The look of a LUT: what remains on the output signal, as a CDL where one explains it."""

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
from lutbench.tables.lut import Lut3D, lattice

SIZE = 33

EXPLAINED = 1.0
"""10-bit codes beside the noise: what leaves 95 % of the nodes no more explains a look."""

REACH = 0.25
"""How far from any colour that the LUT gives the look dies away: the share of the cube's edge."""

SMOOTHNESS = 1e-7
MOST = 80_000


@dataclass(frozen=True, eq=False)
class LookPart:
    """The look as a LUT on the output signal; `cdl` is the CDL that it is, or None."""

    lut: Lut3D
    cdl: Cdl | None


def look_between(
    clean: Array,
    given: Array,
    name: Range,
    *,
    grade: Sequence[Transform] = (),
    expected: bool,
    noise: float = 0.0,
    clamp: bool = True,
) -> LookPart:
    """The look that takes the clean conversion's values to the LUT's.

    Parameters
    ----------
    clean, given
        Shape (m, 3): full-scale values at the LUT's nodes.
    name
        The range of both.
    grade
        What identification takes the look for, on the signal: a start.
    expected
        Whether identification saw a look; without one no CDL is looked for.
    noise
        10-bit codes by which rounding or noise puts a node off.
    clamp
        Whether the signal is held to 0..1.
    """
    if len(clean) > MOST:
        some = np.random.default_rng(3).choice(len(clean), MOST, replace=False)
        clean, given = clean[some], given[some]
    low = min(0.0, float(clean.min()))
    high = max(1.0, float(clean.max()))
    domain = np.array([[low] * 3, [high] * 3])
    limit = EXPLAINED + noise
    seen = expected and np.percentile(np.abs(given - clean), 95) * CODES_10_BIT > limit
    cdl = fitted_cdl(clean, given, name, _start(grade, clamp), limit) if seen else None
    base: Transform = on_full_scale((cdl,), name) if cdl else Pipeline()
    if seen and cdl is None and grade:
        base = _better(on_full_scale(grade, name), clean, given)
    nodes = lattice(SIZE, domain)
    table = _carried_on(base, nodes, name, clamp)
    look = Lut3D(table, domain, title="look")
    rest = given - np.asarray(look.apply(clean))
    if np.percentile(np.abs(rest), 95) * CODES_10_BIT > limit:
        fit = ScatteredFit((clean - low) / (high - low), rest, SIZE)
        look = Lut3D(table + fit.solve(SMOOTHNESS, reach=REACH), domain, title="look")
    return LookPart(look, cdl)


def _carried_on(base: Transform, nodes: Array, name: Range, clamp: bool) -> Array:
    """`base` at nodes; beyond the signal's 0 and 1 on from there, since what is held
    between two nodes would bend the stretch before."""
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
    """`trial`, or nothing where that leaves less over."""
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
