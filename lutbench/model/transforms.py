"""Transforms: steps from R G B to R G B that compose with ``|`` and know their inverse."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, fields
from importlib import import_module
from typing import Annotated, Any, ClassVar, Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError, NotInvertibleError
from lutbench.given import NOT_AN_ARRAY, double, flag, one_of
from lutbench.results import plain as plain

Array = NDArray[np.float64]
Rgb = tuple[float, float, float]
Colour = Annotated[Array, Rgb]
"""R G B as an array, shape (3,); a list of three in reports."""

Mask = NDArray[np.bool_]

Interpolation = Literal["tetrahedral", "trilinear"]


def check_interpolation(name: object) -> Interpolation:
    """`name` as an interpolation; LutbenchError if it is not one."""
    return one_of("interpolation", name, ("tetrahedral", "trilinear"))  # type: ignore[return-value]


@dataclass(frozen=True, eq=False)
class Transform:
    """A step from R G B to R G B.

    Two transforms are equal if they have the same class and the same values: numbers, tables,
    domains, interpolation. The title and comments of a LUT do not count.

    Subclasses are frozen dataclasses that implement `_apply` (from float64 to float64, last
    axis R G B) and, if there is one, `inverse`.
    """

    kind: ClassVar[str] = "transform"

    def apply(
        self,
        rgb: ArrayLike,
        interpolation: Interpolation | None = None,
        *,
        out: NDArray[Any] | None = None,
        threads: int | None = None,
    ) -> NDArray[Any]:
        """The transform of `rgb`.

        Parameters
        ----------
        rgb
            R G B on the last axis, any leading shape and strides. Arrays of uint8 and
            uint16 hold codes of the full range (255 or 65535 is signal 1); floats,
            and plain Python numbers, are signal. An array that lives on a CUDA device
            stays there, on its library's current stream (see `apply_pixels`).
        interpolation
            ``"tetrahedral"`` or ``"trilinear"`` for every 3D LUT in the transform;
            None: the one of each LUT.
        out
            The array for the result: with the shape of `rgb`, and the type that the result
            would have without it. It may be `rgb` itself.
        threads
            The largest number of threads. Default: ``LUTBENCH_THREADS``, else the usable cores.

        Returns
        -------
        ndarray
            `out`, or a new array of the same type for uint8, uint16, float16 and float32, and
            of float64 for all others. Codes are rounded to the nearest and clipped to their
            range; NaN becomes code 0. Floats are not clipped.

        Raises
        ------
        LutbenchError
            When `rgb` or `out` is not such an array.
        """
        found: NDArray[Any] = import_module("lutbench.tables.pixels").apply(
            self.with_interpolation(interpolation), rgb, out, threads
        )
        return found

    def _apply(self, rgb: Array) -> Array:
        raise NotImplementedError(f"{type(self).__name__} does not say how it is applied")

    def with_interpolation(self, interpolation: Interpolation | None) -> Self:
        """The same transform with another interpolation in every 3D LUT that it holds."""
        if interpolation is not None:
            check_interpolation(interpolation)
        return self

    def inverse(self) -> Transform:
        """The inverse transform.

        Raises
        ------
        NotInvertibleError
            When it has none.
        """
        raise NotInvertibleError(f"{self!r} has no inverse")

    def __or__(self, other: Transform) -> Pipeline:
        if not isinstance(other, Transform):
            return NotImplemented
        return Pipeline((*steps_of(self), *steps_of(other)))

    def __eq__(self, other: object) -> bool:
        if self is other:
            return True
        if type(other) is not type(self):
            return NotImplemented
        return all(
            _same(getattr(self, field.name), getattr(other, field.name))
            for field in fields(self)
            if field.compare
        )

    def __hash__(self) -> int:
        known = self.__dict__.get("_hash")
        if known is None:
            values = (_hashed(getattr(self, field.name)) for field in fields(self) if field.compare)
            known = hash((type(self), *values))
            object.__setattr__(self, "_hash", known)
        return int(known)

    def __reduce__(self) -> tuple[Any, ...]:
        # Constructed again, so that a copy or a pickle is checked and read-only as well.
        values = {field.name: getattr(self, field.name) for field in fields(self) if field.init}
        return _made, (type(self), values)

    def save(self, path: Any, *, force: bool = False) -> None:
        """Write the transform to `path`, in the format that its suffix names.

        Parameters
        ----------
        path
            ``.cube``, ``.clf``, ``.cdl``, ``.cc`` or ``.ccc``. What a format cannot hold
            exactly is sampled.
        force
            Whether an existing file is replaced.

        Raises
        ------
        LutbenchError
            When the format cannot hold it, or the file cannot be written.
        """
        import_module("lutbench.formats.convert").save(self, path, force=flag(force, "force"))

    def plot(self, ax: Any = None) -> Any:
        """Draw the neutral axis on matplotlib axes, by default on new ones; return the axes."""
        return import_module("lutbench.report.on_axes").plot(self, ax)

    def to_dict(self) -> dict[str, Any]:
        """As `to_data`."""
        return self.to_data()

    def to_data(self) -> dict[str, Any]:
        """This transform as plain data: strings, numbers, lists, dicts."""
        return {"kind": self.kind} | {
            field.name: plain(getattr(self, field.name)) for field in fields(self) if field.repr
        }


def _made(kind: type[Transform], values: dict[str, Any]) -> Transform:
    return kind(**values)


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return np.array_equal(one, other, equal_nan=True)
    return bool(one == other)


def _hashed(value: Any) -> Any:
    """A hashable stand-in for `value`: an array by its numbers, whatever its type."""
    if isinstance(value, np.ndarray):
        # + 0.0: the two zeros are equal, their bytes are not.
        return value.shape, hash((value.astype(np.float64) + 0.0).tobytes())
    return value


def read_only(array: ArrayLike) -> NDArray[Any]:
    """The numbers of `array` in read-only memory, without a copy if they are there already.

    The memory is that of a ``bytes`` object. The flag of numpy would not be enough: somebody
    with the array, or another view of its memory, could still write to it.
    """
    given = np.asarray(array)
    base: Any = given
    while isinstance(base, np.ndarray):
        base = base.base
    # An unpickled array may be writable even if its memory is a bytes object.
    shared = isinstance(base, bytes) and not given.flags.writeable
    if shared and type(given) is np.ndarray and given.flags.c_contiguous:
        return given
    return np.frombuffer(given.tobytes(), given.dtype).reshape(given.shape)


class Mould:
    """An array to be filled, that becomes read-only memory without a second copy of it.

    A LUT keeps its table in a ``bytes`` object (see `read_only`). A table of 256 nodes is
    400 MB, so it is best written there from the start: CPython hands out the bytes that
    a ``BytesIO`` holds as they are.

    >>> mould = Mould((2,))
    >>> mould.array[:] = 0.5, 1.0
    >>> mould.sealed().tolist()
    [0.5, 1.0]
    """

    array: Array

    def __init__(self, shape: tuple[int, ...]) -> None:
        self._room = io.BytesIO(bytes(math.prod(shape) * np.dtype(np.float64).itemsize))
        self.array = np.frombuffer(self._room.getbuffer()).reshape(shape)

    def sealed(self) -> Array:
        """The array, read-only from now on; there is no other way into its memory."""
        shape = self.array.shape
        del self.array
        return np.frombuffer(self._room.getvalue()).reshape(shape)


@dataclass(frozen=True, eq=False, repr=False)
class Pipeline(Transform):
    """Transforms one after the other, first to last."""

    steps: tuple[Transform, ...] = ()
    kind: ClassVar[str] = "pipeline"

    def __post_init__(self) -> None:
        steps = tuple(self.steps) if isinstance(self.steps, list | tuple) else (self.steps,)
        for step in steps:
            if not isinstance(step, Transform):
                raise LutbenchError(
                    f"{step!r:.60} is not a transform", accepted="a transform, a LUT"
                )
        object.__setattr__(self, "steps", steps)

    def _apply(self, rgb: Array) -> Array:
        for step in self.steps:
            rgb = step._apply(rgb)
        return rgb

    def with_interpolation(self, interpolation: Interpolation | None) -> Self:
        super().with_interpolation(interpolation)
        if interpolation is None:
            return self
        return type(self)(tuple(step.with_interpolation(interpolation) for step in self.steps))

    def inverse(self) -> Pipeline:
        return Pipeline(tuple(step.inverse() for step in reversed(self.steps)))

    def __repr__(self) -> str:
        return " | ".join(map(repr, self.steps)) if self.steps else "Pipeline()"


@dataclass(frozen=True)
class Clamp(Transform):
    """Values clamped to `low` and `high`; NaN stays NaN."""

    low: float = 0.0
    high: float = 1.0
    kind: ClassVar[str] = "clamp"

    def __post_init__(self) -> None:
        low, high = double(self.low), double(self.high)
        if not low <= high:
            raise LutbenchError(
                f"from {self.low!r:.40} to {self.high!r:.40}",
                where="Clamp",
                accepted="two numbers, low up to high",
            )
        object.__setattr__(self, "low", low)
        object.__setattr__(self, "high", high)

    def _apply(self, rgb: Array) -> Array:
        return np.clip(rgb, self.low, self.high)


@dataclass(frozen=True, init=False)
class Matrix(Transform):
    """A 3×3 matrix times R G B, plus an offset.

    >>> Matrix(((1, 0, 0), (0, 1, 0), (0, 0, 2))).apply([0.1, 0.2, 0.3]).tolist()
    [0.1, 0.2, 0.6]
    >>> Matrix(np.eye(3)).inverse() == Matrix(np.eye(3))
    True
    """

    rows: tuple[tuple[float, ...], ...]
    offset: tuple[float, ...] = (0.0, 0.0, 0.0)
    kind: ClassVar[str] = "matrix"

    def __init__(self, rows: ArrayLike, offset: ArrayLike = (0.0, 0.0, 0.0)) -> None:
        matrix, added = _numbers(rows, (3, 3)), _numbers(offset, (3,))
        object.__setattr__(self, "rows", tuple(tuple(row) for row in matrix.tolist()))
        object.__setattr__(self, "offset", tuple(added.tolist()))

    @classmethod
    def from_array(cls, matrix: ArrayLike, offset: ArrayLike = (0.0, 0.0, 0.0)) -> Matrix:
        """The matrix transform of a (3, 3) array and a (3,) offset."""
        return cls(matrix, offset)

    @property
    def array(self) -> Array:
        """The matrix, shape (3, 3)."""
        return np.array(self.rows, dtype=np.float64)

    def _apply(self, rgb: Array) -> Array:
        return np.asarray(rgb @ self.array.T + np.array(self.offset))

    def inverse(self) -> Matrix:
        if abs(np.linalg.det(self.array)) < 1e-12:
            raise NotInvertibleError(f"{self!r} is singular and has no inverse")
        back = np.linalg.inv(self.array)
        return Matrix.from_array(back, -back @ np.array(self.offset))


def _numbers(value: ArrayLike, shape: tuple[int, ...]) -> Array:
    """`value` as finite float64 of `shape`; LutbenchError if it is not."""
    try:
        found = np.array(value, dtype=np.float64)
    except NOT_AN_ARRAY:
        found = np.empty(0)
    if found.shape != shape or not np.isfinite(found).all():
        raise LutbenchError(
            f"{value!r:.80} is not a matrix or offset",
            where="matrix",
            accepted="3 rows of 3 finite numbers, and 3 numbers of offset",
        )
    return found


def steps_of(transform: Transform) -> tuple[Transform, ...]:
    """The steps of a pipeline; any other transform is its own only step."""
    return transform.steps if isinstance(transform, Pipeline) else (transform,)
