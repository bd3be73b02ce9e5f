"""A source's curve bent freely, with a free or fixed matrix: the fit without any name.

The slope of the curve is multiplied by the exponential of a spline, so that light always rises,
whatever black is. The overall gain and any added light stay unchanged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from lutbench.identification.common import STEP, TINY
from lutbench.identification.forms.free import Model, moved
from lutbench.identification.forms.looks import NUMBERS, LookModel
from lutbench.identification.forms.nodes import Lights, together
from lutbench.identification.forms.norms import NormModel
from lutbench.model.transforms import Array

RIDGE = 1e-6
"""The weight that keeps bends without nodes at zero, as a share of the trace."""

FLATTEST = 1e-9
"""The least rise of light from one point of the grid to the next, as a share of the most."""

MOST_STEP = 0.5
"""The most change of a parameter in a step: a bend is a natural logarithm of slope."""

UNSEEN = 1e3
"""10-bit codes of error of a node without prediction: as much as a full scale."""

MOST_NODES = 0.6
"""The quantile of the errors by which a step is judged."""

AnyModel = Model | NormModel


@dataclass(frozen=True)
class Bent:
    """A model whose light was bent, with its matrices M and Q."""

    model: AnyModel
    matrix: Array
    mixing: Array

    def misses(self) -> Array:
        """The errors in codes, (1, n, 3); NaN where nothing is predicted."""
        return self.model.misses(self.matrix[None], self.mixing[None])

    @property
    def light(self) -> Array:
        """Along the grid of the ground."""
        along: Array = self.model.lights.table[0]
        return along


@dataclass(frozen=True)
class Bending:
    """Settings of a bend: number of bends and steps; Q is free if `mixed`, M unless `held`.

    With `look`, a free look replaces Q.
    """

    bends: int
    steps: int
    mixed: bool = False
    held: bool = False
    look: bool = False

    @property
    def free(self) -> Array:
        """The free parameters, of bends, M and Q, as rows of an identity matrix."""
        count = self.bends + 6 + (NUMBERS if self.look else 6 if self.mixed else 0)
        kept = [k for k in range(count) if not (self.held and 0 <= k - self.bends < 6)]
        rows: Array = np.eye(count)[kept]
        return rows


def bent(start: Bent, how: Bending) -> Bent:
    """The start bent further, by damped Gauss-Newton steps; outliers are weighed down."""
    curve = _Curve.of(start.model, how.bends)

    def made(x: Array) -> Bent:
        bends, m = x[: how.bends], x[how.bends : how.bends + 6]
        q = moved(start.mixing, x[how.bends + 6 :]) if how.mixed else start.mixing
        if how.look:
            q = start.mixing + x[how.bends + 6 :]
        return Bent(curve.bent(start.model, bends), moved(start.matrix, m), q)

    def misses(places: Array) -> Array:
        several = [made(x) for x in places]
        model = replace(start.model, lights=together([each.model.lights for each in several]))
        matrices, mixings = (
            np.array(each) for each in zip(*((b.matrix, b.mixing) for b in several), strict=True)
        )
        return np.asarray(np.nan_to_num(model.misses(matrices, mixings), nan=UNSEEN))

    free = how.free
    best = x = np.zeros(free.shape[1])
    least, damp = np.inf, 1e-4
    for _ in range(how.steps):
        plain = misses(x[None])[0]
        size = np.abs(plain).max(axis=1)
        error = float(np.quantile(size, MOST_NODES))
        if error >= least:
            x, damp = best, damp * 10
            plain = misses(x[None])[0]
            size = np.abs(plain).max(axis=1)
        else:
            best, least, damp = x, error, damp / 3
        soft = 1 / np.hypot(1, size / (2 * np.median(size) + 0.02))
        weight = np.where(size >= UNSEEN / 2, 0.0, soft)[:, None]
        # The derivatives by a look's parameters are known exactly.
        tried = free[: len(free) - NUMBERS] if how.look else free
        slopes = ((plain - misses(x + STEP * tried)) * weight).reshape(len(tried), -1).T / STEP
        here = made(x)
        if isinstance(here.model, LookModel):
            exact = np.nan_to_num(here.model.slopes(here.matrix)) * weight[..., None]
            slopes = np.concatenate([slopes, exact.reshape(-1, NUMBERS)], axis=1)
        normal = slopes.T @ slopes
        normal += np.diag(damp * np.diag(normal) + RIDGE * np.trace(normal) / len(free) + TINY)
        step = np.linalg.solve(normal, slopes.T @ (plain * weight).ravel())
        x = x + np.clip(step, -MOST_STEP, MOST_STEP) @ free
    return made(best)


@dataclass(frozen=True)
class _Curve:
    """The light that is bent: its rise along the grid, its light on the axis, the bends."""

    grid: Array
    axis: Array
    first: float
    rise: Array
    on_axis: Array
    basis: Array

    @classmethod
    def of(cls, model: AnyModel, bends: int) -> _Curve:
        ground, lights = model.ground, model.lights
        table = lights.table[0]
        rise = np.diff(table)
        on_axis = np.zeros(len(ground.axis))
        for c in range(3):
            on_axis[ground.places[:, c]] = lights.nodes[0][:, c]
        return cls(
            ground.grid,
            ground.axis,
            float(table[0]),
            np.maximum(rise, FLATTEST * float(rise.max())),
            on_axis,
            _basis(len(ground.grid), bends),
        )

    def bent(self, model: AnyModel, bends: Array) -> AnyModel:
        """The model with its light bent; beyond the grid as at its ends."""
        factor = np.exp(bends @ self.basis)
        steps = self.rise * (factor[1:] + factor[:-1]) / 2
        table = self.first + np.concatenate([[0.0], np.cumsum(steps)])
        last = self.first + float(self.rise.sum())
        light = np.interp(self.axis, self.grid, table)
        under, over = self.axis < self.grid[0], self.axis > self.grid[-1]
        light[under] = table[0] + (self.on_axis[under] - self.first) * factor[0]
        light[over] = table[-1] + (self.on_axis[over] - last) * factor[-1]
        return replace(model, lights=Lights(light[model.ground.places][None], table[None]))


@lru_cache(maxsize=8)
def _basis(size: int, bends: int) -> Array:
    """Cubic B-splines over the grid, (bends, size)."""
    from scipy.interpolate import BSpline

    knots = np.concatenate([[0.0] * 3, np.linspace(0, 1, bends - 2), [1.0] * 3])
    return np.asarray(BSpline.design_matrix(np.linspace(0, 1, size), knots, 3).toarray().T)
