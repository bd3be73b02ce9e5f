"""The target's curve inside the free curve of a fit: plain, under a CDL, a contrast, a tone curve.

The free curve maps the source's signal u to the output v before channels are mixed. For a
target T and exposure k it is compared with

- ``plain``: v = T(k·f(u));
- ``tone``: the same over a stretch only, where a tone curve is still straight;
- ``cdl``: v = (slope·T + offset)^power in each channel;
- ``contrast``: v = a cubic of T;
- ``logistic``: v = T(x^n / (x^n + h^n)) with x = f(u);
- ``smooth``: v = T(s(f(u))) with s any smooth tone curve; a guess, no more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.identification.common import DARK, GREYS
from lutbench.identification.curvebank import End, LightTables
from lutbench.identification.freecurve import (
    FEWEST,
    UNEXPLAINED,
    FreeCurve,
    TargetFit,
    cost_of,
    weighed,
)
from lutbench.identification.graded import Problems, fit_cdl, fit_contrast
from lutbench.identification.samples import CODES
from lutbench.model.curves.base import MID_GREY
from lutbench.model.transforms import Array

FOLLOWS = 0.6
"""10-bit codes within which the points of a stretch follow a target: a code of rounding."""

FOLLOWS_STEPS = 1.1
"""Steps of a rounded table within which they do, if those are coarser."""

GUESSED = 60.0
"""The additional cost of a guess."""

LOGISTIC = 10.0
"""The additional cost of a logistic tone curve."""

LOGISTIC_WITHIN = 1.0
"""10-bit codes of error up to which a logistic tone curve is tried."""

FULL = -1e-3
"""The logarithm of light out from which its logit is unknown."""

HELD = 1.01
"""A CDL holds its output to signal 1 (ASC CDL), so one that goes over this comes of none."""


def fit_targets(
    curve: FreeCurve,
    targets: Sequence[End],
    plain_limit: float,
    step: float = 0.0,
    source: End | None = None,
) -> list[TargetFit]:
    """Fits of every target and model that come near, best first.

    Where a target explains the curve plainly within `plain_limit` codes, the
    models with more freedom are not tried. `step` is that of a rounded table. The curve
    of the `source` itself is kept even where many others are as close.
    """
    if not targets:
        return []
    through = Through.of(curve.output, targets, step)
    fits = through.fits(curve.light, curve.tinted)
    plain = {fit.target: fit for fit in fits if fit.model == "plain"}
    if not any(fit.error <= plain_limit for fit in plain.values()):
        chosen = np.array(sorted(plain), dtype=np.int64)
        problems = Problems.of(np.repeat(curve.light[None], len(chosen), 0), curve, targets, chosen)
        own = [j for j in sorted(plain) if source and targets[j].number == source.number]
        fits += fit_contrast(problems, own)
        held = np.flatnonzero(problems.wanted.max(axis=(1, 2)) <= HELD)
        if len(held):
            begin = np.array([plain[j].stops for j in chosen])
            fits += fit_cdl(problems.only(held), begin[held])
        fits += through.smooth(curve.light, targets)
        if not curve.tinted:
            fits += through.logistic(curve.light[None], targets)
    return sorted(weighed(fits, curve.noise), key=lambda fit: fit.cost)


@dataclass(frozen=True)
class Through:
    """An output seen through every target: log light and codes per log light, (j, n, 3)."""

    log_light: Array
    weight: Array
    follows: tuple[float, ...] = (FOLLOWS,)

    @classmethod
    def of(cls, output: Array, targets: Sequence[End], step: float = 0.0) -> Through:
        """The output, shape (n, 3), decoded by every target."""
        tables = LightTables.of(targets)
        light, rise = tables.of_own(tables.shared(output))
        with np.errstate(all="ignore"):
            weight = light / rise * CODES
        fine = np.isfinite(weight) & (weight > 0) & (light > DARK)
        coarse = FOLLOWS_STEPS * step * CODES
        follows = (FOLLOWS, coarse) if coarse > FOLLOWS else (FOLLOWS,)
        return cls(np.log(np.where(fine, light, 1.0)), np.where(fine, weight, 0.0), follows)

    def fits(self, light: Array, tinted: bool) -> list[TargetFit]:
        """The ``plain`` fits, and where the channels are one the ``tone`` fits."""
        seen = (light > DARK) & np.isfinite(light)
        weight = self.weight * seen[:, None]
        off = np.where(weight > 0, self.log_light - np.log(np.where(seen, light, 1.0))[:, None], 0)
        fine = weight > 0
        enough = fine.mean(axis=(1, 2)) >= 0.3
        total = np.maximum((weight**2).sum(axis=(1, 2)), 1e-12)
        mean = (weight**2 * off).sum(axis=(1, 2)) / total
        miss = (weight * (off - mean[:, None, None])) ** 2
        error = np.sqrt(miss.sum(axis=(1, 2)) / np.maximum(fine.sum(axis=(1, 2)), 1))
        cost = cost_of(error, 1)
        found = [
            TargetFit(int(j), "plain", mean[j] / np.log(2), error[j], 1.0, None, cost[j])
            for j in np.flatnonzero(enough)
        ]
        if not tinted:
            for within in self.follows:
                found += self._stretches(
                    off.mean(axis=2), weight.mean(axis=2), np.asarray(fine.all(axis=2)), within
                )
        return found

    def smooth(self, light: Array, targets: Sequence[End]) -> list[TargetFit]:
        """The ``smooth`` fits of the targets that pictures are made for.

        Of light out its logarithm, or its logit, is a cubic of log light in.
        """
        seen = light > DARK
        log_in = np.log(np.where(seen, light, 1.0))
        scale = max(float(np.ptp(log_in[seen])), 1e-6) if seen.any() else 1.0
        x = (log_in - log_in[seen].mean()) / scale if seen.any() else log_in
        powers = x[:, None] ** np.arange(4)
        found = []
        for j, end in enumerate(targets):
            if not end.curve.curve.shown:
                continue
            weight = self.weight[j].mean(axis=1) * seen
            fine = (weight > 0) & (self.weight[j] > 0).all(axis=1)
            if fine.sum() < FEWEST:
                continue
            log_out = self.log_light[j].mean(axis=1)
            best = np.inf
            for logit in (False, True):
                y, w = log_out, weight
                if logit:
                    if log_out[fine].max() >= -1e-3:
                        continue
                    rest = np.where(fine, -np.expm1(np.minimum(log_out, -1e-3)), 1.0)
                    y, w = log_out - np.log(rest), weight * rest
                a = powers[fine] * w[fine, None]
                solved = np.linalg.lstsq(a, y[fine] * w[fine], rcond=None)[0]
                miss = a @ solved - y[fine] * w[fine]
                best = min(best, float(np.sqrt(np.mean(miss**2))))
            grey = float(np.interp(np.log(MID_GREY), log_in[fine], log_out[fine]))
            stops = (grey - np.log(MID_GREY)) / np.log(2)
            cost = float(cost_of(np.array(best), 5)) + GUESSED
            found.append(TargetFit(j, "smooth", stops, best, 1.0, None, cost))
        return found

    def logistic(self, lights: Array, targets: Sequence[End]) -> list[TargetFit]:
        """The ``logistic`` fits of lights in, shape (s, n), to the curves pictures are made for.

        Light out x^n / (x^n + h^n), the S of film in log light (Naka and Rushton,
        1966), has a logit that is straight in log light. The source is the `group`.
        """
        places = [j for j, end in enumerate(targets) if end.curve.curve.shown]
        if not places:
            return []
        seen = lights > DARK
        x = np.log(np.where(seen, lights, 1.0))
        log_out = self.log_light[places].mean(axis=2)
        fine = (self.weight[places] > 0).all(axis=2) & (log_out < FULL)
        rest = -np.expm1(np.where(fine, log_out, -1.0))
        y = np.where(fine, log_out - np.log(rest), 0.0)
        w2 = np.where(fine, self.weight[places].mean(axis=2) * rest, 0.0) ** 2
        s0, sx, sxx = (each @ w2.T for each in (seen * 1.0, seen * x, seen * x * x))
        sy, syy, sxy = seen @ (w2 * y).T, seen @ (w2 * y * y).T, (seen * x) @ (w2 * y).T
        count = seen.astype(float) @ fine.T.astype(float)
        least = max(FEWEST, 0.5 * lights.shape[1])
        with np.errstate(all="ignore"):
            slope = (s0 * sxy - sx * sy) / (s0 * sxx - sx * sx)
            level = (sy - slope * sx) / s0
            square = syy - level * sy - slope * sxy
            error = np.sqrt(np.maximum(square, 0) / count)
        enough = (count >= least) & np.isfinite(error) & (slope > 0)
        found = []
        for i, k in zip(*np.nonzero(enough & (error < LOGISTIC_WITHIN)), strict=True):
            grey = 1 / (1 + np.exp(-(level[i, k] + slope[i, k] * np.log(MID_GREY))))
            cost = float(cost_of(np.array(error[i, k]), 3)) + LOGISTIC
            stops = float(np.log2(max(grey, 1e-9) / MID_GREY))
            found.append(
                TargetFit(places[k], "logistic", stops, float(error[i, k]), 1.0, None, cost, int(i))
            )
        return found

    def _stretches(
        self, off: Array, weight: Array, fine: NDArray[np.bool_], within: float
    ) -> list[TargetFit]:
        """The longest stretch of each target on which light out keeps one ratio to light in."""
        n = off.shape[1]
        apart = np.abs(off[:, None, :] - off[:, :, None]) * weight[:, None, :]
        # Ordered pairs (from, to): within until the first that is not.
        ends = np.triu(np.ones((n, n), dtype=bool))
        bad = ((apart > within) | ~fine[:, None, :]) & ends
        stop = np.where(bad.any(axis=2), bad.argmax(axis=2), n)
        length = np.maximum(stop - np.arange(n), 0)
        # A stretch of black, where no code changes, says little: what counts is weight.
        sums = np.concatenate([np.zeros((len(off), 1)), np.cumsum(weight, axis=1)], axis=1)
        gained = np.take_along_axis(sums, stop, axis=1) - sums[:, :n]
        gained = np.where(length >= GREYS, gained, 0.0)
        best = gained.argmax(axis=1)
        found = []
        for j in np.flatnonzero(gained.max(axis=1) > 0):
            run = slice(int(best[j]), int(best[j] + length[j, best[j]]))
            w, d = weight[j, run], off[j, run]
            mean = float((w**2 * d).sum() / (w**2).sum())
            error = float(np.sqrt(np.mean((w * (d - mean)) ** 2)))
            share = float(gained[j, best[j]] / max(sums[j, -1], 1e-9))
            share = np.sqrt(share * (run.stop - run.start) / n)
            cost = share * cost_of(np.array(error), 0) + (1 - share) * cost_of(
                np.array(UNEXPLAINED), 0
            )
            found.append(
                TargetFit(
                    int(j), "tone", mean / np.log(2), error, float(share), None, float(cost) + 10
                )
            )
        return found
