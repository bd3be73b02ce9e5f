"""The inverse of a LUT.

A tetrahedral LUT is linear in each of its tetrahedra, so where it is a bijection
its inverse is exact: every node of the new lattice is looked for among the
images of all tetrahedra. Nodes found in one place get the exact inverse; what
cannot be inverted is counted and named:

- *collapsed*: tetrahedra whose colours fall together (clipping); no inverse can
  tell their inputs apart. All tetrahedra have the same input volume, so their
  count over the whole is the exact share of inputs lost.
- *folded*: tetrahedra turned inside out; their colours are reached from more
  than one input, of which one is taken.
- *unreached*: nodes of the new lattice that no input gives. The few that are
  needed to interpolate up to the edge of what is reached are continued smoothly
  (their values may leave the old domain); the rest get the input whose colour is
  nearest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from lutbench.algebra.repair import LUMA, isotonic
from lutbench.algebra.result import Array, Change, CodeError, Reworked, code_error
from lutbench.errors import LutbenchError, NotInvertibleError
from lutbench.model.transforms import Transform
from lutbench.tables.cells import (
    Index,
    det3,
    gradient,
    jacobians,
    positions,
    tetrahedra,
    thickness,
    weight_matrix,
)
from lutbench.tables.lut import UNIT_DOMAIN, Lut, Lut1D, Lut3D, ShaperLut3D, lattice
from lutbench.tables.nodes import sensible

Fallback = Literal["gamut", "nearest"]

FLAT = 2e-6
"""A tetrahedron thinner than this (twice the rounding of six decimals) has collapsed."""

INSIDE = 1e-7
"""How far, in barycentric weights, a point may lie outside a tetrahedron it belongs to."""

SAME = 1e-4
"""Inputs nearer than this, in shares of the domain, are one and the same solution."""

BEYOND = 0.25
"""How far, in shares of the domain, values may go past it to be exact at the edge."""

SHAPER_ROWS = 4096
LARGEST = 129


@dataclass(frozen=True, repr=False)
class Inversion(Reworked):
    """An inverse, with the exact share that cannot be inverted.

    Parameters
    ----------
    error
        The round trip: colours of the LUT through the inverse and the LUT again.
    collapsed, folded
        Shares of the input cube whose colours fall together, or are turned
        inside out (tetrahedra counted; both 0 for a bijection).
    unreached, ambiguous
        Shares of the new lattice's nodes that no input gives, or several give.
    """

    collapsed: float = 0.0
    folded: float = 0.0
    unreached: float = 0.0
    ambiguous: float = 0.0

    @property
    def bijective(self) -> bool:
        """Whether every input has a colour of its own."""
        return self.collapsed == 0 and self.folded == 0 and self.ambiguous == 0

    def to_data(self) -> dict[str, Any]:
        shares = {
            "bijective": self.bijective,
            "collapsed_share": self.collapsed,
            "folded_share": self.folded,
            "unreached_share": self.unreached,
            "ambiguous_share": self.ambiguous,
        }
        return super().to_data() | shares


def invert(
    lut: Transform,
    size: int | None = None,
    *,
    shaper: bool = False,
    fallback: Fallback = "gamut",
    hold: bool = False,
    title: str = "",
) -> Inversion:
    """The LUT that undoes `lut`.

    Parameters
    ----------
    size
        Of the new lattice; the LUT's own where None.
    shaper
        Put a curve before the lattice that undoes the neutral axis: closer where
        the LUT bends strongly, such as from a display encoding back to log.
    fallback
        For colours that no input gives: ``"gamut"`` keeps luma and hue and gives
        up saturation first, ``"nearest"`` takes the nearest colour.
    hold
        Hold the values to the domain of `lut`: for devices that take only 0..1.
        Costs precision at the edge of what is reached; the error says how much.

    Raises
    ------
    NotInvertibleError
        When there is nothing to invert: the LUT gives one colour, or a plane of them.
    LutbenchError
        When a value of the table is beyond what half float holds.
    """
    if size is not None and not 2 <= size <= LARGEST and not isinstance(lut, Lut1D):
        raise LutbenchError(f"an inverse of size {size}", accepted=f"2 to {LARGEST}")
    if fallback not in ("gamut", "nearest"):
        raise LutbenchError(f"no fallback is named {fallback!r}", accepted="gamut, nearest")
    if isinstance(lut, Lut1D):
        return _inverted_curve(lut, size, title)
    if isinstance(lut, ShaperLut3D):
        return _inverted_behind_shaper(lut, size, shaper, fallback, hold, title)
    if not isinstance(lut, Lut3D):
        raise LutbenchError(
            f"{lut!r} is no LUT", accepted="a LUT (a transform has its own inverse)"
        )
    return _Inverter(lut, size or lut.size, shaper, fallback, hold, title).run()


class _Inverter:
    """One inversion, step by step: see `run`."""

    def __init__(
        self, lut: Lut3D, size: int, shaper: bool, fallback: Fallback, hold: bool, title: str
    ) -> None:
        self.lut, self.size, self.fallback, self.hold = lut, size, fallback, hold
        self.title = title
        self.table = sensible(lut.table.astype(np.float64))
        self.old = lattice(lut.size)  # inputs are solved for in 0..1 of the old domain
        self.domain = _output_domain(self.table)
        self.shaper = _neutral_shaper(self.table, self.domain) if shaper else None
        self.axes = self._axes()

    def run(self) -> Inversion:
        jacobian = jacobians(self.table)
        flat = thickness(jacobian) < FLAT
        turned = det3(jacobian) < 0
        if flat.all():
            raise NotInvertibleError(
                f"{self.lut!r} gives no volume of colours, so nothing of it can be undone"
            )
        backwards = bool((turned & ~flat).sum() > 0.5 * (~flat).sum())
        if backwards:  # mirrored as a whole (two channels swapped): as good a bijection
            turned = ~turned
        values, reached, ambiguous = self._solved(~flat, turned)
        missing = ~reached
        values[missing] = self._nearest(self._targets()[missing])
        values = self._continued(values, missing, flat)
        beyond = 0.0 if self.hold else BEYOND
        values = np.clip(values, -beyond, 1 + beyond)
        result = self._as_lut(values)
        return self._reported(
            result, flat, turned & ~flat, float(missing.mean()), float(ambiguous.mean())
        )

    def _axes(self) -> list[Array]:
        """The output values of the new lattice's nodes, along each channel."""
        low, high = self.domain
        axes = []
        for c in range(3):
            if self.shaper is None:
                axes.append(np.linspace(low[c], high[c], self.size))
            else:
                rows = np.linspace(low[c], high[c], self.shaper.size)
                steps = np.linspace(0, 1, self.size)
                axes.append(np.interp(steps, self.shaper.table[:, c], rows))
        return axes

    def _targets(self) -> Array:
        """The colours to be undone: the new lattice's nodes, shape (n³, 3)."""
        return np.stack(np.meshgrid(*self.axes, indexing="ij"), axis=-1).reshape(-1, 3)

    def _solved(self, solid: NDArray[Any], turned: NDArray[Any]) -> tuple[Array, Any, Any]:
        """The exact inverse of every node that a tetrahedron covers."""
        corners = tetrahedra(self.lut.size)[solid]
        turned = turned[solid]
        colours = self.table.reshape(-1, 3)[corners]
        inputs = self.old.reshape(-1, 3)[corners]
        low = [np.searchsorted(self.axes[c], colours[:, :, c].min(1) - 1e-9) for c in range(3)]
        high = [
            np.searchsorted(self.axes[c], colours[:, :, c].max(1) + 1e-9, side="right")
            for c in range(3)
        ]
        spans = np.maximum(np.stack(high, 1) - np.stack(low, 1), 0)
        counts = spans.prod(axis=1)
        busy = np.flatnonzero(counts)
        back = np.linalg.inv((colours[busy, 1:] - colours[busy, :1]).transpose(0, 2, 1))
        targets = self._targets()
        found_node: list[Index] = []
        found_input: list[Array] = []
        found_good: list[Any] = []
        start = 0
        ends = np.cumsum(counts[busy])
        while start < len(busy):
            # As many tetrahedra at a time as make about half a million pairs.
            done = ends[start - 1] if start else 0
            stop = max(int(np.searchsorted(ends, done + 500_000)), start + 1)
            part = np.arange(start, stop)
            which = np.repeat(part, counts[busy[part]])
            inner = np.arange(len(which)) - np.repeat(
                ends[part] - counts[busy[part]] - done, counts[busy[part]]
            )
            span = spans[busy[which]]
            b = inner % span[:, 2] + low[2][busy[which]]
            g = inner // span[:, 2] % span[:, 1] + low[1][busy[which]]
            r = inner // (span[:, 2] * span[:, 1]) + low[0][busy[which]]
            node = (r * self.size + g) * self.size + b
            offset = targets[node] - colours[busy[which], 0]
            weight = np.einsum("mij,mj->mi", back[which], offset)
            first = 1 - weight.sum(axis=1)
            inside = (weight.min(axis=1) >= -INSIDE) & (first >= -INSIDE)
            hit, weight, first = which[inside], weight[inside], first[inside]
            full = np.clip(np.concatenate([first[:, None], weight], axis=1), 0, 1)
            full /= full.sum(axis=1, keepdims=True)
            found_node.append(node[inside])
            found_input.append(np.einsum("mk,mkc->mc", full, inputs[busy[hit]]))
            found_good.append(~turned[busy[hit]])
            start = stop
        nodes = np.concatenate(found_node) if found_node else np.zeros(0, np.int64)
        solutions = np.concatenate(found_input) if found_input else np.zeros((0, 3))
        good = np.concatenate(found_good) if found_good else np.zeros(0, bool)
        return self._chosen(nodes, solutions, good)

    def _chosen(self, nodes: Index, solutions: Array, good: Any) -> tuple[Array, Any, Any]:
        """One solution for each node: not from a fold, then the least saturated."""
        count = self.size**3
        low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
        np.minimum.at(low, nodes, solutions)
        np.maximum.at(high, nodes, solutions)
        reached = np.isfinite(low[:, 0])
        ambiguous = np.zeros(count, bool)
        ambiguous[reached] = (high[reached] - low[reached]).max(axis=1) > SAME
        order = np.lexsort((np.ptp(solutions, axis=1), ~good, nodes))
        first = np.unique(nodes[order], return_index=True)[1]
        values = np.zeros((count, 3))
        values[nodes[order][first]] = solutions[order][first]
        if self.lut.interpolation == "trilinear":
            values[reached] = self._refined(values[reached], self._targets()[reached])
        return values, reached, ambiguous

    def _refined(self, inputs: Array, targets: Array) -> Array:
        """Newton's method on the trilinear LUT, from the tetrahedral solution."""
        lut = Lut3D(self.table, interpolation="trilinear")
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
            rest = (targets - lut.apply(best))[solvable]
            move[solvable] = np.linalg.solve(slope[solvable], rest[..., None])[..., 0]
            trial = np.clip(best + np.clip(move, -0.1, 0.1), 0, 1)
            trial_error = np.abs(lut.apply(trial) - targets).max(axis=1)
            better = trial_error < error
            best[better], error[better] = trial[better], trial_error[better]
            if not better.any():
                break
        return best

    def _nearest(self, targets: Array) -> Array:
        """The inputs whose colours come nearest to colours that no input gives.

        Levenberg–Marquardt on the piecewise-linear LUT, held to its domain, from
        the nearest node; distances weighted after `fallback`.
        """
        from scipy.spatial import cKDTree

        if not len(targets):
            return np.zeros((0, 3))
        lut = Lut3D(self.table)
        metric = _metric(self.fallback)
        nodes = self.table.reshape(-1, 3)
        inputs = self.old.reshape(-1, 3)
        start = cKDTree(nodes @ metric.T).query(targets @ metric.T)[1]
        best = inputs[start].copy()
        steps = float(self.lut.size - 1)

        def distance(x: Array, y: Array) -> Array:
            return np.asarray((((lut.apply(x) - y) @ metric.T) ** 2).sum(axis=1))

        cost = distance(best, targets)
        damping = np.full(len(targets), 1e-2)
        busy = np.arange(len(targets))
        for _ in range(25):
            at, wanted = best[busy], targets[busy]
            slope = metric @ gradient(self.table, at * steps) * steps
            rest = (wanted - lut.apply(at)) @ metric.T
            push = (rest[:, None, :] @ slope)[:, 0]
            # Inputs that are at a bound and would leave it stay out of the solution.
            stuck = ((at <= 0) & (push < 0)) | ((at >= 1) & (push > 0))
            slope = np.where(stuck[:, None, :], 0, slope)
            normal = slope.transpose(0, 2, 1) @ slope
            # Never so little, beside the slopes, that rounding takes it away.
            least = 1e-12 * np.trace(normal, axis1=1, axis2=2)
            normal += np.maximum(damping[busy], least)[:, None, None] * np.eye(3)
            move = np.linalg.solve(normal, np.where(stuck, 0, push)[..., None])[..., 0]
            trial = np.clip(at + move, 0, 1)
            trial_cost = distance(trial, wanted)
            gain = cost[busy] - trial_cost
            better = gain > 0
            best[busy[better]], cost[busy[better]] = trial[better], trial_cost[better]
            damping[busy] = np.where(better, damping[busy] / 4, damping[busy] * 8)
            # Done where a step gains next to nothing, or none is short enough to gain.
            done = np.where(better, gain < 1e-3 * trial_cost + 1e-12, damping[busy] > 1e2)
            busy = busy[~done]
            if not len(busy):
                break
        return np.asarray(best)

    def _continued(self, values: Array, missing: Any, flat: NDArray[Any]) -> Array:
        """Unreached nodes beside reached colours, moved so that interpolation between
        them and their neighbours gives the right inputs at the edge.

        Least squares over samples of the LUT, with a light pull to straight lines.
        """
        from scipy import sparse
        from scipy.sparse.linalg import cg

        if not missing.any():
            return values
        inputs, colours = self._samples(flat)
        matrix = weight_matrix("tetrahedral", self._new_steps(colours), self.size)
        used = np.zeros(self.size**3, bool)
        used[matrix.indices[matrix.data > 1e-9]] = True
        free = missing & used
        if not free.any():
            return values
        columns = np.flatnonzero(free)
        rows = np.unique(matrix[:, columns].nonzero()[0])
        part = matrix[rows]
        known = values.copy()
        known[free] = 0
        straight = _straightness(self.size, used)
        light = 1e-3
        system = sparse.vstack([part, np.sqrt(light) * straight]).tocsr()
        wanted = np.concatenate([inputs[rows], np.zeros((straight.shape[0], 3))])
        wanted = wanted - system @ known
        system = system[:, columns]
        normal = (system.T @ system).tocsr()
        right = system.T @ wanted
        result = values.copy()
        for c in range(3):
            result[columns, c] = cg(
                normal, right[:, c], x0=values[columns, c], rtol=1e-6, maxiter=400
            )[0]
        return result

    def _samples(self, flat: NDArray[Any]) -> tuple[Array, Array]:
        """Inputs and their colours: the nodes, and points inside the solid tetrahedra."""
        corners = tetrahedra(self.lut.size)[~flat]
        random = np.random.default_rng(3)
        nodes = np.unique(corners)
        # Several for each cell of the new lattice, whichever of the two is finer.
        count = min(max(len(corners), 6 * self.size**3), 250_000)
        corners = corners[random.integers(len(corners), size=count)]
        weight = random.dirichlet(np.ones(4), count)
        inputs = self.old.reshape(-1, 3)
        inside = np.einsum("mk,mkc->mc", weight, inputs[corners])
        between = np.concatenate([inputs[nodes], inside])
        return between, np.asarray(Lut3D(self.table).apply(between))

    def _new_steps(self, colours: Array) -> Array:
        shaped = colours if self.shaper is None else self.shaper.apply(colours)
        domain = self.domain if self.shaper is None else np.array(UNIT_DOMAIN)
        return positions(shaped, domain, self.size)

    def _as_lut(self, values: Array) -> Lut:
        low, high = self.lut.domain
        table = (low + values * (high - low)).reshape(self.size, self.size, self.size, 3)
        if self.shaper is None:
            return Lut3D(table, self.domain, self.title)
        return ShaperLut3D(self.shaper, Lut3D(table), self.title)

    def _reported(
        self, result: Lut, flat: Any, turned: Any, unreached: float, ambiguous: float
    ) -> Inversion:
        collapsed, folded = float(flat.mean()), float(turned.mean())
        error, inputs = round_trip(self.lut, result, np.flatnonzero(~flat))
        changes = [
            Change(
                "round_trip",
                f"through the inverse and the LUT again: off by {error.mean:.2f} codes of 1023 on"
                f" average, {error.max:.1f} at most; inputs come back within {inputs.mean:.2f}",
                error.mean,
            )
        ]
        if collapsed:
            changes.append(
                Change(
                    "collapsed",
                    f"{collapsed:.3%} of the inputs cannot be told apart after the LUT (clipped)",
                    collapsed,
                )
            )
        if folded:
            changes.append(
                Change("folded", f"{folded:.3%} of the inputs lie in folds of the LUT", folded)
            )
        if ambiguous:
            changes.append(
                Change(
                    "ambiguous",
                    f"{ambiguous:.3%} of the inverse's nodes are reached from several inputs;"
                    " one was taken",
                    ambiguous,
                )
            )
        if unreached:
            way = "luma and hue kept" if self.fallback == "gamut" else "nearest colour"
            changes.append(
                Change(
                    "unreached",
                    f"{unreached:.1%} of the inverse's nodes are colours that the LUT never gives"
                    f" ({way})",
                    unreached,
                )
            )
        table = result.table
        low, high = self.lut.domain
        outside = float(max((low - table).max(), (table - high).max(), 0))
        if outside > 1e-6:
            changes.append(
                Change(
                    "out_of_domain",
                    f"values reach {outside:.3f} outside the LUT's domain, to be exact at the edge",
                    outside,
                )
            )
        return Inversion(result, error, tuple(changes), collapsed, folded, unreached, ambiguous)


