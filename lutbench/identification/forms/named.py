"""From a free fit to hypotheses with names: the pair of gamuts, and the target in the curve."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import ROWS, STEP
from lutbench.identification.curvebank import End, scale_of
from lutbench.identification.forms.fits import FreeFit
from lutbench.identification.forms.free import (
    evenly,
    free_of,
    gained,
    gains_of,
    moved,
    rows_to_one,
)
from lutbench.identification.forms.looks import NUMBERS, LookModel, SmoothLook
from lutbench.identification.forms.nodes import together
from lutbench.identification.forms.score import INDEPENDENT, nats_of
from lutbench.identification.freecurve import FreeCurve, TargetFit
from lutbench.identification.gamutbank import GamutBank, Pair
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.lightsteps import LumaTint
from lutbench.identification.naming import (
    MODEL_LEAVES,
    NOISE_LEAVES,
    NOTHING,
    Beside,
    hypothesis_of,
    targets_of,
)
from lutbench.identification.ordering import best_first
from lutbench.identification.plausible import SHOWN_IN
from lutbench.identification.rising import rising_run
from lutbench.identification.target import GUESSED, fit_targets
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.grade import CDL_WEIGHTS, Cdl, Saturation
from lutbench.model.transforms import Array, Matrix, Transform

PAIRS = 3
"""Pairs of gamuts that are followed."""

TARGETS = 3
"""Targets of each pair that are followed."""

SAME_RISE = 1e-6
"""The share by which an exposure may change the signal of light of different brightness, where it
is a factor: the arithmetic error of a power.
"""

INSET_PAIRS = 5
"""Pairs that are tried with a matrix before the tone curve as well."""

SATURATED = 2
"""Pairs that are tried with a saturation in light."""

AMOUNTS = (0.3, 2.5)
"""The least and the most saturation in light: outside it a picture is hardly recognised."""

LEAST_AMOUNT = 0.005
"""The change of saturation up to which it is none: it would be told as 1.00."""

FREED = 0.5 * np.log(INDEPENDENT) + 3.0
"""Nats that a saturation costs: a number that is free, and a part that few LUTs have."""

SETTLES = 3
"""Steps of the fit of the second matrix when the first is fixed."""

UNSEEN = 1e3
"""10-bit codes of error of a node without prediction."""

TINTED = 1.5
"""10-bit codes, root mean square, of tint from which the neutral axis may show gains."""

LEAST_GAIN = 0.005
"""The natural logarithm up to which a gain is none."""

MIXES = 0.004
"""The largest difference from the identity of a matrix that counts as no mixing."""

WHOLE = 0.97
"""The share of the curve from which a target in the light of its display needs no tone curve."""

Gains = tuple[float, float, float]


@dataclass(frozen=True)
class Named:
    """A pair of gamuts for a free fit, the other contents of its matrices, and the errors.

    `nats` are those of `score`, `error` is the typical error in codes, of the fit's own curve.
    """

    pair: Pair
    mixing: Array
    nats: float
    error: float
    gains: Gains | None = None
    inset: Matrix | None = None


def hypotheses_of(fit: FreeFit, knowledge: Knowledge) -> list[tuple[Hypothesis, float, Named]]:
    """The likeliest names for a free fit, each with the cost of its curve; best pairs first."""
    nodes, bank = _FitNodes(fit), knowledge.bank
    pulls = _pulls(nodes)
    ways = (_luminances,) if fit.samples.grey and not fit.form.mono else (_pairs, _saturated)
    named = [one for way in ways for one in way(nodes, bank, pulls)]
    if fit.form.display is not None and fit.form.mixed:
        named += _inset(nodes, bank)
    best: dict[tuple[str, str], Named] = {}
    for one in sorted(named, key=lambda one: one.nats):
        best.setdefault((one.pair.source.name, one.pair.target.name), one)
    kept = list(best.values())[:PAIRS]
    return [each for one in kept for each in _with_targets(fit, one, knowledge)]


class _FitNodes:
    """Some nodes of a free fit, and the error of any matrices there."""

    def __init__(self, fit: FreeFit) -> None:
        self.fit = fit
        self.model = fit.form.model(fit.ground.thinned(ROWS), [fit.source])

    def misses(self, several: Sequence[tuple[Array, Array]]) -> Array:
        """The errors of k matrices in codes, (k, n, 3); large for nodes without prediction."""
        model = replace(self.model, lights=together([self.model.lights] * len(several)))
        off = model.misses(*(np.array(each) for each in zip(*several, strict=True)))
        return np.asarray(np.nan_to_num(off, nan=UNSEEN))

    def named(
        self, pair: Pair, matrix: Array, mixing: Array, **more: Gains | Matrix | None
    ) -> Named:
        """The pair with what it leaves."""
        off = self.misses([(matrix, mixing)])
        nats = float(nats_of(off.reshape(1, -1), 0.05)[0])
        return Named(pair, mixing, nats, float(evenly(off)[0]), **more)  # type: ignore[arg-type]

    def weight(self, misses: Array) -> Array:
        """How much each node counts, (n, 1)."""
        size = np.abs(misses).max(axis=1)
        soft = 1 / np.hypot(1, size / (2 * self.fit.error + 0.02))
        return np.where(size >= UNSEEN / 2, 0.0, soft)[:, None]

    def slopes(self, matrices: Callable[[Array], tuple[Array, Array]], count: int) -> Array:
        """What each of `count` numbers does to the misses, (3n, count), and those, weighed."""
        start = matrices(np.zeros(count))
        # What the numbers of a look do is known without a trial.
        moves = STEP * np.eye(count)[: count - NUMBERS * isinstance(self.model, LookModel)]
        plain, *others = self.misses([start, *(matrices(each) for each in moves)])
        weight = self.weight(plain)
        columns = [plain, *((plain - each) / STEP for each in others)]
        slopes = np.stack([(each * weight).ravel() for each in columns], axis=1)
        if isinstance(self.model, LookModel):
            look = np.nan_to_num(self.model.slopes(start[0])) * weight[..., None]
            slopes = np.concatenate([slopes, look.reshape(-1, NUMBERS)], axis=1)
        return slopes

    def settled(self, matrix_of: Callable[[Array], Array], mixing: Array) -> Array:
        """The Q with the least error, with an M that depends on it."""
        form = self.fit.form
        # A look is linear in its numbers.
        for _ in range(1 if form.look else SETTLES):

            def both(step: Array, start: Array = mixing) -> tuple[Array, Array]:
                q = form.changed(start, step)
                return matrix_of(q), q

            told = self.slopes(both, form.extra)
            step = np.asarray(
                np.linalg.lstsq(told[:, 1:], told[:, 0], rcond=1e-6 if form.look else 1e-8)[0],
                float,
            )
            mixing = form.changed(mixing, step if form.look else np.clip(step, -0.2, 0.2))
        return mixing


def _each_once(order: NDArray[np.int64], bank: GamutBank, most: int) -> Iterator[tuple[int, Pair]]:
    """The first pairs of an order, two gamuts once whatever their adaptation."""
    seen: set[tuple[str, str]] = set()
    for index in order:
        pair = bank.pair(int(index))
        if (pair.source.name, pair.target.name) not in seen:
            if len(seen) == most:
                return
            seen.add((pair.source.name, pair.target.name))
            yield int(index), pair


def _inset(nodes: _FitNodes, bank: GamutBank) -> Iterator[Named]:
    """Pairs of gamuts with a matrix before the tone curve that the one after it undoes."""
    fit = nodes.fit
    apart = np.abs(rows_to_one(bank.matrices) - fit.mixing @ fit.matrix).sum(axis=(1, 2))
    for _, pair in _each_once(best_first(apart), bank, INSET_PAIRS):
        plain = rows_to_one(pair.matrix)

        def before(mixing: Array, plain: Array = plain) -> Array:
            return np.asarray(np.linalg.solve(mixing, plain))

        mixing = nodes.settled(before, fit.mixing)
        inset = Matrix.from_array(np.linalg.inv(mixing))
        yield nodes.named(pair, before(mixing), mixing, inset=inset)


Pulls = tuple[Array, Array]
"""What a change of the free numbers of M costs when Q follows: a form of squares, and a slope."""


def _pulls(nodes: _FitNodes) -> Pulls:
    """Of the M of a free fit."""
    fit = nodes.fit

    def both(step: Array) -> tuple[Array, Array]:
        return moved(fit.matrix, step[:6]), fit.form.changed(fit.mixing, step[6:])

    told = nodes.slopes(both, 6 + fit.form.extra)
    off, a, q = told[:, 0], told[:, 1:7], told[:, 7:]
    if q.shape[1]:
        # What Q can make good says nothing against a pair.
        back = np.linalg.pinv(q, rcond=1e-5 if fit.form.look else 1e-15)
        a, off = a - q @ (back @ a), off - q @ (back @ off)
    return a.T @ a, a.T @ off


def _saturated(nodes: _FitNodes, bank: GamutBank, pulls: Pulls) -> Iterator[Named]:
    """The pairs nearest to M with a saturation in the light of their target, which is linear."""
    fit, (normal, right) = nodes.fit, pulls
    if fit.form.norm or fit.form.mixed or fit.form.look or fit.form.mono:
        return  # Q, or a look, has a saturation already
    plain = rows_to_one(bank.matrices)
    luma = (bank.target_weights[:, None, :] @ plain).repeat(3, axis=1)
    move, rest = free_of(plain) - free_of(luma), free_of(luma) - free_of(fit.matrix)
    pulled = move @ normal
    size = np.maximum(np.einsum("ij,ij->i", pulled, move), 1e-12)
    amount = (move @ right - np.einsum("ij,ij->i", pulled, rest)) / size
    told = (amount > AMOUNTS[0]) & (amount < AMOUNTS[1]) & (np.abs(amount - 1) > LEAST_AMOUNT)
    apart = rest + amount[:, None] * move
    extra = np.einsum("ij,jk,ik->i", apart, normal, apart) - 2 * apart @ right
    for index, pair in _each_once(best_first(np.where(told, extra, np.inf)), bank, SATURATED):
        weights = np.outer(np.ones(3), bank.target_weights[index])
        inset = weights + amount[index] * (np.eye(3) - weights)
        made = nodes.named(pair, inset @ plain[index], fit.mixing, inset=Matrix.from_array(inset))
        yield replace(made, nats=made.nats + FREED)


def _luminances(nodes: _FitNodes, bank: GamutBank, pulls: Pulls) -> Iterator[Named]:
    """The sources whose luminance alone is nearest to M; it is the same in any target."""
    fit, (normal, right) = nodes.fit, pulls
    plain = rows_to_one(bank.matrices)
    luma = (bank.target_weights[:, None, :] @ plain).repeat(3, axis=1)
    apart = free_of(luma) - free_of(fit.matrix)
    extra = np.einsum("ij,jk,ik->i", apart, normal, apart) - 2 * apart @ right
    usual = np.array([each.name == SHOWN_IN[0] for each in bank.gamuts])[bank.targets]
    for index, pair in _each_once(best_first(np.where(usual, extra, np.inf)), bank, PAIRS):
        inset = Matrix.from_array(np.outer(np.ones(3), bank.target_weights[index]))
        yield nodes.named(pair, luma[index], fit.mixing, inset=inset)


def _pairs(nodes: _FitNodes, bank: GamutBank, pulls: Pulls) -> Iterator[Named]:
    """The pairs of gamuts nearest to M, each with gains of the channels and the Q it leaves."""
    fit, (normal, right) = nodes.fit, pulls
    plain = rows_to_one(bank.matrices)
    gains = np.zeros((len(plain), 2))
    tint = fit.form.after is not None and isinstance(fit.form.after.step, LumaTint)
    if fit.ground.tinted > TINTED and not tint:
        gains = gains_of(plain, fit.matrix, normal, right)
    apart = free_of(gained(plain, gains)) - free_of(fit.matrix)
    extra = np.einsum("ij,jk,ik->i", apart, normal, apart) - 2 * apart @ right
    for index, pair in _each_once(best_first(extra), bank, PAIRS):
        red, blue = np.exp(gains[index])
        is_gained = bool(np.abs(gains[index]).max() > LEAST_GAIN)
        own = (float(red), 1.0, float(blue)) if is_gained else None
        matrix = rows_to_one(pair.matrix * np.array(own or (1.0, 1.0, 1.0)))
        mixing = fit.mixing
        if fit.form.extra:

            def held(_: Array, matrix: Array = matrix) -> Array:
                return matrix

            mixing = nodes.settled(held, mixing)
        yield nodes.named(pair, matrix, mixing, gains=own)


def _with_targets(
    fit: FreeFit, named: Named, knowledge: Knowledge
) -> list[tuple[Hypothesis, float, Named]]:
    """Hypotheses of a pair of gamuts with the targets that the curve holds."""
    samples, source = fit.samples, fit.source.end
    run = rising_run(samples)
    if run is None:
        return []
    light = np.asarray(source.decode(samples.neutral_in[run]))
    if fit.source.rendering is not None:
        light = fit.source.rendering.apply(np.repeat(light[:, None], 3, axis=1))[:, 0]
    output = samples.neutral[run]
    if fit.form.after is not None:
        output = fit.form.after.greys(output)
    if not fit.form.look:
        output = _unmixed(output, named.mixing, fit.form.display)
    if named.gains is not None:
        light, output = _together(light, output, named.pair.matrix @ np.array(named.gains))
    curve = FreeCurve.of(light, output, fit.error)
    told = _targets(fit, named, curve, knowledge)
    grade = () if fit.form.look else grade_of(named.mixing, fit.form.display)
    if fit.form.after is not None:
        grade = (*grade, fit.form.after.step)
    found = []
    for each in told[:TARGETS] or [NOTHING]:
        made = hypothesis_of(source, each, knowledge, curve, grade, samples)
        if made is not None:
            made = replace(
                made,
                pair=named.pair,
                gains=named.gains,
                inset=named.inset,
                rendering=fit.source.rendering,
                compression=fit.compression(made.stops),
                norm=fit.form.norm,
            )
            if fit.form.look:
                low, span = scale_of(made.target.range)
                look = SmoothLook(tuple(map(float, named.mixing)), low, span)
                made = replace(made, grade=(look, *made.grade))
            found += [(one, each.cost, named) for one in (made, *_unexposed(made))]
    return found


def _unexposed(h: Hypothesis) -> list[Hypothesis]:
    """The same without its exposure, where the slopes of its CDL can have it as well.

    They can in a display's power curve, unless the clipping between them tells which it is.
    """
    if not (h.stops and isinstance(h.target, End) and h.grade and isinstance(h.grade[0], Cdl)):
        return []
    light = np.array([0.02, 0.2, 0.7])
    rise = h.target.encode(light * 2.0**h.stops) / h.target.encode(light)
    if np.ptp(rise) > SAME_RISE:
        return []
    cdl = h.grade[0]
    red, green, blue = (float(rise[0]) * each for each in cdl.slope)
    cdl = replace(cdl, slope=(red, green, blue))
    return [replace(h, stops=0.0, grade=(cdl, *h.grade[1:]))]


def _targets(fit: FreeFit, named: Named, curve: FreeCurve, knowledge: Knowledge) -> list[TargetFit]:
    """The targets that the curve of a fit may hold: the display's own, where one is told."""
    display, source = fit.form.display, fit.source.end
    if display is None:
        beside = Beside(source, named.pair, fit.samples)
        return targets_of(curve, knowledge, beside, fit.error)
    place = knowledge.targets.index(display)
    limit = max(MODEL_LEAVES, NOISE_LEAVES * fit.error)
    for each in fit_targets(curve, [display], limit):
        if each.model != "smooth" and each.error <= limit and each.share > WHOLE:
            return [replace(each, target=place)]
    return [TargetFit(place, "smooth", 0.0, 0.0, 1.0, None, GUESSED)]


