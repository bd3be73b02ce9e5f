"""Find the inputs of a lattice that give wanted colours."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

import numpy as np

from lutbench.algebra.repairing import LUMA
from lutbench.model.transforms import Array
from lutbench.tables.cells import Index, det3, gradient
from lutbench.tables.lut import Lut3D, lattice

Fallback = Literal["gamut", "nearest"]
"""For colours that no input gives: keep luma and hue, or take the nearest colour."""

INSIDE = 1e-7
"""Barycentric weight: a point may lie this far outside a tetrahedron and still count as inside."""

FLAT_SIGNAL = 2e-6
"""Signal, twice the rounding of six decimals: a thinner tetrahedron has collapsed."""

PAIRS = 500_000
"""Pairs of tetrahedron and node that are tested at a time, to limit memory."""


def grid_of(axes: list[Array]) -> Array:
    """All nodes of a lattice with these axes, shape (n³, 3)."""
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def covered(colours: Array, inputs: Array, axes: list[Array]) -> tuple[Index, Array, Index]:
    """The nodes of a new lattice that tetrahedra of the old one cover, with their inputs.

    Parameters
    ----------
    colours, inputs
        At the corners of each tetrahedron, shape (m, 4, 3).
    axes
        The colours of the new lattice's nodes, along each channel.

    Returns
    -------
    nodes, solutions, which
        For each pair of node and tetrahedron: the number of the node, the input there, and the
        number of the tetrahedron; shapes (k,), (k, 3), (k,).
    """
    low, spans = _spans(colours, axes)
    counts = spans.prod(axis=1)
    busy = np.flatnonzero(counts)
    back = np.linalg.inv((colours[busy, 1:] - colours[busy, :1]).transpose(0, 2, 1))
    targets, size = grid_of(axes), len(axes[0])
    nothing = (np.zeros(0, np.int64), np.zeros((0, 3)), np.zeros(0, np.int64))
    found: list[tuple[Index, Array, Index]] = [nothing]
    for part, inner in _parts(counts[busy]):
        which = busy[part]
        _, green, blue = spans[which].T
        b = inner % blue + low[which, 2]
        g = inner // blue % green + low[which, 1]
        r = inner // (green * blue) + low[which, 0]
        node = (r * size + g) * size + b
        weight = np.einsum("mij,mj->mi", back[part], targets[node] - colours[which, 0])
        first = 1 - weight.sum(axis=1)
        inside = (weight.min(axis=1) >= -INSIDE) & (first >= -INSIDE)
        full = np.clip(np.concatenate([first[inside, None], weight[inside]], axis=1), 0, 1)
        full /= full.sum(axis=1, keepdims=True)
        hit = which[inside]
        found.append((node[inside], np.einsum("mk,mkc->mc", full, inputs[hit]), hit))
    nodes, solutions, hits = (np.concatenate(each) for each in zip(*found, strict=True))
    return nodes, solutions, hits


def _spans(colours: Array, axes: list[Array]) -> tuple[Index, Index]:
    """For each tetrahedron: its first node along each channel, and how many it may cover."""
    least, most = colours.min(axis=1) - 1e-9, colours.max(axis=1) + 1e-9
    low = [np.searchsorted(axis, least[:, c]) for c, axis in enumerate(axes)]
    high = [np.searchsorted(axis, most[:, c], side="right") for c, axis in enumerate(axes)]
    first = np.stack(low, 1)
    return first, np.maximum(np.stack(high, 1) - first, 0)


def _parts(counts: Index) -> Iterator[tuple[Index, Index]]:
    """Pairs of a tetrahedron's number and a node's number within it, about `PAIRS` at a time."""
    ends = np.cumsum(counts)
    start = 0
    while start < len(counts):
        done = ends[start - 1] if start else 0
        stop = max(int(np.searchsorted(ends, done + PAIRS)), start + 1)
        part = np.arange(start, stop)
        which = np.repeat(part, counts[part])
        before = np.repeat(ends[part] - counts[part] - done, counts[part])
        yield which, np.arange(len(which)) - before
        start = stop


def refined(table: Array, inputs: Array, targets: Array) -> Array:
    """Inputs improved by Newton's method on the trilinear LUT, shape (n, 3)."""
    lut = Lut3D(table, interpolation="trilinear")
    best = inputs.copy()
    error = np.abs(lut.apply(best) - targets).max(axis=1)
    h = 1e-5
    for _ in range(8):
        slope = np.empty((len(best), 3, 3))
        for axis in range(3):
            step = np.zeros(3)
            step[axis] = h
            up, down = np.clip(best + step, 0, 1), np.clip(best - step, 0, 1)
            width = (up - down)[:, axis][:, None]
            slope[:, :, axis] = (lut.apply(up) - lut.apply(down)) / width
        solvable = np.abs(det3(slope)) > 1e-9
        move = np.zeros_like(best)
        residual = (targets - lut.apply(best))[solvable]
        move[solvable] = np.linalg.solve(slope[solvable], residual[..., None])[..., 0]
        trial = np.clip(best + np.clip(move, -0.1, 0.1), 0, 1)
        trial_error = np.abs(lut.apply(trial) - targets).max(axis=1)
        better = trial_error < error
        best[better], error[better] = trial[better], trial_error[better]
        if not better.any():
            break
    return best