def round_trip(
    lut: Lut3D, inverse: Transform, solid: Index, count: int = 20_000
) -> tuple[CodeError, CodeError]:
    """How far LUT, inverse, LUT again is from the LUT, and how far the inputs come back.

    At random inputs in the tetrahedra that have not collapsed (flat numbers in `solid`).
    """
    random = np.random.default_rng(5)
    corners = tetrahedra(lut.size)[random.choice(solid, count)]
    weight = random.dirichlet(np.ones(4), count)
    inputs = np.einsum("mk,mkc->mc", weight, lut.nodes.reshape(-1, 3)[corners])
    colours = lut.apply(inputs)
    back = np.asarray(inverse.apply(colours))
    low, high = lut.domain
    span = high - low
    return code_error(lut.apply(back), colours), code_error(back / span, inputs / span)


def _output_domain(table: Array) -> Array:
    """0..1 where the LUT stays in it, else the box around its values."""
    low, high = table.reshape(-1, 3).min(axis=0), table.reshape(-1, 3).max(axis=0)
    if (low >= -1e-6).all() and (high <= 1 + 1e-6).all():
        return np.array(UNIT_DOMAIN)
    if not (high - low > 1e-6).all():
        raise NotInvertibleError("a channel of the LUT is constant, so nothing can be undone")
    return np.stack([low, high])