def _together(light: Array, output: Array, gains: Array) -> tuple[Array, Array]:
    """One curve of channels that differ by gains of light: light and output, both rising."""
    lights, values = np.outer(light, gains).ravel(), output.ravel()
    order = np.argsort(lights, kind="stable")
    rising = np.maximum.accumulate(values[order])
    return lights[order], np.repeat(rising[:, None], 3, axis=1)


def _unmixed(neutral: Array, mixing: Array, display: End | None) -> Array:
    """The neutral axis before Q."""
    if np.abs(mixing - np.eye(3)).max() < MIXES or np.ptp(mixing, axis=0).max() < MIXES:
        return neutral  # nothing is mixed, or greys are luma already
    back = np.linalg.inv(mixing)
    if display is None:
        return neutral @ back.T
    return display.encode(display.decode(neutral) @ back.T)


def grade_of(mixing: Array, display: End | None) -> tuple[Transform, ...]:
    """Q as steps on the signal: nothing, a saturation, a matrix, in light between two curves."""
    if np.abs(mixing - np.eye(3)).max() < MIXES:
        return ()
    weights = np.outer(np.ones(3), CDL_WEIGHTS)
    plain = np.eye(3) - weights
    amount = float(((mixing - weights) * plain).sum() / (plain**2).sum())
    step: Transform = Matrix.from_array(mixing)
    if 0 <= amount <= 20 and np.abs(weights + amount * plain - mixing).max() < MIXES:
        step = Saturation(amount)
    if display is None:
        return (step,)
    curve = display.curve.curve
    return (Decode(curve), step, Encode(curve))
