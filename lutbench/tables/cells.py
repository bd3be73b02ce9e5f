"""The geometry of a lattice: its cells, their six tetrahedra, interpolation as weights.

Every cell is divided along its black-to-white diagonal into six tetrahedra, one for
each order of the axes (the Kuhn subdivision), so a tetrahedral LUT is linear in
each of them. Nodes have flat numbers: node [r, g, b] of an n-lattice is number
(r·n + g)·n + b.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.model.transforms import Array

Index = NDArray[np.int64]

ORDERS = tuple(permutations(range(3)))
"""The orders of the axes: the six tetrahedra of a cell."""

SIX_DECIMALS_SIGNAL = 1e-6
"""Signal: the rounding of a file with six decimals, doubled."""

LEAST_SIGNAL_CUBED = 1e-12
"""Signal cubed: a determinant nearer to 0 than this is a rounding error."""


def strides(size: int) -> Index:
    """Differences of the flat number along r, g and b, shape (3,)."""
    return np.array([size * size, size, 1], dtype=np.int64)


def positions(points: Array, domain: Array, size: int) -> Array:
    """`points` (..., 3) in steps of the lattice, 0 to size − 1, clamped to its domain."""
    low, high = domain
    return np.asarray(np.clip((points - low) / (high - low), 0.0, 1.0) * (size - 1))


def tetrahedral_weights(steps: Array, size: int) -> tuple[Index, Array]:
    """The four nodes, and their weights, that tetrahedral interpolation uses.

    Parameters
    ----------
    steps
        Shape (m, 3), in steps of the lattice (see `positions`).

    Returns
    -------
    Flat node numbers and weights, both of shape (m, 4); weights add up to 1.
    """
    base, fraction = _cell(steps, size)
    order = np.argsort(-fraction, axis=1, kind="stable")
    sorted_fraction = np.take_along_axis(fraction, order, axis=1)
    moves = strides(size)[order]
    first = base @ strides(size)
    nodes = first[:, None] + np.concatenate(
        [np.zeros((len(steps), 1), np.int64), np.cumsum(moves, axis=1)], axis=1
    )
    ends = np.concatenate(
        [np.ones((len(steps), 1)), sorted_fraction, np.zeros((len(steps), 1))], axis=1
    )
    return nodes, -np.diff(ends, axis=1)


def trilinear_weights(steps: Array, size: int) -> tuple[Index, Array]:
    """The eight nodes, and their weights, that trilinear interpolation uses: both (m, 8)."""
    base, fraction = _cell(steps, size)
    nodes = np.empty((len(steps), 8), np.int64)
    weights = np.empty((len(steps), 8))
    for corner in range(8):
        bits = np.array([corner >> 2 & 1, corner >> 1 & 1, corner & 1])
        nodes[:, corner] = (base + bits) @ strides(size)
        weights[:, corner] = np.where(bits, fraction, 1 - fraction).prod(axis=1)
    return nodes, weights


def weights_of(method: str, steps: Array, size: int) -> tuple[Index, Array]:
    """Nodes and weights of ``"tetrahedral"`` or ``"trilinear"`` interpolation."""
    return (trilinear_weights if method == "trilinear" else tetrahedral_weights)(steps, size)


def weight_matrix(method: str, steps: Array, size: int) -> Any:
    """Interpolation as a sparse matrix, shape (m, size³), to multiply with the nodes' values."""
    from scipy import sparse

    nodes, weights = weights_of(method, steps, size)
    rows = np.arange(len(steps) + 1) * nodes.shape[1]
    return sparse.csr_matrix((weights.ravel(), nodes.ravel(), rows), shape=(len(steps), size**3))


def tetrahedra(size: int) -> Index:
    """The flat numbers of the four nodes of every tetrahedron, shape (6·(size−1)³, 4)."""
    cells = np.arange(size - 1)
    first = np.stack(np.meshgrid(cells, cells, cells, indexing="ij"), -1).reshape(-1, 3)
    base = first @ strides(size)
    moves = np.array([[0, *np.cumsum(strides(size)[list(order)])] for order in ORDERS])
    return np.asarray((base[:, None, None] + moves).reshape(-1, 4))


def cell_steps(planes: Array) -> Iterator[tuple[tuple[int, ...], list[Array]]]:
    """For each order of the axes: the order, and the edges of the tetrahedra of all cells.

    Parameters
    ----------
    planes
        A table by channel, or a part of one: shape (3, i, j, k).

    Returns
    -------
    Three arrays of shape (3, i − 1, j − 1, k − 1): how each channel changes along r, g and b.
    """
    spans = [size - 1 for size in planes.shape[1:]]
    for order in ORDERS:
        offset = [0, 0, 0]
        first = planes[(slice(None), *(slice(0, span) for span in spans))]
        steps, before = [first] * 3, first
        for axis in order:
            offset[axis] += 1
            here = planes[
                (slice(None), *(slice(o, o + span) for o, span in zip(offset, spans, strict=True)))
            ]
            steps[axis] = here - before
            before = here
        yield order, steps