def _neutral_shaper(table: Array, domain: Array) -> Lut1D:
    """The curve of each channel that undoes the LUT's neutral axis, from 0 to 1."""
    size = table.shape[0]
    index = np.arange(size)
    axis = isotonic(table[index, index, index])
    low, high = domain
    rows = np.linspace(low, high, SHAPER_ROWS)
    result = np.empty_like(rows)
    for c in range(3):
        # A slight slope everywhere: flat parts must not become a jump.
        known = axis[:, c] + 1e-4 * np.linspace(0, 1, size)
        ends_in = np.concatenate([[min(low[c], known[0] - 1e-6)], known])
        ends_in = np.concatenate([ends_in, [max(high[c], known[-1] + 1e-6)]])
        room = 1 / size
        ends_out = np.concatenate([[-room], np.linspace(0, 1, size), [1 + room]])
        curve = np.interp(rows[:, c], ends_in, ends_out)
        curve += 1e-6 * np.linspace(0, 1, SHAPER_ROWS)
        result[:, c] = (curve - curve[0]) / (curve[-1] - curve[0])
    return Lut1D(result, domain)


def _metric(fallback: Fallback) -> Array:
    """The matrix that turns colours into the space where nearness is judged."""
    if fallback == "nearest":
        return np.eye(3)
    # Luma counts ten times; what is left are the colour differences.
    luma = np.outer(np.ones(3), LUMA)
    return np.asarray(10 * luma + (np.eye(3) - luma))


