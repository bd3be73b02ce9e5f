"""The inverse of a LUT.

A tetrahedral LUT is linear in each of its tetrahedra, so where it is a bijection
its inverse is exact: every node of the new lattice is searched for among the
images of all tetrahedra. A node that is found once gets the exact inverse. What
cannot be inverted is counted and reported:

- *collapsed*: tetrahedra whose colours coincide (by clipping), so that their inputs
  cannot be recovered. All tetrahedra have the same input volume, so their share of
  the number is the exact share of inputs lost.
- *folded*: tetrahedra that are turned inside out; their colours come from more
  than one input, of which one is chosen.
- *unreached*: nodes of the new lattice that no input gives. The few that are
  needed to interpolate up to the edge of the reached colours are extrapolated smoothly
  (their values may leave the old domain); the others get the input whose colour is
  nearest.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.algebra.curve_inverse import inverted_curve
from lutbench.algebra.repairing import isotonic
from lutbench.algebra.result import Change, CodeError, Inversion, code_error
from lutbench.algebra.rewritten import with_table
from lutbench.algebra.solving import (
    FLAT_SIGNAL,
    Fallback,
    covered,
    grid_of,
    nearest,
    refined,
    straightness,
)
from lutbench.errors import LutbenchError, NotInvertibleError
from lutbench.model.transforms import Array, Transform
from lutbench.tables.cells import (
    Index,
    det3,
    jacobians,
    positions,
    tetrahedra,
    thickness,
    weight_matrix,
)
from lutbench.tables.lut import UNIT_DOMAIN, Lut, Lut1D, Lut3D, ShaperLut3D, lattice
from lutbench.tables.nodes import checked_outputs

SAME_INPUT_SHARE = 1e-4
"""Share of the domain: two inputs nearer than this are the same solution."""

BEYOND_SHARE = 0.25
"""Share of the domain by which values may leave it, to be exact at the edge."""

MOST_INPUTS = 30.0
"""Inputs per colour, on average: a table with more is not inverted. One that folds once along each
channel has 8."""

SHAPER_ROWS = 4096
"""Rows of the curve before an inverse: a quarter of a 10-bit code apart."""

MOST_NODES = 129
"""Nodes along an edge of an inverse: at this size over two million nodes are searched for."""


def invert(
    lut: Transform,
    size: int | None = None,
    *,
    shaper: bool = False,
    fallback: Fallback = "gamut",
    hold: bool = False,
    title: str = "",
) -> Inversion:
    """The inverse of a LUT; the arguments are those of `lutbench.invert`.

    Raises
    ------
    NotInvertibleError
        When the LUT gives only one colour, a line or a plane of colours, or each colour from
        many inputs.
    LutbenchError
        When the size is out of range, or a value of the table exceeds half float.
    """
    if size is not None and not 2 <= size <= MOST_NODES and not isinstance(lut, Lut1D):
        raise LutbenchError(f"an inverse of size {size}", accepted=f"2 to {MOST_NODES}")
    if fallback not in ("gamut", "nearest"):
        raise LutbenchError(f"no fallback is named {fallback!r}", accepted="gamut, nearest")
    if isinstance(lut, Lut1D):
        return inverted_curve(lut, size, title)
    if isinstance(lut, ShaperLut3D):
        return _inverted_behind_shaper(lut, size, shaper, fallback, hold, title)
    if not isinstance(lut, Lut3D):
        raise LutbenchError(
            f"{lut!r} is not a LUT", accepted="a LUT (a transform has its own inverse)"
        )
    if lut.size > MOST_NODES:  # each of its tetrahedra is solved: 256 nodes take 21 GB
        raise LutbenchError(
            f"an inverse of a LUT of {lut.size} nodes",
            accepted=f"up to {MOST_NODES}; `lutbench rework resample` makes it smaller",
        )
    return _Inverter(lut, size or lut.size, shaper, fallback, hold, title).run()


class _Inverter:
    """One inversion, step by step: see `run`."""

    def __init__(
        self, lut: Lut3D, size: int, shaper: bool, fallback: Fallback, hold: bool, title: str
    ) -> None:
        self.lut, self.size, self.fallback, self.hold = lut, size, fallback, hold
        self.title = title
        self.table = checked_outputs(lut.table.astype(np.float64))
        self.old = lattice(lut.size)  # solutions are inputs in 0..1 of the old domain
        self.domain = _output_domain(self.table)
        self.shaper = _neutral_shaper(self.table, self.domain) if shaper else None
        self.axes = self._axes()

    def run(self) -> Inversion:
        jacobian = jacobians(self.table)
        flat = thickness(jacobian) < FLAT_SIGNAL
        turned = det3(jacobian) < 0
        if flat.all():
            raise NotInvertibleError(
                f"the colours of {self.lut!r} fill no volume, so it has no inverse"
            )
        self._refuse_many_inputs(jacobian)
        backwards = bool((turned & ~flat).sum() > 0.5 * (~flat).sum())
        if backwards:  # mirrored as a whole (two channels swapped), which can be inverted too
            turned = ~turned
        values, reached, ambiguous = self._solved(~flat, turned)
        missing = ~reached
        values[missing] = nearest(self.table, self._targets()[missing], self.fallback)
        values = self._continued(values, missing, flat)
        beyond = 0.0 if self.hold else BEYOND_SHARE
        values = np.clip(values, -beyond, 1 + beyond)
        result = self._as_lut(values)
        return self._reported(
            result, flat, turned & ~flat, float(missing.mean()), float(ambiguous.mean())
        )

    def _refuse_many_inputs(self, jacobian: Array) -> None:
        """Refuse noise and shuffled tables, which give each colour from many inputs."""
        volume = np.abs(det3(jacobian)).sum() / 6
        times = float(volume / np.prod(self.domain[1] - self.domain[0]))
        if times > MOST_INPUTS:
            raise NotInvertibleError(
                f"each colour comes from {times:.0f} inputs on average, so it has no inverse",
                accepted="a LUT with few folds",
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
        """The colours to invert: the new lattice's nodes, shape (n³, 3)."""
        return grid_of(self.axes)

    def _solved(self, solid: NDArray[Any], turned: NDArray[Any]) -> tuple[Array, Any, Any]:
        """Inputs of the nodes that a tetrahedron covers, which are covered, which several times."""
        corners = tetrahedra(self.lut.size)[solid]
        colours, inputs = (each.reshape(-1, 3)[corners] for each in (self.table, self.old))
        nodes, solutions, which = covered(colours, inputs, self.axes)
        return self._chosen(nodes, solutions, ~turned[solid][which])

    def _chosen(self, nodes: Index, solutions: Array, good: Any) -> tuple[Array, Any, Any]:
        """One solution for each node: one outside folds if there is, then the least saturated."""
        count = self.size**3
        low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
        np.minimum.at(low, nodes, solutions)
        np.maximum.at(high, nodes, solutions)
        reached = np.isfinite(low[:, 0])
        ambiguous = np.zeros(count, bool)
        ambiguous[reached] = (high[reached] - low[reached]).max(axis=1) > SAME_INPUT_SHARE
        order = np.lexsort((np.ptp(solutions, axis=1), ~good, nodes))
        first = np.unique(nodes[order], return_index=True)[1]
        values = np.zeros((count, 3))
        values[nodes[order][first]] = solutions[order][first]
        if self.lut.interpolation == "trilinear":
            values[reached] = refined(self.table, values[reached], self._targets()[reached])
        return values, reached, ambiguous

    def _continued(self, values: Array, missing: Any, flat: NDArray[Any]) -> Array:
        """The values, with the unreached nodes beside reached colours moved so that
        interpolation between them and their neighbours gives the right inputs at the edge.

        Least squares over samples of the LUT, with a weak smoothness penalty.
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
        straight = straightness(self.size, used)
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
        """Inputs and their colours: nodes and random points of the tetrahedra not collapsed."""
        corners = tetrahedra(self.lut.size)[~flat]
        random = np.random.default_rng(3)
        nodes = np.unique(corners)
        # Several points for each cell of the finer lattice.
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
        shares = (float(flat.mean()), float(turned.mean()), unreached, ambiguous)
        error, inputs = round_trip(self.lut, result, np.flatnonzero(~flat))
        made = Change(
            "round_trip",
            f"round trip through the inverse and the LUT: off by {error.mean:.2f} 10-bit codes on"
            f" average, {error.max:.1f} at most; inputs come back to within {inputs.mean:.2f}",
            error.mean,
        )
        low, high = self.lut.domain
        outside = float(max((low - result.table).max(), (result.table - high).max(), 0))
        changes = [made, *_lost(shares, self.fallback), *_beyond(outside)]
        return Inversion(result, error, tuple(changes), *shares)


def _lost(shares: tuple[float, float, float, float], fallback: Fallback) -> Iterator[Change]:
    """What an inverse cannot restore; `shares` are those of `Inversion`, in its order."""
    collapsed, folded, unreached, ambiguous = shares
    if collapsed:
        text = (
            f"{100 * collapsed:.3f} % of the inputs are clipped by the LUT and cannot be restored"
        )
        yield Change("collapsed", text, collapsed)
    if folded:
        yield Change(
            "folded", f"{100 * folded:.3f} % of the inputs lie in folds of the LUT", folded
        )
    if ambiguous:
        text = f"{100 * ambiguous:.3f} % of the inverse's nodes come from several inputs;"
        yield Change("ambiguous", f"{text} one was chosen", ambiguous)
    if unreached:
        way = "luma and hue kept" if fallback == "gamut" else "nearest colour"
        share = f"{100 * unreached:.1f} % of the inverse's nodes"
        text = f"{share} are colours that the LUT never gives ({way})"
        yield Change("unreached", text, unreached)


def _beyond(outside: float) -> Iterator[Change]:
    if outside > 1e-6:
        text = f"values reach {outside:.3f} outside the LUT's domain, to be exact at the edge"
        yield Change("out_of_domain", text, outside)


def round_trip(
    lut: Lut3D, inverse: Transform, solid: Index, count: int = 20_000
) -> tuple[CodeError, CodeError]:
    """The error of colours after LUT, inverse and LUT again, and that of inputs after the inverse.

    At random inputs in the tetrahedra that have not collapsed, whose numbers are in `solid`.
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
    """0..1 if the LUT stays in it, else the box around its values; shape (2, 3)."""
    low, high = table.reshape(-1, 3).min(axis=0), table.reshape(-1, 3).max(axis=0)
    if (low >= -1e-6).all() and (high <= 1 + 1e-6).all():
        return np.array(UNIT_DOMAIN)
    if not (high - low > 1e-6).all():
        raise NotInvertibleError("a channel of the LUT is constant, so it has no inverse")
    return np.stack([low, high])


