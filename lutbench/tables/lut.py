"""LUTs: tables on a lattice. Each is a Transform, so a pipeline may hold them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError, NotInvertibleError
from lutbench.model.transforms import Pipeline, Transform

Interpolation = Literal["tetrahedral", "trilinear"]

SIZES_3D = (2, 256)
SIZES_1D = (2, 65536)
UNIT_DOMAIN = ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0))


def _checked_table(table: ArrayLike, dimensions: int, sizes: tuple[int, int]) -> NDArray[Any]:
    array = np.asarray(table)
    if array.dtype not in (np.float32, np.float64):
        array = array.astype(np.float64)
    shape_wanted = "(n, 3)" if dimensions == 1 else "(n, n, n, 3)"
    lattice = array.shape[:-1]
    if array.ndim != dimensions + 1 or array.shape[-1] != 3 or len(set(lattice)) != 1:
        raise LutbenchError(f"a table of shape {array.shape} is no LUT", accepted=shape_wanted)
    low, high = sizes
    if not low <= lattice[0] <= high:
        raise LutbenchError(
            f"a LUT size of {lattice[0]} is out of limits", accepted=f"{low} to {high}"
        )
    if not np.isfinite(array).all():
        raise LutbenchError("the table holds NaN or infinity", accepted="finite numbers")
    array = np.ascontiguousarray(array)
    if array.flags.writeable:
        array = array.copy() if array is table else array
        array.flags.writeable = False
    return array


def _checked_domain(domain: ArrayLike) -> NDArray[np.float64]:
    array = np.array(domain, dtype=np.float64)
    if array.shape == (2,):
        array = np.repeat(array[:, None], 3, axis=1)
    if array.shape != (2, 3) or not np.isfinite(array).all() or not (array[0] < array[1]).all():
        raise LutbenchError(
            f"{np.asarray(domain).tolist()} is no domain",
            accepted="minimum and maximum of each channel, minimum under maximum",
        )
    array.flags.writeable = False
    return array


def _as_pixels(rgb: ArrayLike) -> NDArray[Any]:
    """`rgb` as it is where it is float32, uint8 or uint16, else as float64; last axis R G B."""
    array = np.asarray(rgb)
    if array.dtype.name not in ("float32", "uint8", "uint16"):
        array = array.astype(np.float64, copy=False)
    if array.ndim == 0 or array.shape[-1] != 3:
        raise LutbenchError(
            f"an array of shape {array.shape} is not R G B", accepted="a last axis of length 3"
        )
    return array


@dataclass(frozen=True, eq=False, repr=False)
class Lut1D(Transform):
    """One curve a channel, sampled at equal steps and joined by straight lines.

    Parameters
    ----------
    table
        Shape (n, 3), finite, 2 ≤ n ≤ 65536; float32 is kept, all else becomes float64.
    domain
        Shape (2, 3) (or (2,) for all channels alike): the inputs of the first
        and the last row. Inputs outside are clamped; NaN gives NaN.
    title, comments
        What a file says about itself; comments without the leading ``#``.
    """

    table: NDArray[Any]
    domain: NDArray[np.float64] = field(default_factory=lambda: np.array(UNIT_DOMAIN))
    title: str = ""
    comments: tuple[str, ...] = ()
    kind: ClassVar[str] = "lut1d"

    def __post_init__(self) -> None:
        object.__setattr__(self, "table", _checked_table(self.table, 1, SIZES_1D))
        object.__setattr__(self, "domain", _checked_domain(self.domain))

    @property
    def size(self) -> int:
        """The number of rows."""
        return int(self.table.shape[0])

    def apply(self, rgb: ArrayLike, *, threads: int | None = None) -> NDArray[Any]:
        """The LUT of `rgb`, any leading shape.

        float32 in gives float32 out. Arrays of uint8 and uint16 hold codes of
        the full range, and so does their result. All else gives float64.
        """
        from lutbench.tables import interpolation

        return interpolation.apply_1d(self.table, self.domain, _as_pixels(rgb), threads=threads)

    def inverse(self) -> Lut1D:
        """The inverse LUT, sampled at four times the size.

        Raises
        ------
        NotInvertibleError
            When a channel does not rise strictly from its first row to its last.
        """
        table = self.table.astype(np.float64)
        if not (np.diff(table, axis=0) > 0).all():
            raise NotInvertibleError(
                f"{self!r} does not rise strictly in every channel and has no inverse"
            )
        size = min(4 * self.size, SIZES_1D[1])
        low, high = table[0], table[-1]
        inputs = np.linspace(self.domain[0], self.domain[1], self.size)
        outputs = np.linspace(low, high, size)
        rows = [np.interp(outputs[:, c], table[:, c], inputs[:, c]) for c in range(3)]
        return Lut1D(np.stack(rows, axis=1), np.stack([low, high]), self.title)

    def with_title(self, title: str) -> Lut1D:
        """The same LUT under another title."""
        return replace(self, title=title)

    def __repr__(self) -> str:
        return f"Lut1D(size={self.size}, title={self.title!r})"

    def _repr_html_(self) -> str:
        from lutbench.tables.notebook import html_of

        return html_of(self)

    def to_data(self) -> dict[str, Any]:
        return _described(self)


@dataclass(frozen=True, eq=False, repr=False)
class Lut3D(Transform):
    """A lattice of colours, indexed ``[r, g, b, channel]``.

    Parameters
    ----------
    table
        Shape (n, n, n, 3), finite, 2 ≤ n ≤ 256; float32 is kept, all else becomes float64.
    domain
        Shape (2, 3) (or (2,)): the inputs of the first and the last node of
        each channel. Inputs outside are clamped; NaN gives NaN.
    interpolation
        ``"tetrahedral"`` (the default) or ``"trilinear"``.
    """

    table: NDArray[Any]
    domain: NDArray[np.float64] = field(default_factory=lambda: np.array(UNIT_DOMAIN))
    title: str = ""
    comments: tuple[str, ...] = ()
    interpolation: Interpolation = "tetrahedral"
    kind: ClassVar[str] = "lut3d"

    def __post_init__(self) -> None:
        object.__setattr__(self, "table", _checked_table(self.table, 3, SIZES_3D))
        object.__setattr__(self, "domain", _checked_domain(self.domain))
        _check_interpolation(self.interpolation)

    @classmethod
    def identity(cls, size: int = 33, *, title: str = "") -> Lut3D:
        """The LUT that changes nothing."""
        return cls(lattice(size), title=title)

    @property
    def size(self) -> int:
        """The number of nodes along an edge."""
        return int(self.table.shape[0])

    @property
    def nodes(self) -> NDArray[np.float64]:
        """The inputs of the nodes, shape (n, n, n, 3), indexed like the table."""
        return lattice(self.size, self.domain)

    def apply(
        self,
        rgb: ArrayLike,
        interpolation: Interpolation | None = None,
        *,
        threads: int | None = None,
    ) -> NDArray[Any]:
        """The LUT of `rgb`, any leading shape.

        float32 in gives float32 out. Arrays of uint8 and uint16 hold codes of
        the full range, and so does their result. All else gives float64.
        """
        from lutbench.tables import interpolation as kernels

        method = _check_interpolation(interpolation or self.interpolation)
        return kernels.apply_3d(self.table, self.domain, _as_pixels(rgb), method, threads=threads)

    def with_title(self, title: str) -> Lut3D:
        """The same LUT under another title."""
        return replace(self, title=title)

    def with_interpolation(self, interpolation: Interpolation) -> Lut3D:
        """The same LUT with another interpolation between its nodes."""
        return replace(self, interpolation=interpolation)

    def __repr__(self) -> str:
        return f"Lut3D(size={self.size}, title={self.title!r})"

    def _repr_html_(self) -> str:
        from lutbench.tables.notebook import html_of

        return html_of(self)

    def to_data(self) -> dict[str, Any]:
        return _described(self)


@dataclass(frozen=True, eq=False, repr=False)
class ShaperLut3D(Transform):
    """A 1D shaper before a 3D LUT, as one unit: the shaper's output is the 3D LUT's input."""

    shaper: Lut1D
    lut: Lut3D
    title: str = ""
    comments: tuple[str, ...] = ()
    kind: ClassVar[str] = "shaper_lut3d"

    @property
    def size(self) -> int:
        """The number of nodes along an edge of the 3D part."""
        return self.lut.size

    @property
    def domain(self) -> NDArray[np.float64]:
        """The domain of the whole: that of the shaper, shape (2, 3)."""
        return self.shaper.domain

    @property
    def table(self) -> NDArray[Any]:
        """The lattice of the 3D part."""
        return self.lut.table

    def apply(
        self,
        rgb: ArrayLike,
        interpolation: Interpolation | None = None,
        *,
        threads: int | None = None,
    ) -> NDArray[Any]:
        """Shaper, then 3D LUT, in one pass; types as those of `Lut3D.apply`."""
        from lutbench.tables import interpolation as kernels

        return kernels.apply_shaped_3d(
            self.shaper.table,
            self.shaper.domain,
            self.lut.table,
            self.lut.domain,
            _as_pixels(rgb),
            _check_interpolation(interpolation or self.lut.interpolation),
            threads=threads,
        )

    def with_title(self, title: str) -> ShaperLut3D:
        """The same LUT under another title."""
        return replace(self, title=title)

    def __repr__(self) -> str:
        return f"ShaperLut3D(shaper={self.shaper.size}, size={self.size}, title={self.title!r})"

    def _repr_html_(self) -> str:
        from lutbench.tables.notebook import html_of

        return html_of(self)

    def to_data(self) -> dict[str, Any]:
        return _described(self) | {"shaper_size": self.shaper.size}


Lut = Lut1D | Lut3D | ShaperLut3D


def lattice(size: int, domain: ArrayLike = UNIT_DOMAIN) -> NDArray[np.float64]:
    """The inputs of a lattice's nodes, shape (size, size, size, 3), indexed [r, g, b, channel].

    >>> lattice(2)[1, 0, 0].tolist()
    [1.0, 0.0, 0.0]
    """
    low, high = np.asarray(domain, dtype=np.float64)
    axes = [np.linspace(low[c], high[c], size) for c in range(3)]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)


def interpolated(transform: Transform, interpolation: Interpolation) -> Transform:
    """The same transform with another interpolation in every 3D LUT that it holds."""
    if isinstance(transform, Lut3D):
        return transform.with_interpolation(interpolation)
    if isinstance(transform, ShaperLut3D):
        return replace(transform, lut=transform.lut.with_interpolation(interpolation))
    if isinstance(transform, Pipeline):
        return Pipeline(tuple(interpolated(step, interpolation) for step in transform.steps))
    return transform


def _check_interpolation(name: str) -> Interpolation:
    if name not in ("tetrahedral", "trilinear"):
        raise LutbenchError(
            f"no interpolation is named {name!r}", accepted="tetrahedral, trilinear"
        )
    return name  # type: ignore[return-value]


def _described(lut: Lut) -> dict[str, Any]:
    return {
        "kind": lut.kind,
        "title": lut.title,
        "size": lut.size,
        "domain": lut.domain.tolist(),
    }