def _straightness(size: int, used: Any) -> Any:
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


def _inverted_curve(lut: Lut1D, size: int | None, title: str) -> Inversion:
    table = lut.table.astype(np.float64)
    rising = np.diff(table, axis=0)
    if (table[-1] <= table[0]).any():
        raise NotInvertibleError(f"{lut!r} does not rise from its first row to its last")
    flat = float((np.abs(rising) < FLAT / lut.size).mean())
    falling = float((rising <= -FLAT / lut.size).mean())
    curve = isotonic(table)
    low, high = curve[0], curve[-1]
    count = size or min(max(4 * lut.size, 4096), 65536)
    outputs = np.linspace(low, high, count)
    inputs = np.linspace(lut.domain[0], lut.domain[1], lut.size)
    rows = np.empty_like(outputs)
    for c in range(3):
        # Of a flat run the middle is taken; at the top where clipping begins, at the bottom
        # where it ends: the light that is just shown, not the most that was lost.
        values, first, many = np.unique(curve[:, c], return_index=True, return_counts=True)
        chosen = 0.5 * (inputs[first, c] + inputs[first + many - 1, c])
        chosen[0], chosen[-1] = inputs[many[0] - 1, c], inputs[first[-1], c]
        rows[:, c] = np.interp(outputs[:, c], values, chosen)
    result = Lut1D(rows, np.stack([low, high]), title)
    points = np.linspace(lut.domain[0], lut.domain[1], 4 * count + 1)
    colours = lut.apply(points)
    back = result.apply(colours)
    error = code_error(lut.apply(back), colours)
    kept = _outside_flats(points, inputs, np.abs(rising) < FLAT / lut.size)
    span = lut.domain[1] - lut.domain[0]
    missed = code_error((back / span)[kept], (points / span)[kept])
    changes = [
        Change(
            "round_trip",
            f"through the inverse and the LUT again: off by {error.mean:.3f} codes of 1023 on"
            f" average, {error.max:.2f} at most; inputs outside flat parts come back within"
            f" {missed.mean:.3f} on average, {missed.max:.2f} at most",
            error.mean,
        )
    ]
    if flat:
        changes.append(Change("collapsed", f"{flat:.3%} of the curve is flat (clipped)", flat))
    if falling:
        changes.append(Change("folded", f"{falling:.3%} of the curve falls", falling))
    return Inversion(result, error, tuple(changes), flat, falling)


