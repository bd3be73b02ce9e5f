"""A case: a LUT as its file gives it back, and what is true of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.formats.cube import parse_cube

Array = NDArray[np.float64]
Function = Callable[[Array], Array]

SIZES, SIZE_SHARES = (17, 33, 65), (0.25, 0.6, 0.15)
DECIMALS, DECIMAL_SHARES = (4, 5, 6, 7, 8), (0.1, 0.15, 0.55, 0.1, 0.1)
"""What files met in practice have: mostly 33 nodes and six decimals."""

PARTS = (
    "source_curve",
    "source_gamut",
    "source_range",
    "target_curve",
    "target_gamut",
    "target_range",
)


@dataclass(frozen=True)
class Truth:
    """What is true of a LUT; a part that is None is not asked for.

    A part may be several names: any of them is right (the signal of PQ has a name
    for scene light and one for display light). `unnamed` parts have no name in the
    catalogue: whoever names one is wrong. `open_parts` cannot be told from the
    LUT, for the reason given: a right name there is luck.
    """

    kind: str | None = None
    source_curve: str | tuple[str, ...] | None = None
    source_gamut: str | tuple[str, ...] | None = None
    source_range: str | None = None
    target_curve: str | tuple[str, ...] | None = None
    target_gamut: str | tuple[str, ...] | None = None
    target_range: str | None = None
    exposure: float | None = None
    look: bool | None = None
    unnamed: frozenset[str] = frozenset()
    open_parts: dict[str, str] = field(default_factory=dict)

    def without(self, reason: str, *parts: str) -> Truth:
        """This, with parts that cannot be told for a reason."""
        return replace(self, open_parts=self.open_parts | dict.fromkeys(parts, reason))

    def names(self, part: str) -> tuple[str, ...]:
        """The names that are right for a part; none where it is not asked for."""
        value = getattr(self, part)
        if value is None:
            return ()
        return (value,) if isinstance(value, str) else tuple(value)


@dataclass(frozen=True)
class Step:
    """A step of the making: what part of the conversion it is, and its function."""

    part: str
    apply: Function


@dataclass(frozen=True)
class Case:
    """A LUT and the truth about it.

    `without` are names to take out of the catalogue before it is asked. `hidden`
    is the curve or gamut that no catalogue has, as light of signal and as
    primaries with white: what is measured of it is held against these.
    `recipe` is the text that the project's own builder made the LUT from.
    """

    family: str
    text: bytes
    truth: Truth
    steps: tuple[Step, ...] = ()
    without: frozenset[str] = frozenset()
    hidden_curve: Function | None = None
    hidden_gamut: Array | None = None
    recipe: str = ""

    @property
    def lut(self) -> Any:
        """The LUT that the file's text holds."""
        return parse_cube(self.text, self.family).lut


def run(steps: Sequence[Step], rgb: Array) -> Array:
    """R G B through the steps, in float64."""
    for step in steps:
        with np.errstate(all="ignore"):
            rgb = np.asarray(step.apply(rgb), dtype=np.float64)
    return rgb


def lattice(size: int, low: float = 0.0, high: float = 1.0) -> Array:
    """The nodes of a 3D LUT in the order of a .cube file: red runs fastest."""
    axis = low + (high - low) * np.arange(size) / (size - 1)
    blue, green, red = np.meshgrid(axis, axis, axis, indexing="ij")
    return np.stack([red, green, blue], axis=-1).reshape(-1, 3)


def some_size(rng: np.random.Generator) -> int:
    """Nodes along an edge, as files have them."""
    return int(rng.choice(SIZES, p=SIZE_SHARES))


def some_decimals(rng: np.random.Generator) -> int:
    """Decimals, as files have them."""
    return int(rng.choice(DECIMALS, p=DECIMAL_SHARES))


def rows_text(rows: Array, decimals: int) -> str:
    """Rows of a .cube file, rounded to decimals."""
    line = f"%.{decimals}f %.{decimals}f %.{decimals}f\n"
    # No minus before a zero, as most writers do.
    return "".join(line % tuple(row) for row in (np.round(rows, decimals) + 0.0).tolist())


def cube_text(rows: Array, size: int, decimals: int) -> bytes:
    """A .cube file of a 3D LUT, written here and not by the project's writer."""
    return f"LUT_3D_SIZE {size}\n{rows_text(rows, decimals)}".encode()


def baked(
    family: str,
    rng: np.random.Generator,
    truth: Truth,
    steps: Sequence[Step],
    *,
    size: int | None = None,
    decimals: int | None = None,
    **more: Any,
) -> Case:
    """The case of a 3D LUT that samples the steps over 0..1."""
    size = size or some_size(rng)
    rows = run(steps, lattice(size))
    if not np.isfinite(rows).all():
        raise ValueError(f"{family}: a node is not finite")
    text = cube_text(rows, size, decimals if decimals is not None else some_decimals(rng))
    return Case(family, text, truth, tuple(steps), **more)


def baked_1d(
    family: str,
    rng: np.random.Generator,
    truth: Truth,
    steps: Sequence[Step],
    **more: Any,
) -> Case:
    """The case of a 1D LUT that samples the steps over 0..1."""
    size = int(rng.choice([256, 1024, 4096]))
    rows = run(steps, np.repeat(np.linspace(0, 1, size)[:, None], 3, axis=1))
    text = f"LUT_1D_SIZE {size}\n{rows_text(rows, max(some_decimals(rng), 5))}".encode()
    return Case(family, text, truth, tuple(steps), **more)