def jacobians(table: NDArray[Any]) -> Array:
    """The Jacobian of each tetrahedron, in output per step of the lattice.

    Returns
    -------
    Shape (6·(n−1)³, 3, 3), in the order of `tetrahedra`: column k is the change
    along input axis k. The determinant is positive where orientation is kept,
    negative in a fold, and 0 where colours coincide.
    """
    m = table.shape[0] - 1
    result = np.empty((m, m, m, 6, 3, 3))
    for index, (_, steps) in enumerate(cell_steps(channel_planes(table))):
        for axis, step in enumerate(steps):
            result[..., index, :, axis] = np.moveaxis(step, 0, -1)
    return result.reshape(-1, 3, 3)


def volumes(planes: Array) -> Iterator[tuple[tuple[int, ...], Array, Array]]:
    """For each order of the axes: the order, the determinants of the Jacobians, and areas.

    Both have shape (n − 1, n − 1, n − 1), in units of output³ and output². The area is the sum
    of the products of the lengths of two edges: an error of ε in each edge changes the
    determinant by at most ε times the area.
    """
    for order, (r, g, b) in cell_steps(planes):
        cross = np.stack(
            [r[1] * g[2] - r[2] * g[1], r[2] * g[0] - r[0] * g[2], r[0] * g[1] - r[1] * g[0]]
        )
        along_r, along_g, along_b = (np.sqrt((each**2).sum(axis=0)) for each in (r, g, b))
        areas = along_r * along_g + along_g * along_b + along_r * along_b
        yield order, (cross * b).sum(axis=0), areas


def folded(table: NDArray[Any], rounding: float = SIX_DECIMALS_SIGNAL) -> NDArray[np.bool_]:
    """Which tetrahedra are turned inside out, in the order of `tetrahedra`.

    A tetrahedron counts as flat (clipped), not as folded, if `rounding` of the values can
    explain its determinant.
    """
    found = [
        determinant < -np.maximum(rounding * areas, LEAST_SIGNAL_CUBED)
        for _, determinant, areas in volumes(channel_planes(table))
    ]
    return np.stack(found, axis=-1).reshape(-1)


def channel_planes(table: NDArray[Any]) -> Array:
    """A table by channel: shape (n, n, n, 3) becomes (3, n, n, n), (n, 3) becomes (3, n)."""
    return np.ascontiguousarray(np.moveaxis(np.asarray(table, np.float64), -1, 0))


def det3(matrix: Array) -> Array:
    """Determinants of (..., 3, 3), by the triple product (exactly 0 for a zero column)."""
    a, b, c = matrix[..., 0], matrix[..., 1], matrix[..., 2]
    return np.asarray((a * np.cross(b, c)).sum(axis=-1))


def thickness(jacobian: Array) -> Array:
    """The least height of each tetrahedron, in output units; 0 if it is flat.

    The height over a face is the determinant divided by the area of the face's parallelogram.
    """
    a, b, c = jacobian[..., 0], jacobian[..., 1], jacobian[..., 2]
    faces = [np.cross(a, b), np.cross(b, c), np.cross(a, c)]
    # For any order of the axes, a face is spanned by two neighbouring edges, or by one edge
    # and the sum of the other two.
    faces += [np.cross(a + b, c), np.cross(a, b + c), np.cross(a + c, b)]
    widest = np.max([np.linalg.norm(face, axis=-1) for face in faces], axis=0)
    volume = np.abs(det3(jacobian))
    return np.asarray(np.divide(volume, widest, out=np.zeros_like(volume), where=widest > 0))


def gradient(table: NDArray[Any], steps: Array) -> Array:
    """The Jacobian of tetrahedral interpolation at `steps` (m, 3), per step: (m, 3, 3)."""
    size = table.shape[0]
    flat = table.reshape(-1, 3)
    base, fraction = _cell(steps, size)
    order = np.argsort(-fraction, axis=1, kind="stable")
    node = base @ strides(size)
    result = np.empty((len(steps), 3, 3))
    rows = np.arange(len(steps))
    for place in range(3):
        axis = order[:, place]
        following = node + strides(size)[axis]
        result[rows, :, axis] = flat[following] - flat[node]
        node = following
    return result


def straight_basis(size: int) -> tuple[Array, Array]:
    """Eigenvectors (size, size), and eigenvalues, of the squared second differences of a line."""
    second = np.diff(np.eye(size), n=2, axis=0)
    eigenvalues, basis = np.linalg.eigh(second.T @ second)
    return basis, np.maximum(eigenvalues, 0)


def _cell(steps: Array, size: int) -> tuple[Index, Array]:
    base = np.minimum(steps.astype(np.int64), size - 2)
    return base, steps - base
