"""Blend two LUTs; change the strength of a look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from lutbench.algebra.chaining import is_curve
from lutbench.algebra.result import Change, Reworked, difference
from lutbench.errors import LutbenchError
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Mould, Pipeline, Transform
from lutbench.tables.lut import USUAL_SIZE, Interpolation, Lut, Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import domain_of, sample, slabs_at_nodes

AMOUNTS = (-1.0, 3.0)
"""Range of a blend or a strength: -1 reverses a look, 3 makes it three times as strong. A number
outside is more likely a typing mistake."""


@dataclass(frozen=True)
class Mix(Transform):
    """(1 − amount) · first + amount · second, of the output signals."""

    first: Transform
    second: Transform
    amount: float
    kind: ClassVar[str] = "mix"

    def _apply(self, rgb: Array) -> Array:
        first = np.asarray(self.first.apply(rgb), dtype=np.float64)
        return first + self.amount * (self.second.apply(rgb) - first)


def blend(
    first: Transform,
    second: Transform,
    amount: float = 0.5,
    size: int | None = None,
    *,
    interpolation: Interpolation = "tetrahedral",
    title: str = "",
) -> Reworked:
    """A LUT `amount` of the way from `first` (0) to `second` (1), mixed as signals.

    Both take the same input. The default size is the larger of the two (33 if neither is
    a LUT); two curves give a curve. The error is the difference from the exact mix.

    Raises
    ------
    LutbenchError
        When the domains differ, or `amount` is not within −1 to 3.
    """
    low, high = AMOUNTS
    if not low <= amount <= high:
        raise LutbenchError(f"an amount of {amount:g} is out of range", accepted="-1 to 3")
    domain = domain_of(first if isinstance(first, Lut) else second)
    if (
        isinstance(first, Lut)
        and isinstance(second, Lut)
        and not np.allclose(domain, domain_of(second))
    ):
        raise LutbenchError(
            "the two LUTs have different domains",
            accepted="LUTs of the same domain (change one first)",
        )
    mix = Mix(first, second, amount)
    lut = _sampled_like((first, second), mix, size, domain, interpolation, title)
    apart = difference(first, second, domain)
    change = Change(
        "blended",
        f"{100 * amount:.0f} % of the way between two LUTs that differ by {apart.mean:.1f} 10-bit "
        "codes"
        f" on average, {apart.max:.0f} at most",
        apart.mean,
    )
    values = lut.table
    outside = float(max(-values.min(), values.max() - 1, 0))
    changes = [change]
    if outside * CODES_10_BIT > 0.5:
        changes.append(
            Change(
                "out_of_range",
                f"values reach {outside * CODES_10_BIT:.0f} codes outside 0..1",
                outside,
            )
        )
    return Reworked(lut, difference(mix, lut, domain), tuple(changes))


def strength(
    lut: Transform,
    amount: float,
    base: Transform | None = None,
    size: int | None = None,
    *,
    interpolation: Interpolation = "tetrahedral",
    title: str = "",
) -> Reworked:
    """A look at another strength: 0 removes it, 1 leaves it unchanged, 2 doubles it.

    Parameters
    ----------
    base
        The LUT without its look: for a LUT that also converts curve or gamut, the plain
        conversion. Default: no change at all, which is right only for a LUT whose input
        and output have the same encoding.

    Raises
    ------
    LutbenchError
        As for `blend`.
    """
    return blend(
        Pipeline() if base is None else base,
        lut,
        amount,
        size,
        interpolation=interpolation,
        title=title,
    )


def _sampled_like(
    sources: tuple[Transform, ...],
    mix: Mix,
    size: int | None,
    domain: Array,
    interpolation: Interpolation,
    title: str,
) -> Lut:
    curves = [each.size for each in sources if isinstance(each, Lut1D)]
    lattices = [each.size for each in sources if isinstance(each, Lut3D | ShaperLut3D)]
    if curves and not lattices and is_curve(mix, domain):
        inputs = np.linspace(domain[0], domain[1], size or max(curves))
        return Lut1D(mix.apply(inputs), domain, title)
    size = size or max(lattices, default=USUAL_SIZE)
    shaper = _common_shaper([each for each in sources if isinstance(each, Lut)])
    if shaper is None:
        table = _mixed_at_nodes(mix, size, domain)
        return Lut3D(table, domain, title, interpolation=interpolation)
    inner = np.stack([shaper.table[0], shaper.table[-1]]).astype(np.float64)
    behind = Pipeline((shaper.inverse(), mix))
    lut = sample(behind, size, domain=inner, interpolation=interpolation, title=title)
    return ShaperLut3D(shaper, lut, title)


def _mixed_at_nodes(mix: Mix, size: int, domain: Array) -> Array:
    """The mix at the nodes of a lattice; a LUT with the same nodes gives its table."""
    mould = Mould((size, size, size, 3))
    for (place, first), (_, second) in zip(
        slabs_at_nodes(mix.first, size, domain),
        slabs_at_nodes(mix.second, size, domain),
        strict=True,
    ):
        with np.errstate(over="ignore", invalid="ignore"):  # the LUT refuses it, in words
            mould.array[place] = first + mix.amount * (second - first)
    return mould.sealed()


def _common_shaper(luts: list[Transform]) -> Lut1D | None:
    """The shaper that all the LUTs share, if they do and it has an inverse; else None."""
    shapers = [each.shaper for each in luts if isinstance(each, ShaperLut3D)]
    if not shapers or len(shapers) < len(luts):
        return None
    first = shapers[0]
    same = all(
        np.array_equal(each.table, first.table) and np.array_equal(each.domain, first.domain)
        for each in shapers
    )
    return first if same and (np.diff(first.table, axis=0) > 0).all() else None
