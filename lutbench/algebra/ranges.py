"""Change the signal range or the domain of a LUT."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.algebra.chaining import is_curve
from lutbench.algebra.result import Change, CodeError, Reworked, difference, probe
from lutbench.algebra.rewritten import with_table
from lutbench.model.signal import Range, RangeChange, check_range, range_step
from lutbench.model.transforms import Pipeline, Transform
from lutbench.tables.lut import UNIT_DOMAIN, USUAL_SIZE, Lut, Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import domain_of, sample

EXACT = CodeError(0.0, 0.0, 0.0)


def change_range(
    lut: Transform,
    *,
    source: tuple[str, str] = ("full", "full"),
    target: tuple[str, str] = ("full", "full"),
    bits: int = 10,
    size: int | None = None,
) -> Reworked:
    """The same transform for signals of another range.

    Input and output are full-scale values, code / (2^bits − 1), as a monitor or a program
    feeds a LUT when it does not scale legal range.

    A change of `target` only is exact. For a change of `source` the LUT is sampled again, on
    the same domain; the error is what that costs. Inputs below black and above white are
    clamped if the LUT has no values for them.

    Parameters
    ----------
    source
        The range of the input, now and in future.
    target
        The range of the output, now and in future.
    bits
        The bit depth whose codes of black and white count.
    size
        Nodes along an edge, or rows, if it is sampled again. Default: those of the LUT.
    """
    fed: tuple[Range, Range] = (check_range(source[0]), check_range(source[1]))
    given: tuple[Range, Range] = (check_range(target[0]), check_range(target[1]))
    before = Pipeline(range_step(fed[1], fed[0], bits))
    after = Pipeline(range_step(given[0], given[1], bits))
    changes = [
        Change(f"{end}_range", f"{end} range {pair[0]} to {pair[1]}, {bits}-bit codes")
        for end, pair in (("source", fed), ("target", given))
        if pair[0] != pair[1]
    ]
    if not before.steps and isinstance(lut, Lut) and size is None:
        return Reworked(with_table(lut, after.apply), EXACT, tuple(changes))
    domain = domain_of(lut)
    whole = Pipeline((*before.steps, lut, *after.steps))
    result = _resampled(lut, whole, size, domain)
    clamped = probe(domain)
    inside = before.apply(clamped)
    outside = ((inside < domain[0] - 1e-9) | (inside > domain[1] + 1e-9)).any(axis=1).mean()
    if outside > 0:
        changes.append(
            Change(
                "clamped_inputs",
                f"{100 * outside:.1f} % of the inputs lie outside the LUT's domain and are clamped",
                float(outside),
            )
        )
    return Reworked(result, difference(whole, result, domain), tuple(changes))


def with_ranges(
    lut: Lut, ranges: RangeChange, domain: ArrayLike | None = None, size: int | None = None
) -> Reworked:
    """A LUT for signals of other ranges, then over another domain if one is given."""
    pairs = {
        "source": (ranges.given_source_range, ranges.source_range or ranges.given_source_range),
        "target": (ranges.given_target_range, ranges.target_range or ranges.given_target_range),
    }
    own = None if domain is not None else size
    made = change_range(lut, **pairs, bits=ranges.bits, size=own)
    if domain is None:
        return made
    moved = change_domain(made.lut, domain, size)
    return replace(moved, changes=(*made.changes, *moved.changes))


def change_domain(lut: Lut, domain: ArrayLike = UNIT_DOMAIN, size: int | None = None) -> Reworked:
    """The same transform sampled on another domain, with its inputs clamped as before.

    A shaper is kept, with its rows sampled again. The error is the difference from the LUT
    over the new domain.
    """
    wanted = Lut3D.identity(2).with_domain(domain).domain
    result: Lut
    if isinstance(lut, ShaperLut3D):
        rows = np.linspace(wanted[0], wanted[1], max(lut.shaper.size, 4096))
        result = replace(lut, shaper=Lut1D(lut.shaper.apply(rows), wanted))
        if size is not None:
            result = replace(result, lut=sample(lut.lut, size, domain=lut.lut.domain))
    else:
        result = _resampled(lut, lut, size, wanted)
    old, new = lut.domain, result.domain
    changes = [Change("domain", f"domain {_shown(old)} to {_shown(new)}")]
    cut = float(max((new[0] - old[0]).max(), (old[1] - new[1]).max(), 0))
    if cut > 0:
        changes.append(Change("domain_cut", f"the old domain reached {cut:g} further", cut))
    return Reworked(result, difference(lut, result, new), tuple(changes))


def _resampled(
    lut: Transform, whole: Transform, size: int | None, domain: NDArray[np.float64]
) -> Lut:
    title = getattr(lut, "title", "")
    if isinstance(lut, Lut1D) and is_curve(whole, domain):
        rows = np.linspace(domain[0], domain[1], size or max(lut.size, 4096))
        return Lut1D(whole.apply(rows), domain, title)
    known = lut.size if isinstance(lut, Lut3D | ShaperLut3D) else USUAL_SIZE
    method = lut.interpolation if isinstance(lut, Lut3D) else "tetrahedral"
    return sample(whole, size or known, domain=domain, interpolation=method, title=title)


def _shown(domain: NDArray[np.float64]) -> str:
    low, high = domain
    if np.ptp(low) == 0 and np.ptp(high) == 0:
        return f"{low[0]:g}..{high[0]:g}"
    return ", ".join(f"{a:g}..{b:g}" for a, b in zip(low, high, strict=True))
