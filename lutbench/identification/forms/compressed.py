"""A gamut compression with numbers of its own: fitted together with the matrix before it."""

from __future__ import annotations

from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np

from lutbench.identification.forms.fits import FITTED, SCREENED, Form
from lutbench.identification.forms.free import Model, moved, signal_space
from lutbench.identification.forms.nodes import Lit
from lutbench.identification.forms.score import nats_of
from lutbench.model.compression import GamutCompression
from lutbench.model.transforms import Array

if TYPE_CHECKING:
    from lutbench.identification.forms.fitted import Fitted

PRESET = GamutCompression()
"""The reference compression, where fits start."""

LEAST = np.array((-1.0,) * 6 + (0.3,) * 3 + (1.01,) * 3 + (1.0,))
"""The least change of the matrix, thresholds, limits and power that are tried."""

MOST = np.array((1.0,) * 6 + (0.97,) * 3 + (3.0,) * 3 + (6.0,))
"""The most of each."""

SIZES = np.array((0.01,) * 6 + (0.05,) * 7)
"""What is a small change of each."""

SOURCES = 12
"""Sources whose compression is fitted in a round, on few nodes."""

FOLLOWED = 2
"""Of these, the ones that are fitted on more."""

GLANCES = 8
"""Steps of a first fit."""

STEPS = 60
"""Steps of the last one."""

ROUNDS = 4
"""Rounds at most: most LUTs need two."""

BETTER = 20.0
"""Nats by which a round must explain more than the one before, or it is the last."""

UNSEEN = 100.0
"""10-bit codes of error of a node without prediction, and the most that counts."""

SLIGHT = 2.0
"""10-bit codes up to which an error counts by its square; a larger one counts less."""


@dataclass(frozen=True)
class _Start:
    """A source (its row), a matrix, and the numbers of a compression."""

    source: int
    matrix: Array
    numbers: Array
    nats: float = np.inf


def compressed_form(fitted: Fitted) -> Form | None:
    """The form whose compression explains the nodes best; None where there are no fits.

    With a given compression all sources are fitted at once, and for a given source the numbers of
    the compression: in turn, until neither changes.
    """
    lit, form = fitted.lit, Form(compression=PRESET)
    if lit is None:
        return None
    numbers = np.array((*PRESET.thresholds, *PRESET.limits, PRESET.power))
    rows = {source: row for row, source in enumerate(lit.sources)}
    before = np.inf
    for _ in range(ROUNDS):
        fits = fitted.of(form)[:SOURCES]
        found = [_Start(rows[fit.source], fit.matrix, numbers) for fit in fits]
        for nodes, steps, kept in ((SCREENED, GLANCES, FOLLOWED), (FITTED, STEPS, 1)):
            part = lit.thinned(nodes)
            found = [_fitted(each, part, fitted.floor, steps) for each in found]
            found = sorted(found, key=attrgetter("nats"))[:kept]
        if not found or found[0].nats > before - BETTER:
            break
        before, numbers = found[0].nats, found[0].numbers
        form = Form(compression=_compression(numbers))
    return form if np.isfinite(before) else None


def _fitted(start: _Start, part: Lit, floor: float, steps: int) -> _Start:
    from scipy.optimize import least_squares

    lights, space = part.lights.only(np.array([start.source])), signal_space(part.ground)

    def misses(numbers: Array) -> Array:
        model = Model(part.ground, lights, space, _compression(numbers[6:]))
        off = model.misses(moved(start.matrix, numbers[:6])[None], np.eye(3)[None])
        return np.clip(np.nan_to_num(off.ravel(), nan=UNSEEN), -UNSEEN, UNSEEN)

    best = least_squares(
        misses,
        np.concatenate([np.zeros(6), start.numbers]),
        bounds=(LEAST, MOST),
        loss="soft_l1",
        f_scale=SLIGHT,
        x_scale=SIZES,
        max_nfev=steps,
    )
    nats = float(nats_of(misses(best.x)[None], floor)[0])
    return _Start(start.source, moved(start.matrix, best.x[:6]), best.x[6:], nats)


def _compression(numbers: Array) -> GamutCompression:
    t, limits = (tuple(map(float, numbers[k : k + 3])) for k in (0, 3))
    return GamutCompression(t, limits, float(numbers[6]))  # type: ignore[arg-type]
