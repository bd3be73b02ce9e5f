"""A lattice fitted to scattered colours: least squares with a smoothness penalty.

The table T of an n-lattice minimises

    Σ w·|T(x) − y|² / Σ w  +  smoothness · (n − 1) · Σ |Δ²T|²

over samples x → y, with T(x) interpolated as by the LUT, and Δ² the second differences
along r, g and b. The factor n − 1 turns the second term into squared second derivatives
over the cube, so that a smoothness means the same at any size. Away from all samples the
table continues linearly.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.model.transforms import Array
from lutbench.tables.cells import positions, straight_basis, weight_matrix
from lutbench.tables.lut import UNIT_DOMAIN, Interpolation, lattice


class ScatteredFit:
    """Samples prepared for one lattice size; `solve` gives the table for a smoothness.

    Parameters
    ----------
    inputs, outputs
        Shape (m, 3); inputs in 0..1, outputs finite.
    size
        Nodes along an edge of the lattice, 2 to 256.
    weights
        Shape (m,), 0 or more; equal by default.

    Raises
    ------
    LutbenchError
        When there are no samples, or shapes or values do not fit.
    """

    def __init__(
        self,
        inputs: Array,
        outputs: Array,
        size: int,
        *,
        weights: Array | None = None,
        interpolation: Interpolation = "tetrahedral",
    ) -> None:
        if inputs.ndim != 2 or inputs.shape != outputs.shape or inputs.shape[1] != 3:
            raise LutbenchError(
                f"samples of shapes {inputs.shape} and {outputs.shape} do not match",
                accepted="two arrays of shape (m, 3)",
            )
        if not len(inputs) or not (np.isfinite(inputs).all() and np.isfinite(outputs).all()):
            raise LutbenchError("there are no samples, or they hold NaN or infinity")
        share = np.ones(len(inputs)) if weights is None else weights.astype(np.float64)
        self.size = size
        self.interpolation = interpolation
        self._samples = (inputs, outputs, share)
        share = share / share.sum()
        steps = positions(inputs.astype(np.float64), np.array(UNIT_DOMAIN), size)
        self.matrix = weight_matrix(interpolation, steps, size)
        weighted = self.matrix.multiply(share[:, None]).tocsr()
        self.normal = (self.matrix.T @ weighted).tocsr()
        self.right = weighted.T @ outputs
        self.support = np.asarray(weighted.sum(axis=0)).reshape(size, size, size) * len(inputs)
        self._bend = _bending(size)
        self._basis, self._eigenvalues = straight_basis(size)

    @cached_property
    def _coarser(self) -> ScatteredFit | None:
        """The same samples on a lattice of half the size; None if that is too small."""
        if self.size < 9:
            return None
        inputs, outputs, weights = self._samples
        return ScatteredFit(
            inputs,
            outputs,
            (self.size + 1) // 2,
            weights=weights,
            interpolation=self.interpolation,
        )

    def solve(
        self,
        smoothness: float,
        *,
        reach: float | None = None,
        start: Array | None = None,
        rtol: float = 1e-4,
        most: int = 300,
    ) -> Array:
        """The table for a smoothness above 0, shape (n, n, n, 3), by conjugate gradients.

        Parameters
        ----------
        reach
            Distance from any sample at which the table has returned to 0, as a share of the
            cube's edge, for fits to a residual. Default: it never returns.
        start
            A table near the result. Default: the fit on a smaller lattice, which settles
            what lies far from any sample.
        rtol
            The fit ends when the residual of the equations is this share of the first one.
        most
            The largest number of steps.
        """
        if start is None and self._coarser is not None:
            coarse = self._coarser.solve(smoothness, reach=reach, rtol=rtol, most=most)
            start = enlarged(coarse, self.size)
        from scipy.sparse import identity

        factor = smoothness * (self.size - 1)
        # With a smoothness S and a pull P to 0, the table returns to 0 over (S/P)^(1/4).
        pull = 0.0 if reach is None else smoothness / reach**4 / (self.size - 1) ** 3
        system = (self.normal + factor * self._bend + pull * identity(self.size**3)).tocsr()
        gain, scale = self._preconditioner(factor, pull)
        # Each channel contiguous in memory: (3, n³).
        right = np.ascontiguousarray(self.right.T)
        x = np.zeros_like(right) if start is None else start.reshape(-1, 3).T.copy()
        residual = right - _through(system, x)
        limit = rtol**2 * _products(residual, residual) + 1e-26
        preconditioned = self._filtered(residual / scale, gain) / scale
        direction = preconditioned
        power = _products(residual, preconditioned)
        for _ in range(most):
            if (_products(residual, residual) <= limit).all():
                break
            ahead = _through(system, direction)
            length = power / np.maximum(_products(direction, ahead), 1e-300)
            x += length * direction
            residual -= length * ahead
            preconditioned = self._filtered(residual / scale, gain) / scale
            following = _products(residual, preconditioned)
            direction = preconditioned + following / np.maximum(power, 1e-300) * direction
            power = following
        return np.ascontiguousarray(x.T).reshape(self.size, self.size, self.size, 3)

    def predicted(self, table: Array) -> Array:
        """The outputs that a table gives at the samples, shape (m, 3)."""
        return np.asarray(self.matrix @ table.reshape(-1, 3))

    def _preconditioner(self, factor: float, pull: float) -> tuple[NDArray[np.float32], Array]:
        """A gain for each pair of eigenvectors, and a scale for each node.

        Together they approximate the inverse of the system: the smoothness term is diagonal
        in the eigenvectors, that of the samples is nearly diagonal in the nodes. Nodes that
        the samples determine more strongly than smoothness does are scaled down to the others.
        """
        diagonal = self.normal.diagonal()
        hold = 0.1 * float(np.median(diagonal[diagonal > 0]))
        e = self._eigenvalues
        straight = factor * (e[:, None, None] + e[:, None] + e) + pull
        scale = np.sqrt(1 + diagonal / max(hold, factor))
        return (hold / (straight + hold)).astype(np.float32), scale

    def _filtered(self, x: Array, gain: NDArray[np.float32]) -> Array:
        """`x` (3, n³) with each of its components along the eigenvectors times `gain`.

        In float32, as a preconditioner need not be exact.
        """
        n = self.size
        basis = self._basis.astype(np.float32)
        scale = np.abs(x).max() or 1.0
        values = (x / scale).astype(np.float32).reshape(3, n, n, n)
        spectrum = _along(np.ascontiguousarray(basis.T), values)
        return _along(basis, spectrum * gain).reshape(3, -1).astype(np.float64) * scale


def _along(matrix: NDArray[Any], values: NDArray[Any]) -> NDArray[Any]:
    """`matrix` times `values` (3, n, n, n) along each of their last three axes.

    In many small products, since NumPy would spread large ones over threads at a loss.
    """
    planes = np.matmul(matrix, values.transpose(0, 2, 1, 3))
    planes = np.matmul(matrix, planes.transpose(0, 2, 1, 3))
    return np.asarray(np.matmul(planes, matrix.T))


def _through(system: Any, channels: Array) -> Array:
    """A sparse matrix times each of the channels (3, n³)."""
    return np.stack([system @ each for each in channels])


def _products(one: Array, other: Array) -> Array:
    """The scalar product of each channel of two arrays (3, n³), shape (3, 1)."""
    return np.asarray(np.einsum("ij,ij->i", one, other)[:, None])


def _bending(size: int) -> Any:
    """The sum of squared second differences along the three axes, as a sparse matrix."""
    from scipy import sparse

    second = np.diff(np.eye(size), n=2, axis=0)
    line = sparse.csr_matrix(second.T @ second)
    eye = sparse.identity(size, format="csr")
    return (
        sparse.kron(sparse.kron(line, eye), eye)
        + sparse.kron(sparse.kron(eye, line), eye)
        + sparse.kron(sparse.kron(eye, eye), line)
    ).tocsr()


def smooth_curves(inputs: Array, outputs: Array, size: int = 129) -> Array:
    """Smooth curves through the scattered points of each channel, shape (size, 3).

    Piecewise linear at equal steps of 0..1, with a penalty on squared second differences
    that is chosen for each channel by generalised cross-validation.

    Parameters
    ----------
    inputs, outputs
        Shape (m, 3); each channel is fitted separately; inputs in 0..1.
    """
    second = np.diff(np.eye(size), n=2, axis=0) * float(size - 1) ** 1.5
    bend = second.T @ second
    grid = np.linspace(0, 1, size)
    columns = [_smooth_curve(inputs[:, c], outputs[:, c], grid, bend) for c in range(3)]
    return np.stack(columns, axis=1)


def _smooth_curve(inputs: Array, values: Array, grid: Array, bend: Array) -> Array:
    """One channel of `smooth_curves`; `bend` is the penalty on the values at `grid`."""
    from scipy.optimize import minimize_scalar

    size, count = len(grid), len(values)
    steps = np.clip(inputs, 0, 1) * (size - 1)
    left = np.minimum(steps.astype(int), size - 2)
    part = steps - left
    normal = np.diag(
        np.bincount(left, (1 - part) ** 2, size) + np.bincount(left + 1, part**2, size)
    )
    beside = np.bincount(left, part * (1 - part), size)[:-1]
    normal += np.diag(beside, 1) + np.diag(beside, -1)
    right = np.bincount(left, (1 - part) * values, size)
    right += np.bincount(left + 1, part * values, size)

    def solved(power: float) -> Array:
        return np.asarray(np.linalg.inv(normal + count * (10.0**power * bend + tiny)))

    def score(power: float) -> float:
        inverse = solved(power)
        error = float(((np.interp(inputs, grid, inverse @ right) - values) ** 2).mean())
        freedom = float((inverse * normal).sum())
        return error / max(1 - freedom / count, 1e-6) ** 2

    tiny = 1e-12 * np.eye(size)
    best = minimize_scalar(score, bounds=(-11, -1), method="bounded", options={"xatol": 0.2})
    return np.asarray(solved(best.x) @ right)


def enlarged(table: Array, size: int) -> Array:
    """A table at another size by trilinear interpolation, as the start of a finer fit."""
    own = table.shape[0]
    steps = positions(lattice(size).reshape(-1, 3), np.array(UNIT_DOMAIN), own)
    rows: Any = weight_matrix("trilinear", steps, own) @ table.reshape(-1, 3)
    return np.asarray(rows.reshape(size, size, size, 3))
