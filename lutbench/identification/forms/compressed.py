"""A gamut compression with numbers of its own: fitted together with the matrix before it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lutbench.identification.forms.fits import ENOUGH, FITTED, SCREENED, Form
from lutbench.identification.forms.free import Model, moved, signal_space
from lutbench.identification.forms.nodes import Lit
from lutbench.identification.forms.score import INDEPENDENT, nats_of
from lutbench.identification.samples import CODES
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

UNPROMISING = 0.55
"""The share of what is left without any explanation above which first fits are not followed."""

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
    """The form whose compression explains the nodes best; None where none does.

    With a given compression all sources are fitted at once, and for a given source the numbers of
    the compression: in turn, until neither changes.
    """
    lit, form = fitted.lit, Form(compression=PRESET)
    if lit is None:
        return None
    numbers = np.array((*PRESET.thresholds, *PRESET.limits, PRESET.power))
    rows = {source: row for row, source in enumerate(lit.sources)}
    few, more = lit.thinned(SCREENED), lit.thinned(FITTED)
    before = limit = UNPROMISING * INDEPENDENT * np.log(CODES)
    fits = fitted.of(form)
    for _ in range(ROUNDS):
        begun = [_Start(rows[fit.source], fit.matrix, numbers) for fit in fits[:SOURCES]]
        begun = _best([_fitted(each, few, fitted.floor, GLANCES) for each in begun])[:FOLLOWED]
        if not begun or begun[0].nats > limit:
            break
        best = _best([_fitted(each, more, fitted.floor, STEPS) for each in begun])[0]
        if best.nats > before - BETTER:
            break
        before, numbers = best.nats, best.numbers
        form = Form(compression=_compression(numbers))
        fits = fitted.of(form)
        if fits[0].error <= ENOUGH:
            break
    return None if form.compression == PRESET else form


def _best(found: list[_Start]) -> list[_Start]:
    return sorted(found, key=lambda each: each.nats)


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