def nearest(table: Array, targets: Array, fallback: Fallback) -> Array:
    """The inputs whose colours are nearest to `targets`, shape (n, 3).

    Levenberg–Marquardt steps on the piecewise-linear LUT from the nearest node, clamped to
    its domain; distances are weighted as `fallback` says.
    """
    from scipy.spatial import cKDTree

    if not len(targets):
        return np.zeros((0, 3))
    lut = Lut3D(table)
    metric = metric_of(fallback)
    nodes = table.reshape(-1, 3)
    inputs = lattice(len(table)).reshape(-1, 3)
    start = cKDTree(nodes @ metric.T).query(targets @ metric.T)[1]
    best = inputs[start].copy()
    steps = float(len(table) - 1)

    def distance(x: Array, y: Array) -> Array:
        return np.asarray((((lut.apply(x) - y) @ metric.T) ** 2).sum(axis=1))

    cost = distance(best, targets)
    damping = np.full(len(targets), 1e-2)
    busy = np.arange(len(targets))
    for _ in range(25):
        at, wanted = best[busy], targets[busy]
        slope = metric @ gradient(table, at * steps) * steps
        residual = (wanted - lut.apply(at)) @ metric.T
        push = (residual[:, None, :] @ slope)[:, 0]
        # Inputs at a bound that would leave the domain are not moved.
        stuck = ((at <= 0) & (push < 0)) | ((at >= 1) & (push > 0))
        slope = np.where(stuck[:, None, :], 0, slope)
        normal = slope.transpose(0, 2, 1) @ slope
        # The damping must not vanish in the rounding of the slopes.
        least = 1e-12 * np.trace(normal, axis1=1, axis2=2)
        normal += np.maximum(damping[busy], least)[:, None, None] * np.eye(3)
        move = np.linalg.solve(normal, np.where(stuck, 0, push)[..., None])[..., 0]
        trial = np.clip(at + move, 0, 1)
        trial_cost = distance(trial, wanted)
        gain = cost[busy] - trial_cost
        better = gain > 0
        best[busy[better]], cost[busy[better]] = trial[better], trial_cost[better]
        damping[busy] = np.where(better, damping[busy] / 4, damping[busy] * 8)
        # Done if a step gains almost nothing, or if even very short steps gain nothing.
        done = np.where(better, gain < 1e-3 * trial_cost + 1e-12, damping[busy] > 1e2)
        busy = busy[~done]
        if not len(busy):
            break
    return np.asarray(best)


def metric_of(fallback: Fallback) -> Array:
    """The matrix that takes colours to the space in which distances are measured."""
    if fallback == "nearest":
        return np.eye(3)
    # Luma counts ten times as much as the colour differences.
    luma = np.outer(np.ones(3), LUMA)
    return np.asarray(10 * luma + (np.eye(3) - luma))


def straightness(size: int, used: Any) -> Any:
    """Second differences along each axis over nodes in use, as a sparse matrix."""
    from scipy import sparse

    index = np.arange(size**3).reshape(size, size, size)
    mask = used.reshape(size, size, size)
    parts = []
    for axis in range(3):
        lines = np.moveaxis(index, axis, 0)
        inside = np.moveaxis(mask, axis, 0)
        before, middle, after = lines[:-2], lines[1:-1], lines[2:]
        all_used = inside[:-2] & inside[1:-1] & inside[2:]
        nodes = np.stack([before[all_used], middle[all_used], after[all_used]], axis=1)
        rows = np.repeat(np.arange(len(nodes)), 3)
        weights = np.tile([1.0, -2.0, 1.0], len(nodes))
        parts.append(
            sparse.csr_matrix((weights, (rows, nodes.ravel())), shape=(len(nodes), size**3))
        )
    return sparse.vstack(parts)