def _neutral_shaper(table: Array, domain: Array) -> Lut1D:
    """The curve of each channel, from 0 to 1, that inverts the LUT's neutral axis."""
    size = table.shape[0]
    index = np.arange(size)
    axis = isotonic(table[index, index, index])
    low, high = domain
    rows = np.linspace(low, high, SHAPER_ROWS)
    result = np.empty_like(rows)
    for c in range(3):
        # A slight slope everywhere, so that flat parts do not become a jump.
        known = axis[:, c] + 1e-4 * np.linspace(0, 1, size)
        ends_in = np.concatenate([[min(low[c], known[0] - 1e-6)], known])
        ends_in = np.concatenate([ends_in, [max(high[c], known[-1] + 1e-6)]])
        room = 1 / size
        ends_out = np.concatenate([[-room], np.linspace(0, 1, size), [1 + room]])
        curve = np.interp(rows[:, c], ends_in, ends_out)
        curve += 1e-6 * np.linspace(0, 1, SHAPER_ROWS)
        result[:, c] = (curve - curve[0]) / (curve[-1] - curve[0])
    return Lut1D(result, domain)


def _inverted_behind_shaper(
    lut: ShaperLut3D, size: int | None, shaper: bool, fallback: Fallback, hold: bool, title: str
) -> Inversion:
    """The inverse of the lattice, its values then taken through the shaper's inverse."""
    from dataclasses import replace

    inner = invert(lut.lut, size, shaper=shaper, fallback=fallback, hold=True)
    back = lut.shaper.inverse()
    result = with_table(inner.lut, back.apply).with_title(title)
    points = np.random.default_rng(5).random((20_000, 3))
    points = lut.domain[0] + points * (lut.domain[1] - lut.domain[0])
    colours = lut.apply(points)
    error = code_error(lut.apply(result.apply(colours)), colours)
    changes = (
        Change(
            "round_trip",
            f"round trip through the inverse and the LUT: off by {error.mean:.2f} 10-bit codes on"
            f" average, {error.max:.1f} at most",
            error.mean,
        ),
        *inner.changes[1:],
    )
    return replace(inner, lut=result, error=error, changes=changes)
