"""The patches of a photographed chart: means of the middle of each patch of a grid."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import FormatError, LutbenchError
from lutbench.fitting.robust import robust_spread
from lutbench.formats.columns import read_columns
from lutbench.model.transforms import Array

MIDDLE_SHARE = 0.25
"""Half the side of the area that is read, as a share of the distance between patches."""

UNEVEN_SIGNAL = 0.06
"""Standard deviation inside a patch, in signal, above which it is not taken for a patch."""


@dataclass(frozen=True)
class Patches:
    """The names of patches in reading order, and their signal, shape (n, 3)."""

    names: tuple[str, ...]
    signal: Array


def read_grid(
    picture: NDArray[Any],
    corners: ArrayLike,
    columns: int = 6,
    rows: int = 4,
    where: str = "",
) -> Patches:
    """The patches of a grid in a picture.

    Parameters
    ----------
    picture
        Signal, shape (height, width, 3).
    corners
        x and y of the centres of the four corner patches, in pixels, shape (4, 2),
        clockwise from the first patch. The chart may be seen in perspective.

    Raises
    ------
    LutbenchError
        When a patch is outside the picture, or is not even.
    """
    if not (1 <= rows <= 100 and 1 <= columns <= 100 and rows * columns >= 2):
        raise LutbenchError(f"a grid of {columns}×{rows}", accepted="1×2 to 100×100")
    picture = np.asarray(picture, dtype=np.float64)
    homography = _homography(np.asarray(corners, dtype=np.float64), columns, rows, where)
    height, width = picture.shape[:2]
    inner = np.linspace(-MIDDLE_SHARE, MIDDLE_SHARE, 15)
    signal, names = [], []
    for row in range(rows):
        for column in range(columns):
            grid = np.stack(np.meshgrid(column + inner, row + inner), axis=-1).reshape(-1, 2)
            x, y = _moved(homography, grid).T
            name = f"row {row + 1}, column {column + 1}"
            if x.min() < 0 or y.min() < 0 or x.max() >= width or y.max() >= height:
                raise LutbenchError(f"the patch in {name} is outside the picture", where=where)
            pixels = picture[y.astype(int), x.astype(int)]
            middle = np.median(pixels, axis=0)
            spread = robust_spread(pixels - middle, axis=0)
            if (
                spread.max() > UNEVEN_SIGNAL
                or (np.abs(pixels - middle) > 0.15).any(axis=1).mean() > 0.1
            ):
                raise LutbenchError(
                    f"the patch in {name} is not even",
                    where=where,
                    accepted="the centres of the four corner patches, in reading order",
                )
            near = (np.abs(pixels - middle) <= 4 * spread + 1e-6).all(axis=1)
            signal.append(pixels[near].mean(axis=0))
            names.append(name)
    return Patches(tuple(names), np.array(signal))


def read_patch_table(path: str | Path) -> Patches:
    """Patches from a CSV file with the columns R, G, B (and name), signal 0..1 in each row.

    Raises
    ------
    FormatError
        When it is not such a file; the message has the line.
    """
    names, _, array = read_columns(
        path, ("R", "G", "B"), accepted="a heading name,R,G,B and signal 0 to 1"
    )
    if array.max() > 2:
        raise FormatError(
            f"holds values up to {array.max():g}",
            where=path,
            accepted="signal 0 to 1 (code value over the largest code)",
        )
    return Patches(names, array)


def _homography(corners: Array, columns: int, rows: int, where: str) -> Array:
    """The projective map from (column, row) to pixels, shape (3, 3)."""
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise LutbenchError("the corners are not four points", where=where)
    right, down = max(columns - 1, 1), max(rows - 1, 1)
    grid = np.array([[0, 0], [right, 0], [right, down], [0, down]], dtype=np.float64)
    system, wanted = [], []
    for (u, v), (x, y) in zip(grid, corners, strict=True):
        system += [[u, v, 1, 0, 0, 0, -u * x, -v * x], [0, 0, 0, u, v, 1, -u * y, -v * y]]
        wanted += [x, y]
    matrix = np.array(system)
    x, y = corners.T
    area = 0.5 * abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()))
    if area < 16 or np.linalg.matrix_rank(matrix) < 8:
        raise LutbenchError("the corners span no area", where=where, accepted="four corners")
    return np.append(np.linalg.solve(matrix, np.array(wanted)), 1.0).reshape(3, 3)


def _moved(homography: Array, points: Array) -> Array:
    mapped = np.concatenate([points, np.ones((len(points), 1))], axis=1) @ homography.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])
