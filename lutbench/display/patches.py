"""The patches that are shown to a meter, one at a time."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.model.signal import Range, code_from_signal, signal_from_code
from lutbench.model.transforms import Array

WHITE_AFTER_PATCHES = 40
"""Patches after which white is shown again, so that the report can tell how the display drifts."""


@dataclass(frozen=True)
class Amount:
    """How large a set is: levels of grey, levels of each primary, edge of the cube, near greys."""

    greys: int
    ramp: int
    cube: int
    tints: int


AMOUNTS = {
    "short": Amount(greys=17, ramp=9, cube=3, tints=2),
    "usual": Amount(greys=25, ramp=13, cube=5, tints=5),
    "long": Amount(greys=41, ramp=25, cube=8, tints=8),
}
"""Sets by name, of 73, 204 and 685 patches."""

TINT_SHARE = 0.08
"""Share of its level by which a near grey differs from grey: a calibrated display whose own white
is wrong shows grey with signals like these."""

DARKER = 1.4
"""Exponent that puts levels closer together in the dark, where a curve bends most."""


@dataclass(frozen=True, eq=False)
class PatchSet:
    """Patches in the order in which they are shown: names, code values and their coding."""

    names: tuple[str, ...]
    codes: Array
    """Whole numbers, shape (patches, 3)."""
    bits: int = 10
    range: Range = "full"

    @property
    def signal(self) -> Array:
        """Signal of the codes, 0..1, shape (n, 3)."""
        return signal_from_code(self.codes, self.bits, self.range)

    @property
    def full_scale(self) -> Array:
        """The codes divided by the largest code, as in a picture file, shape (n, 3)."""
        return np.asarray(self.codes / (2**self.bits - 1))

    def csv(self) -> str:
        """The table for the meter's readings as CSV: X, Y and Z are left empty."""
        lines = [
            f"# {self.bits}-bit code values, {self.range} range; X, Y, Z with Y in cd/m2",
            "name,R,G,B,X,Y,Z",
        ]
        for name, (r, g, b) in zip(self.names, self.codes.astype(int).tolist(), strict=True):
            lines.append(f"{name},{r},{g},{b},,,")
        return "\n".join(lines) + "\n"


def patch_set(amount: str = "usual", bits: int = 10, range_: Range = "full") -> PatchSet:
    """The patches of a set: greys and primaries from dark to bright, a cube, white again.

    >>> len(patch_set("usual").names)
    204
    """
    if amount not in AMOUNTS:
        raise LutbenchError(f"no set of patches is named {amount!r}", accepted=", ".join(AMOUNTS))
    size = AMOUNTS[amount]
    named: dict[tuple[int, ...], str] = {}

    def add(name: str, signal: tuple[float, ...]) -> None:
        codes = np.rint(code_from_signal(signal, bits, range_)).astype(int)
        named.setdefault(tuple(codes.tolist()), name)

    for level in levels(size.greys):
        add(f"grey {100 * level:.1f} %", (level,) * 3)
    for name, channel in (("red", 0), ("green", 1), ("blue", 2)):
        for level in levels(size.ramp)[1:]:
            add(f"{name} {100 * level:.1f} %", tuple(level * (c == channel) for c in range(3)))
    steps = levels(size.cube)
    for r, g, b in product(steps, repeat=3):
        add(f"mix {100 * r:.0f} {100 * g:.0f} {100 * b:.0f} %", (r, g, b))
    for level in levels(size.tints + 1)[1:]:
        for kept in product((0, 1), repeat=3):
            if 0 < sum(kept) < 3:
                tinted = tuple(level * (1 - TINT_SHARE * (1 - each)) for each in kept)
                add("near grey " + " ".join(f"{100 * each:.0f}" for each in tinted) + " %", tinted)
    return _with_whites(named, bits, range_)


def levels(count: int) -> Array:
    """Signals from 0 to 1, closer together in the dark, shape (count,)."""
    return np.asarray(np.linspace(0, 1, count) ** DARKER)


def _with_whites(named: dict[tuple[int, ...], str], bits: int, range_: Range) -> PatchSet:
    """The patches, with white shown again between them to detect warming up and drift."""
    white = tuple(round(float(c)) for c in code_from_signal([1.0] * 3, bits, range_))
    names, codes = [], []
    for number, (code, name) in enumerate(named.items()):
        if number % WHITE_AFTER_PATCHES == 0:
            names.append(f"white again {number // WHITE_AFTER_PATCHES + 1}")
            codes.append(white)
        names.append(name)
        codes.append(code)
    return PatchSet(tuple(names), np.array(codes, dtype=np.float64), bits, range_)
