"""LUTs: tables on a lattice. Each is a Transform, so a pipeline may hold them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from importlib import import_module
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError, NotInvertibleError
from lutbench.given import NOT_AN_ARRAY, texts, whole
from lutbench.model.transforms import Array, Rgb, Transform, check_interpolation, read_only
from lutbench.model.transforms import Interpolation as Interpolation
from lutbench.results import PlainData

SIZES_3D = (2, 256)
"""Smallest and largest number of nodes along an edge: with 256 a table takes 400 MB."""

SIZES_1D = (2, 65536)
"""Smallest and largest number of rows: one for each 16-bit code."""

USUAL_SIZE = 33
"""Default number of nodes along an edge: monitors and cameras load it (common practice)."""

USUAL_ROWS = 4096
"""Default number of rows of a 1D LUT: a quarter of a 10-bit code apart."""

UNIT_DOMAIN = ((0.0, 0.0, 0.0), (1.0, 1.0, 1.0))
"""The default domain: the lowest and the highest input of each channel."""

Domain = Annotated[Array, tuple[Rgb, Rgb]]
"""The lowest and the highest input of each channel, shape (2, 3)."""


def _checked_table(table: ArrayLike, dimensions: int, sizes: tuple[int, int]) -> NDArray[Any]:
    shape_wanted = "(n, 3)" if dimensions == 1 else "(n, n, n, 3)"
    array = _numbers(table, "a table", f"finite numbers of shape {shape_wanted}")
    lattice = array.shape[:-1]
    if array.ndim != dimensions + 1 or array.shape[-1] != 3 or len(set(lattice)) != 1:
        raise LutbenchError(f"a table of shape {array.shape} is not a LUT", accepted=shape_wanted)
    low, high = sizes
    if not low <= lattice[0] <= high:
        raise LutbenchError(
            f"a LUT size of {lattice[0]} is out of range", accepted=f"{low} to {high}"
        )
    if not np.isfinite(array).all():
        raise LutbenchError("the table holds NaN or infinity", accepted="finite numbers")
    return read_only(array)


def _checked_domain(domain: ArrayLike) -> Array:
    accepted = "minimum and maximum of each channel, minimum under maximum"
    array = _numbers(domain, "a domain", accepted).astype(np.float64)
    if array.shape == (2,):
        array = np.repeat(array[:, None], 3, axis=1)
    sound = array.shape == (2, 3)
    with np.errstate(over="ignore", invalid="ignore"):  # infinite ends, or an infinite width
        sound = sound and bool(np.isfinite(array[1] - array[0]).all())
    if not sound or not (array[0] < array[1]).all():
        raise LutbenchError(f"{array.tolist()!r:.80} is not a domain", accepted=accepted)
    return read_only(array)


def _numbers(value: ArrayLike, what: str, accepted: str) -> NDArray[Any]:
    """`value` as an array: float32 if it is one already, else float64."""
    try:
        array = np.asarray(value)
        masked = bool(np.any(getattr(value, "mask", False)))
        if array.dtype.kind not in "biuf" or masked:
            raise TypeError("masked" if masked else f"{array.dtype}")
        return array if array.dtype == np.float32 else array.astype(np.float64, copy=False)
    except NOT_AN_ARRAY as error:
        raise LutbenchError(
            f"is not an array of numbers: {error}", where=what, accepted=accepted
        ) from error


class _Lut(PlainData, Transform):
    """What the three kinds of LUT share."""

    KEYS: ClassVar[tuple[str, ...]] = ("kind", "title", "size", "domain")

    title: str
    comments: tuple[str, ...]
    if TYPE_CHECKING:
        # A property of one kind, a field of the others.
        @property
        def table(self) -> NDArray[Any]: ...
        @property
        def domain(self) -> Domain: ...

    def _check_words(self) -> None:
        if not isinstance(self.title, str):
            raise LutbenchError(f"a title of {self.title!r:.40}", accepted="a text")
        object.__setattr__(self, "comments", texts(self.comments, "comments"))

    @property
    def size(self) -> int:
        """The number of nodes along an edge (rows, of a 1D LUT)."""
        return int(self.table.shape[0])

    @property
    def shape(self) -> tuple[int, ...]:
        """The shape of the table."""
        return self.table.shape

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> NDArray[Any]:
        """The table, read-only unless it is copied."""
        if copy is False and dtype is not None and np.dtype(dtype) != self.table.dtype:
            raise ValueError(f"a table of {self.table.dtype} needs a copy for {np.dtype(dtype)}")
        return np.array(self.table, dtype=dtype) if copy else np.asarray(self.table, dtype=dtype)

    def _apply(self, rgb: Array) -> Array:
        found: Array = import_module("lutbench.tables.pixels").apply(self, rgb, None, None)
        return found

    def with_title(self, title: str) -> Self:
        """The same LUT with another title."""
        return replace(self, title=title)  # type: ignore[call-arg]

    def _repr_html_(self) -> str:
        from lutbench.tables.notebook import html_of

        return html_of(self)  # type: ignore[arg-type]


@dataclass(frozen=True, init=False, eq=False, repr=False)
class Lut1D(_Lut):
    """A curve for each channel, sampled at equal steps, with linear interpolation.

    Parameters
    ----------
    table
        Shape (n, 3), finite, 2 ≤ n ≤ 65536; float32 is kept, other types become float64.
        It is copied into read-only memory.
    domain
        Shape (2, 3), or (2,) for the same in all channels: the inputs of the first and the
        last row. Inputs outside are clamped; NaN gives NaN.
    title, comments
        Title and comments of the file; comments without the leading ``#``.
    """

    table: NDArray[Any]
    domain: Domain
    """Smallest and largest input."""
    title: str = field(default="", compare=False)
    comments: tuple[str, ...] = field(default=(), compare=False)
    kind: ClassVar[Literal["lut1d"]] = "lut1d"

    def __init__(
        self,
        table: ArrayLike,
        domain: ArrayLike = UNIT_DOMAIN,
        title: str = "",
        comments: tuple[str, ...] = (),
    ) -> None:
        object.__setattr__(self, "table", _checked_table(table, 1, SIZES_1D))
        object.__setattr__(self, "domain", _checked_domain(domain))
        object.__setattr__(self, "title", title)
        object.__setattr__(self, "comments", comments)
        self._check_words()

    @classmethod
    def identity(cls, size: int = 1024, *, title: str = "") -> Lut1D:
        """The LUT that changes nothing."""
        rows = np.linspace(0, 1, whole(size, "size", *SIZES_1D))
        return cls(np.repeat(rows[:, None], 3, axis=1), title=title)

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
                f"{self!r} does not rise strictly in every channel and has no exact inverse",
                accepted="lutbench.invert(lut), which also says what cannot be inverted",
            )
        size = min(4 * self.size, SIZES_1D[1])
        low, high = table[0], table[-1]
        inputs = axes_of(self)
        outputs = np.linspace(low, high, size)
        rows = [np.interp(outputs[:, c], table[:, c], inputs[:, c]) for c in range(3)]
        return Lut1D(np.stack(rows, axis=1), np.stack([low, high]), self.title)

    def __repr__(self) -> str:
        return f"Lut1D(size={self.size}, title={self.title!r})"


@dataclass(frozen=True, init=False, eq=False, repr=False)
class Lut3D(_Lut):
    """A lattice of colours, indexed ``[r, g, b, channel]``.

    Parameters
    ----------
    table
        Shape (n, n, n, 3), finite, 2 ≤ n ≤ 256; float32 is kept, other types become float64.
        It is copied into read-only memory.
    domain
        Shape (2, 3), or (2,) for the same in all channels: the inputs of the first and the
        last node. Inputs outside are clamped; NaN gives NaN.
    title, comments
        Title and comments of the file; comments without the leading ``#``.
    interpolation
        ``"tetrahedral"`` (the default) or ``"trilinear"``.

    >>> lut = Lut3D.identity(17)
    >>> lut.shape, lut == lut.with_title("another"), lut == Lut3D.identity(33)
    ((17, 17, 17, 3), True, False)
    """

    table: NDArray[Any]
    domain: Domain
    """Smallest and largest input."""
    title: str = field(default="", compare=False)
    comments: tuple[str, ...] = field(default=(), compare=False)
    interpolation: Interpolation = "tetrahedral"
    kind: ClassVar[Literal["lut3d"]] = "lut3d"

    def __init__(
        self,
        table: ArrayLike,
        domain: ArrayLike = UNIT_DOMAIN,
        title: str = "",
        comments: tuple[str, ...] = (),
        interpolation: Interpolation = "tetrahedral",
    ) -> None:
        object.__setattr__(self, "table", _checked_table(table, 3, SIZES_3D))
        object.__setattr__(self, "domain", _checked_domain(domain))
        object.__setattr__(self, "title", title)
        object.__setattr__(self, "comments", comments)
        object.__setattr__(self, "interpolation", check_interpolation(interpolation))
        self._check_words()

    @classmethod
    def identity(cls, size: int = USUAL_SIZE, *, title: str = "") -> Lut3D:
        """The LUT that changes nothing."""
        return cls(lattice(whole(size, "size", *SIZES_3D)), title=title)

    def inverse(self) -> Transform:
        """The inverse LUT, of the same size.

        `lutbench.invert` also reports the share that cannot be inverted, and has options for
        it.

        Raises
        ------
        NotInvertibleError
            When the colours of the LUT fill no volume.
        """
        found: Transform = import_module("lutbench.algebra.inversion").invert(self).lut
        return found

    def with_domain(self, domain: ArrayLike) -> Self:
        """The same table over another domain, (2,) or (2, 3)."""
        return replace(self, domain=domain)  # type: ignore[arg-type]

    @property
    def nodes(self) -> Array:
        """The inputs of the nodes, shape (n, n, n, 3), indexed like the table."""
        return lattice(self.size, self.domain)

    def with_interpolation(self, interpolation: Interpolation | None) -> Self:
        """The same LUT with another interpolation between its nodes."""
        if interpolation is None or check_interpolation(interpolation) == self.interpolation:
            return self
        return replace(self, interpolation=interpolation)

    def __repr__(self) -> str:
        return f"Lut3D(size={self.size}, title={self.title!r})"


@dataclass(frozen=True, eq=False, repr=False)
class ShaperLut3D(_Lut):
    """A 1D shaper followed by a 3D LUT, as one LUT."""

    KEYS = (*_Lut.KEYS, "shaper_size=shaper.size")

    shaper: Lut1D
    lut: Lut3D
    title: str = field(default="", compare=False)
    comments: tuple[str, ...] = field(default=(), compare=False)
    kind: ClassVar[Literal["shaper_lut3d"]] = "shaper_lut3d"

    def __post_init__(self) -> None:
        if not isinstance(self.shaper, Lut1D) or not isinstance(self.lut, Lut3D):
            raise LutbenchError(
                f"{type(self.shaper).__name__} before {type(self.lut).__name__}",
                accepted="a Lut1D before a Lut3D",
            )
        self._check_words()

    @property
    def domain(self) -> Domain:
        """The domain of the shaper, shape (2, 3)."""
        return self.shaper.domain

    @property
    def table(self) -> NDArray[Any]:
        """The table of the 3D part, shape (n, n, n, 3)."""
        return self.lut.table

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> NDArray[Any]:
        raise LutbenchError(
            "a shaper and a lattice are two tables", accepted="lut.shaper.table, lut.lut.table"
        )

    def with_interpolation(self, interpolation: Interpolation | None) -> Self:
        """The same LUT with another interpolation between its nodes."""
        inner = self.lut.with_interpolation(interpolation)
        return self if inner is self.lut else replace(self, lut=inner)

    def inverse(self) -> Transform:
        """The inverse of shaper and lattice together; see `Lut3D.inverse`."""
        found: Transform = import_module("lutbench.algebra.inversion").invert(self).lut
        return found

    def __repr__(self) -> str:
        return f"ShaperLut3D(shaper={self.shaper.size}, size={self.size}, title={self.title!r})"


Lut = Lut1D | Lut3D | ShaperLut3D


def lattice(size: int, domain: ArrayLike = UNIT_DOMAIN) -> Array:
    """The inputs of a lattice's nodes, shape (size, size, size, 3), indexed [r, g, b, channel].

    >>> lattice(2)[1, 0, 0].tolist()
    [1.0, 0.0, 0.0]
    """
    low, high = np.asarray(domain, dtype=np.float64)
    return lattice_of(*np.linspace(low, high, size).T)


def axes_of(lut: Lut1D | Lut3D) -> Array:
    """The inputs of the rows, or of the nodes along each edge, shape (size, 3)."""
    return np.linspace(lut.domain[0], lut.domain[1], lut.size)


def lattice_of(red: Array, green: Array, blue: Array) -> Array:
    """All triples of three axes, shape (i, j, k, 3)."""
    nodes = np.empty((len(red), len(green), len(blue), 3))
    nodes[..., 0] = red[:, None, None]
    nodes[..., 1] = green[:, None]
    nodes[..., 2] = blue
    return nodes