def _outside_flats(points: Array, inputs: Array, flat: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which of `points` (n, 3) no channel has in a flat part: there the input is lost."""
    kept = np.ones(len(points), dtype=bool)
    for c in range(3):
        part = np.clip(np.searchsorted(inputs[:, c], points[:, c], side="right") - 1, 0, len(flat))
        kept &= ~flat[np.minimum(part, len(flat) - 1), c]
    return kept


def _inverted_behind_shaper(
    lut: ShaperLut3D, size: int | None, shaper: bool, fallback: Fallback, hold: bool, title: str
) -> Inversion:
    """Inverse of the lattice, its values taken back through the shaper, node by node."""
    from dataclasses import replace

    inner = invert(lut.lut, size, shaper=shaper, fallback=fallback, hold=True)
    back = lut.shaper.inverse()
    found = inner.lut
    if isinstance(found, ShaperLut3D):
        result: Lut = replace(
            found, lut=replace(found.lut, table=back.apply(found.lut.table)), title=title
        )
    else:
        assert isinstance(found, Lut3D)
        result = replace(found, table=back.apply(found.table), title=title)
    points = np.random.default_rng(5).random((20_000, 3))
    points = lut.domain[0] + points * (lut.domain[1] - lut.domain[0])
    colours = lut.apply(points)
    error = code_error(lut.apply(result.apply(colours)), colours)
    changes = (
        Change(
            "round_trip",
            f"through the inverse and the LUT again: off by {error.mean:.2f} codes of 1023 on"
            f" average, {error.max:.1f} at most",
            error.mean,
        ),
        *inner.changes[1:],
    )
    return replace(inner, lut=result, error=error, changes=changes)
