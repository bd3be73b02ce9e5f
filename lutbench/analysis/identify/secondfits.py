"""Free fits that come second: on a part of the nodes, with a compression, with one pair of gamuts.

A race of first fits goes astray where a look acts on some hues, where gamut compression
or clipping before a look moves the nodes far from neutral, or where another source fits
almost as well at its start.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lutbench.analysis.identify.curvebank import End
from lutbench.analysis.identify.freeform import (
    PART_HEATS,
    Form,
    FreeFit,
    match_free,
    race,
    settle_all,
    started,
)
from lutbench.analysis.identify.gamutbank import GamutBank
from lutbench.analysis.identify.ground import ROWS, Ground, Start, screen, screen_plainly
from lutbench.analysis.identify.hues import hue_windows
from lutbench.analysis.identify.samples import Samples
from lutbench.model.tone import GamutCompression

COMPRESSION = GamutCompression()
COMPRESSED, PACKED, AS_WELL = 4, 8, 1.5
"""Fits with a compression that are followed, what goes into them, and what they may cost."""

PACKED_ROWS = 400
"""Nodes that choose those that are followed."""

PACKED_BETTER = 0.8
"""The first steps with a compression must leave less than this share of what fits without leave."""

INNER, EXPLAINED = 0.12, 0.01
"""How near neutral a part of the nodes is, and codes: where no more is left there, hues need no
trial.
"""

PART_BETTER = 0.4
"""A part of the nodes counts where its error is under this share of that on all."""

PAIR_OFF, PAIR_CODES, MATCHED = 1.5, 0.02, 3
"""Where the likeliest pair of gamuts leaves more than this many times what a fit leaves, and
codes, another source may fit it better; fits whose pairs are looked at.
"""

PAIR_HEATS = ((240, 1, 150), (14, 2, 450), (4, 3, ROWS))
"""The race of sources with one pair of gamuts, as the other heats: the best first fits go in."""


def by_part(
    ground: Ground,
    samples: Samples,
    ends: list[End],
    fits: list[FreeFit],
    starts: Sequence[Start | None],
) -> tuple[list[FreeFit], Ground]:
    """Fits on a part of the nodes, where those are far better: near neutral, or of some hues.

    A compressed gamut, and what is clipped before a look, shows far from
    neutral; a look may act on some hues alone.
    """
    inner = ground.near(INNER)
    trials = [(race(inner, samples, ends, screen(inner, samples, ends), PART_HEATS), inner)]
    near = settle_all(inner, samples, ends, fits)
    trials.append((sorted((f for f in near if f.knots is not None), key=lambda f: f.error), inner))
    least = min((trial[0].error for trial, _ in trials if trial), default=np.inf)
    if least > EXPLAINED:
        windows = [ground.only(rows) for rows in hue_windows(ground.outputs)]
        seen = [(screen_plainly(window, samples, ends), window) for window in windows]
        seen = [(s, w) for s, w in seen if any(s)]
        if seen:
            found, window = min(seen, key=lambda each: min(s.error for s in each[0] if s))
            trials.append((race(window, samples, ends, found, PART_HEATS), window))
    whole, whole_fits = ground, fits
    most = PART_BETTER * fits[0].error if fits else np.inf
    better = [(trial, part) for trial, part in trials if trial and trial[0].error < most]
    if better:
        fits, ground = min(better, key=lambda each: each[0][0].error)
    began = [*(f for trial, _ in trials for f in trial[:COMPRESSED]), *whole_fits]
    unpacked = whole_fits[0].error if whole_fits else np.inf
    packed = _packed(whole, samples, ends, began, starts, unpacked)
    far_better = packed and (not whole_fits or packed[0].error < PART_BETTER * whole_fits[0].error)
    # What explains all of the nodes goes before what explains a part as well.
    if far_better and packed[0].error < AS_WELL * fits[0].error:
        fits, ground = packed, whole
    return fits, ground


def _packed(
    ground: Ground,
    samples: Samples,
    ends: list[End],
    fits: list[FreeFit],
    starts: Sequence[Start | None],
    unpacked: float,
) -> list[FreeFit]:
    """Fits with the reference gamut compression, from those without and the best first fits.

    None where the first steps are not better than the error of those without, `unpacked`.
    """
    form = Form(ground.tinted, compression=COMPRESSION)
    order = sorted((each.error, i) for i, each in enumerate(starts) if each)[:PACKED]
    # One of each source, the first of them.
    began = [replace(fit, form=form) for fit in {f.source: f for f in reversed(fits)}.values()]
    for _, i in order:
        first = starts[i]
        assert first is not None
        began.append(started(ground, form, i, first.matrix, first.mixing))
    field = settle_all(ground.thinned(PACKED_ROWS), samples, ends, began, 2)
    field = sorted((f for f in field if f.knots is not None), key=lambda f: f.error)[:COMPRESSED]
    if not field or field[0].error > PACKED_BETTER * unpacked:
        return []
    field = settle_all(ground, samples, ends, field, PACKED)
    return sorted((f for f in field if f.knots is not None), key=lambda f: f.error)


def with_pair(
    ground: Ground,
    samples: Samples,
    ends: list[End],
    fits: list[FreeFit],
    starts: Sequence[Start | None],
    bank: GamutBank,
) -> list[FreeFit]:
    """Better fits from all sources with the likeliest pair of gamuts, where none fits its own."""
    tried = [(match_free(fit, bank), fit) for fit in fits[:MATCHED]]
    if not tried:
        return []
    errors, best = min(tried, key=lambda each: float(each[0].min()))
    if errors.min() <= PAIR_OFF * best.error + PAIR_CODES:
        return []
    rows = bank.pair(int(errors.argmin())).matrix
    rows = rows / rows.sum(axis=1, keepdims=True)
    form = replace(best.form, held=rows)
    order = sorted((start.error, i) for i, start in enumerate(starts) if start)
    began = [started(ground, form, i, rows, best.mixing) for _, i in order]
    for count, steps, size in PAIR_HEATS:
        began = sorted(began, key=lambda fit: fit.error)[:count]
        began = settle_all(ground.thinned(size), samples, ends, began, steps)
    held = [fit for fit in began if fit.knots is not None and fit.error < errors.min()]
    free = [replace(fit, form=best.form, settled=False) for fit in held]
    free = [f for f in settle_all(ground, samples, ends, free) if f.knots is not None]
    return sorted((f for f in free if f.error < best.error), key=lambda f: f.error)
