"""Second free fits: on a part of the nodes, with a compression, with one pair of gamuts.

First fits can select wrong sources where a look acts on some hues, where gamut compression or
clipping before a look moves nodes far from neutral, or where another source fits almost as
well at its start.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from lutbench.identification.curvebank import End
from lutbench.identification.freefit import CurveFit, CurveForm
from lutbench.identification.freeform import (
    PART_HEATS,
    STEPS,
    match_free,
    race,
    settle_all,
    started,
)
from lutbench.identification.gamutbank import GamutBank
from lutbench.identification.ground import ROWS, CurveGround, Start, screen, screen_plainly
from lutbench.identification.hues import hue_windows
from lutbench.identification.samples import Samples
from lutbench.model.compression import GamutCompression
from lutbench.model.transforms import Array

COMPRESSION = GamutCompression()
COMPRESSED, PACKED, AS_WELL = 4, 8, 1.5
"""Fits with a compression that are followed, what goes into them, and what they may cost."""

PACKED_ROWS = 250
"""Nodes that choose those that are followed."""

PACKED_BETTER = 0.8
"""The first steps with a compression must leave less than this share of what fits without leave."""

INNER, EXPLAINED = 0.12, 0.05
"""How near neutral a part of the nodes is, and codes: where no more is left there, it needs no
other trial.
"""

ALONE = 2.0
"""How many times the error of the first fit the second leaves where there is no doubt."""

HUES_WITHIN, HUES_TELL = 2.0, 1.1
"""Codes that the best first fit of some hues may leave to be followed, and to be followed alone."""

PART_BETTER, START_BETTER = 0.4, 0.45
"""A part of the nodes counts where its error is under this share of that on all, and is raced
where that of its first fits is under this share.
"""

PAIR_OFF, PAIR_CODES, MATCHED = 1.5, 0.02, 3
"""Where the likeliest pair of gamuts leaves more than this many times what a fit leaves, and
codes, another source may fit it better; fits whose pairs are looked at.
"""

PAIR_HEATS = ((240, 1, 150), (14, 2, 450), (4, 3, ROWS))
"""The race of sources with one pair of gamuts, as the other heats: the best first fits go in."""

HELD_MOST = 5.0
"""How many times what is asked for a fit may leave whose matrix is still held."""


@dataclass(frozen=True)
class Among:
    """The candidates for fits: sources with their first fits, and pairs of gamuts."""

    samples: Samples
    ends: list[End]
    starts: Sequence[Start | None]
    bank: GamutBank


@dataclass(frozen=True)
class _PartFits:
    """Fits on a part of the nodes, best first: those `near` neutral, or of some hues."""

    fits: list[CurveFit]
    ground: CurveGround
    near: bool

    @property
    def error(self) -> float:
        return _error(self.fits)


def by_part(
    ground: CurveGround, among: Among, fits: list[CurveFit]
) -> tuple[list[CurveFit], CurveGround]:
    """Fits on the nodes near neutral or of some hues, where those are far better.

    Gamut compression, and clipping before a look, affect nodes far from neutral; a look may
    act on some hues only.
    """
    enough = PART_BETTER * _error(fits)
    trials = _trials(ground, among, fits)
    best = min(trials, key=lambda each: each.error)
    is_better = best.error < enough
    # A fit that explains all nodes is preferred to one that explains a part equally well.
    most = min(enough, AS_WELL * best.error)
    packed: list[CurveFit] = []
    # Where some hues are explained, a look acts on the others, not a compression.
    if best.near or not is_better:
        began = [*(fit for each in trials for fit in each.fits[:COMPRESSED]), *fits]
        packed = _packed(ground, among, began, _error(fits))
    if best.near and is_better and _error(packed) >= most:
        packed = _packed_with_pair(ground, among, best.fits[0], most)
    if _error(packed) < most:
        return packed, ground
    return (best.fits, best.ground) if is_better else (fits, ground)


def _trials(ground: CurveGround, among: Among, fits: list[CurveFit]) -> list[_PartFits]:
    """The fits repeated on the nodes near neutral, and new fits on parts that remain uncertain."""
    inner = ground.near(INNER)
    trials = [_PartFits(_settled(inner, among, fits), inner, near=True)]
    tell = False
    if trials[0].error > EXPLAINED:
        hues, window, tell = _by_hues(ground, among)
        trials.append(_PartFits(hues, window, near=False))
    if not tell and not _is_sure(trials[0].fits):
        trials.append(_PartFits(_near_neutral(inner, among), inner, near=True))
    return trials


def _error(fits: Sequence[CurveFit]) -> float:
    """The error of the first of some fits; infinite where there is none."""
    return fits[0].error if fits else float(np.inf)


def _is_sure(fits: Sequence[CurveFit]) -> bool:
    """Whether the first fit leaves only noise, or almost nothing and the others clearly more."""
    if not fits:
        return False
    if fits[0].error > EXPLAINED:
        return fits[0].is_noise
    return len(fits) < 2 or fits[1].error > ALONE * fits[0].error


def _by_hues(ground: CurveGround, among: Among) -> tuple[list[CurveFit], CurveGround, bool]:
    """Fits on the hues where first fits without mixing are best, if those are good enough.

    Also their nodes, and whether they are so good that no other part needs a trial.
    """
    windows = [ground.only(rows) for rows in hue_windows(ground.outputs)]
    seen = [(screen_plainly(window, among.samples, among.ends), window) for window in windows]
    began = [(min(s.error for s in found if s), found, w) for found, w in seen if any(found)]
    error, starts, window = min(began, key=lambda each: each[0], default=(np.inf, [], ground))
    if error > HUES_WITHIN:
        return [], window, False
    fits = race(window, among.samples, among.ends, starts, PART_HEATS)
    return fits, window, error <= HUES_TELL


def _near_neutral(inner: CurveGround, among: Among) -> list[CurveFit]:
    """Fits on the nodes near neutral, if first fits there are far better than on all nodes."""
    starts = screen(inner, among.samples, among.ends)
    if _least(starts) > START_BETTER * _least(among.starts):
        return []
    return race(inner, among.samples, among.ends, starts, PART_HEATS)


def _least(starts: Sequence[Start | None]) -> float:
    return min((each.error for each in starts if each), default=np.inf)


def _packed(
    ground: CurveGround, among: Among, fits: list[CurveFit], unpacked: float
) -> list[CurveFit]:
    """Fits with the reference gamut compression, from those without and the best first fits.

    None where the first steps are not better than the error of those without, `unpacked`.
    """
    form = CurveForm(ground.tinted, compression=COMPRESSION)
    order = sorted((each.error, i) for i, each in enumerate(among.starts) if each)[:PACKED]
    # One of each source, the first of them.
    began = [replace(fit, form=form) for fit in {f.source: f for f in reversed(fits)}.values()]
    for _, i in order:
        first = among.starts[i]
        assert first is not None
        began.append(started(ground, form, i, first.matrix, first.mixing))
    field = _settled(ground.thinned(PACKED_ROWS), among, began, 2)[:COMPRESSED]
    if not field or field[0].error > PACKED_BETTER * unpacked:
        return []
    return _settled(ground, among, field, PACKED)


def with_pair(ground: CurveGround, among: Among, fits: list[CurveFit]) -> list[CurveFit]:
    """Better fits from all sources with the likeliest pair of gamuts, where none fits its own."""
    tried = [(match_free(fit, among.bank), fit) for fit in fits[:MATCHED]]
    if not tried:
        return []
    errors, best = min(tried, key=lambda each: float(each[0].min()))
    if errors.min() <= PAIR_OFF * best.error + PAIR_CODES:
        return []
    rows = _rows_of(among.bank, errors)
    held = _raced(ground, among, best.form, rows, best.mixing)
    held = [fit for fit in held if fit.error < errors.min()]
    free = _freed(ground, among, held, best.form, STEPS)
    return [fit for fit in free if fit.error < best.error]


def _packed_with_pair(
    ground: CurveGround, among: Among, near: CurveFit, most: float
) -> list[CurveFit]:
    """Fits with the reference gamut compression, from all sources with the pair of gamuts of a fit.

    That fit is one of nodes `near` neutral, where compression does nothing. None where the best
    leaves more than `most` times a few before it is set free.
    """
    errors = match_free(near, among.bank)
    if errors.min() > PAIR_OFF * near.error + PAIR_CODES:
        return []
    form = CurveForm(ground.tinted, compression=COMPRESSION)
    rows = _rows_of(among.bank, errors)
    held = _raced(ground, among, form, rows, near.mixing)
    if not held or held[0].error > HELD_MOST * most:
        return []
    return _freed(ground, among, held, form, PACKED)


def _rows_of(bank: GamutBank, errors: Array) -> Array:
    """The matrix of the pair with the least error, its rows brought to sum one."""
    rows = bank.pair(int(errors.argmin())).matrix
    return np.asarray(rows / rows.sum(axis=1, keepdims=True))


def _raced(
    ground: CurveGround, among: Among, form: CurveForm, matrix: Array, mixing: Array
) -> list[CurveFit]:
    """Fits of a form, held to a matrix, of all sources that have a first fit; best first."""
    held = replace(form, held=True)
    order = sorted((each.error, i) for i, each in enumerate(among.starts) if each)
    fits = [started(ground, held, i, matrix, mixing) for _, i in order]
    for count, steps, rows in PAIR_HEATS:
        fits = _settled(ground.thinned(rows), among, fits[:count], steps)
    return fits


def _freed(
    ground: CurveGround, among: Among, held: list[CurveFit], form: CurveForm, steps: int
) -> list[CurveFit]:
    """The fits with their matrices freed, without those for which no step was possible."""
    free = [replace(fit, form=form) for fit in held]
    settled = _settled(ground, among, free, steps)
    return [fit for fit in settled if fit.normal is not None]


def _settled(
    ground: CurveGround, among: Among, fits: list[CurveFit], steps: int = STEPS
) -> list[CurveFit]:
    """The fits after a number of steps, without those that failed; best first."""
    found = settle_all(ground, among.samples, among.ends, fits, steps)
    return sorted((fit for fit in found if fit.knots is not None), key=lambda fit: fit.error)
