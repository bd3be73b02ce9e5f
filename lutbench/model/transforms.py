"""Transforms: steps from R G B to R G B that compose with ``|`` and know their inverse."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError, NotInvertibleError

Array = NDArray[np.float64]


def as_rgb(rgb: ArrayLike) -> Array:
    """`rgb` as float64 with R G B on the last axis; any leading shape.

    Raises
    ------
    LutbenchError
        When the last axis is not three long.
    """
    array = np.asarray(rgb, dtype=np.float64)
    if array.ndim == 0 or array.shape[-1] != 3:
        raise LutbenchError(
            f"an array of shape {array.shape} is not R G B", accepted="a last axis of length 3"
        )
    return array


@dataclass(frozen=True)
class Transform:
    """A step from R G B to R G B.

    Subclasses are frozen dataclasses that give `_apply` (float64 in, float64
    out, last axis R G B) and, where it exists, `inverse`.
    """

    kind: ClassVar[str] = "transform"

    def apply(self, rgb: ArrayLike) -> NDArray[Any]:
        """The transform of `rgb`: R G B on the last axis, any leading shape; float64 out."""
        # Numbers of a file may be huge: what overflows is infinite, and no warning to a user.
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            return self._apply(as_rgb(rgb))

    def _apply(self, rgb: Array) -> Array:
        raise NotImplementedError(f"{type(self).__name__} does not say how it is applied")

    def inverse(self) -> Transform:
        """The transform that undoes this one.

        Raises
        ------
        NotInvertibleError
            When there is none.
        """
        raise NotInvertibleError(f"{self!r} has no inverse")

    def __or__(self, other: Transform) -> Pipeline:
        if not isinstance(other, Transform):
            return NotImplemented
        return Pipeline((*steps_of(self), *steps_of(other)))

    def to_data(self) -> dict[str, Any]:
        """Plain data (strings, numbers, lists, dicts) that says what this transform is."""
        return {"kind": self.kind} | {
            field.name: plain(getattr(self, field.name)) for field in fields(self) if field.repr
        }


@dataclass(frozen=True, repr=False)
class Pipeline(Transform):
    """Transforms one after the other, first to last."""

    steps: tuple[Transform, ...] = ()
    kind: ClassVar[str] = "pipeline"

    def _apply(self, rgb: Array) -> Array:
        for step in self.steps:
            rgb = np.asarray(step.apply(rgb), dtype=np.float64)
        return rgb

    def inverse(self) -> Pipeline:
        return Pipeline(tuple(step.inverse() for step in reversed(self.steps)))

    def __repr__(self) -> str:
        return " | ".join(map(repr, self.steps)) if self.steps else "Pipeline()"


@dataclass(frozen=True)
class Clamp(Transform):
    """Values held between `low` and `high`; NaN stays NaN."""

    low: float = 0.0
    high: float = 1.0
    kind: ClassVar[str] = "clamp"

    def _apply(self, rgb: Array) -> Array:
        return np.clip(rgb, self.low, self.high)


@dataclass(frozen=True)
class Matrix(Transform):
    """A 3×3 matrix times R G B, plus an offset.

    >>> Matrix(((1, 0, 0), (0, 1, 0), (0, 0, 2))).apply([0.1, 0.2, 0.3]).tolist()
    [0.1, 0.2, 0.6]
    """

    rows: tuple[tuple[float, ...], ...]
    offset: tuple[float, ...] = (0.0, 0.0, 0.0)
    kind: ClassVar[str] = "matrix"

    @classmethod
    def from_array(cls, matrix: ArrayLike, offset: ArrayLike = (0.0, 0.0, 0.0)) -> Matrix:
        """The matrix transform of a (3, 3) array and a (3,) offset."""
        rows = np.asarray(matrix, dtype=np.float64).reshape(3, 3).tolist()
        return cls(
            tuple(tuple(row) for row in rows),
            tuple(np.asarray(offset, dtype=np.float64).reshape(3).tolist()),
        )

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


def steps_of(transform: Transform) -> tuple[Transform, ...]:
    """The steps of a pipeline; a transform of another kind is its own only step."""
    return transform.steps if isinstance(transform, Pipeline) else (transform,)


def plain(value: Any) -> Any:
    """`value` as plain data: transforms, arrays and tuples become dicts and lists."""
    if hasattr(value, "to_data"):
        return value.to_data()
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    return value
