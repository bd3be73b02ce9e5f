"""A display model fitted to measurements, and how good it is.

Curves, primaries and black are fitted together to the least difference in L*a*b*
(Gauss–Newton); the curves are smoothed splines of lightness. Cross-validation decides how
smooth they are and whether a residual lattice is used: a model is chosen only if it predicts
patches better that were left out of its fit.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Annotated, Any

import numpy as np

from lutbench.display.additive import fit_additive
from lutbench.display.measurements import Measurements
from lutbench.display.model import LAB_SCALE, DisplayModel
from lutbench.errors import LutbenchError
from lutbench.fitting.scattered import ScatteredFit
from lutbench.measure.delta_e import delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz
from lutbench.measure.difference import Spread
from lutbench.model.transforms import Array, Mask
from lutbench.results import PlainData
from lutbench.tables.lut import Lut3D

FEWEST_PATCHES = 24
"""Patches: enough for three curves and nine numbers of the primaries, and some to validate."""

SMOOTHNESS = tuple(10.0**power for power in (-1, 0, 1, 2))
"""Smoothness of the curves: the values that cross-validation tries."""

FOLDS = 8
"""Parts of the patches for cross-validation; each is left out once."""

RESIDUAL_NODES = 9
"""Nodes along an edge of the residual lattice: 729 in all, about the patches of the long set."""

RESIDUAL_SMOOTHNESS = (1e-4, 1e-5, 1e-6)
"""Smoothness of the residual: the values that cross-validation tries."""

RESIDUAL_REACH_SHARE = 0.5
"""Share of the cube's edge over which the residual fades out where no patch was measured."""

WORTH_SHARE = 0.85
"""A residual is used if it lowers the ΔE 2000 of left-out patches to less than this share, and by
more than two standard errors."""

ODD_MEDIANS = 6.0
"""A patch is named if its ΔE 2000 is over this many times the median, and over `ODD_DELTA_E`."""

ODD_DELTA_E = 1.5
"""ΔE 2000: smaller differences are not worth measuring a patch again."""


OrNull = Annotated[float, float | None]
"""A number that a report has as null where it is not finite."""


@dataclass(frozen=True, eq=False)
class DisplayFit(PlainData):
    """How a measured display behaves."""

    KEYS = (
        *("patches", "coding=measurements.coding", "left_out_patches", "delta_e_2000=spread"),
        *("delta_e_itp=spread_itp", "delta_e_2000_additive=additive_left_out"),
        *("residual=has_residual", "additivity", "drift", "primaries=model.gamut.primaries"),
        *("white=model.gamut.white", "white_luminance", "black_luminance", "notes"),
    )

    model: DisplayModel
    """The display."""
    measurements: Measurements
    """What it was fitted to."""
    left_out: Array
    """XYZ of each patch in cd/m², predicted by a model fitted without it, shape (n, 3). Patches
    that every fit needs (black, white and the full primaries) are predicted by the whole fit."""
    judged: Mask
    """Which patches were really left out, shape (n,)."""
    additive_left_out: OrNull
    """Mean ΔE 2000 of the left-out patches without a residual."""
    notes: tuple[str, ...] = ()
    """Warnings for the user."""

    @cached_property
    def delta_e_2000(self) -> Array:
        """ΔE 2000 of every patch's prediction, shape (n,), relative to the display's own white."""
        return _delta_e(self.left_out, self.measurements.xyz, self.model.white)

    @cached_property
    def delta_e_itp(self) -> Array:
        """ΔE ITP of every patch's prediction, shape (n,)."""
        return delta_e_itp(itp_from_xyz(self.left_out), itp_from_xyz(self.measurements.xyz))

    @property
    def spread(self) -> Spread:
        """Of patches, each predicted from the others."""
        return Spread.of(self.delta_e_2000[self.judged])

    @property
    def spread_itp(self) -> Spread:
        """As `delta_e_2000`, in ΔE ITP."""
        return Spread.of(self.delta_e_itp[self.judged])

    @property
    def patches(self) -> int:
        """The number of readings."""
        return len(self.measurements.names)

    @property
    def left_out_patches(self) -> int:
        """The number of patches that were predicted from the others."""
        return int(self.judged.sum())

    @property
    def has_residual(self) -> bool:
        """Whether the model has a lattice besides its curves and primaries."""
        return self.model.residual is not None

    @property
    def white_luminance(self) -> float:
        """cd/m²."""
        return float(self.model.white[1])

    @property
    def black_luminance(self) -> float:
        """cd/m²."""
        return float(self.model.darkest[1])

    @property
    def additivity(self) -> OrNull:
        """Luminance of red + green + blue over that of white, black subtracted; 1 is additive."""
        read = self.measurements
        black = read.mean(0, 0, 0)
        assert black is not None
        parts = [read.mean(*np.eye(3)[c]) for c in range(3)]
        white = read.mean(1, 1, 1)
        assert white is not None
        total = sum(float(part[1] - black[1]) for part in parts if part is not None)
        return total / float(white[1] - black[1])

    @property
    def drift(self) -> OrNull:
        """The range of white's luminance over its readings, as a share of its mean."""
        white = self.measurements.xyz[self.measurements.where(1, 1, 1), 1]
        return float(np.ptp(white) / white.mean())


def fit_display(measurements: Measurements) -> DisplayFit:
    """The model of a display from measured patches.

    Raises LutbenchError when patches that every model needs are missing, or the readings are not
    those of a display (white darker than black, primaries on a line).
    """
    _check(measurements)
    folds = _folds(measurements)
    smoothness, plain = _best_smoothness(measurements, folds)
    additive = fit_additive(measurements, smoothness)
    white = additive.white
    judged = folds >= 0
    plain_error = _delta_e(plain, measurements.xyz, white)[judged]
    amount, with_residual = _best_residual(measurements, folds, smoothness)
    error = _delta_e(with_residual, measurements.xyz, white)[judged]
    gain = plain_error - error
    sure = gain.mean() > 2 * gain.std() / np.sqrt(len(gain))
    used = bool(error.mean() < WORTH_SHARE * plain_error.mean() and sure)
    model = _with_residual(additive, measurements, amount) if used else additive
    predicted = np.where(judged[:, None], with_residual if used else plain, 0.0)
    predicted[~judged] = model.xyz(measurements.signal[~judged])
    fit = DisplayFit(model, measurements, predicted, judged, float(plain_error.mean()))
    return replace(fit, notes=_notes(fit))


def _check(read: Measurements) -> None:
    needed = {
        "black (0, 0, 0)": (0, 0, 0),
        "white": (1, 1, 1),
        "full red": (1, 0, 0),
        "full green": (0, 1, 0),
        "full blue": (0, 0, 1),
    }
    missing = [name for name, signal in needed.items() if read.mean(*signal) is None]
    if missing:
        raise LutbenchError(
            f"the measurements have no {', '.join(missing)}",
            accepted="all patches of `lutbench display patches`",
        )
    levels = len(np.unique(read.signal[np.ptp(read.signal, axis=1) < 1e-9, 0]))
    if len(read.names) < FEWEST_PATCHES or levels < 5:
        raise LutbenchError(
            f"{len(read.names)} patches with {levels} levels of grey are too few",
            accepted=f"{FEWEST_PATCHES} patches or more, 5 levels of grey or more",
        )
    black, white = read.mean(0, 0, 0), read.mean(1, 1, 1)
    assert black is not None
    assert white is not None
    if not white[1] > 2 * black[1] or not white[1] > 0.1:
        raise LutbenchError(
            f"white reads {white[1]:.3g} cd/m² and black {black[1]:.3g}",
            accepted="readings of a display, Y in cd/m², in the order of the patches",
        )
    full = [reading for c in range(3) if (reading := read.mean(*np.eye(3)[c])) is not None]
    primaries = np.column_stack(full) - black[:, None]
    size = np.abs(primaries).sum(axis=0)
    if (size == 0).any() or abs(np.linalg.det(primaries / size)) < 1e-3:
        raise LutbenchError(
            "the readings of red, green and blue do not make a triangle",
            accepted="readings in the order in which the patches were shown",
        )


def _folds(read: Measurements) -> Array:
    """The fold in which each patch is left out, shape (n,); -1 for those that every fit needs."""
    folds = np.random.default_rng(4).permutation(len(read.names)) % FOLDS
    for signal in ((0, 0, 0), (1, 1, 1), *np.eye(3)):
        folds[read.where(*signal)] = -1
    _, index = np.unique(read.signal, axis=0, return_inverse=True)
    # All readings of the same patch are left out together.
    first = np.full(index.max() + 1, -2)
    for number, group in enumerate(index.ravel()):
        if first[group] == -2:
            first[group] = folds[number]
        folds[number] = first[group]
    return np.asarray(folds)


def _best_smoothness(read: Measurements, folds: Array) -> tuple[float, Array]:
    """The smoothness that predicts left-out patches best, and the XYZ that it predicts."""
    found = []
    for smoothness in SMOOTHNESS:
        predicted = _predicted(read, folds, lambda part, s=smoothness: fit_additive(part, s))
        judged = folds >= 0
        white = read.mean(1, 1, 1)
        assert white is not None
        error = _delta_e(predicted, read.xyz, white)[judged]
        found.append((float(error.mean()), smoothness, predicted))
    _, smoothness, predicted = min(found, key=lambda each: each[0])
    return smoothness, predicted


def _best_residual(read: Measurements, folds: Array, smoothness: float) -> tuple[float, Array]:
    """The residual's smoothness that predicts left-out patches best, and what it predicts."""
    additive = [fit_additive(read.chosen(folds != fold), smoothness) for fold in range(FOLDS)]
    white = read.mean(1, 1, 1)
    assert white is not None
    found = []
    for amount in RESIDUAL_SMOOTHNESS:
        predicted = np.zeros_like(read.xyz)
        for fold, plain in enumerate(additive):
            model = _with_residual(plain, read.chosen(folds != fold), amount)
            predicted[folds == fold] = model.xyz(read.signal[folds == fold])
        error = _delta_e(predicted, read.xyz, white)[folds >= 0]
        found.append((float(error.mean()), amount, predicted))
    _, amount, predicted = min(found, key=lambda each: each[0])
    return amount, predicted


def _predicted(read: Measurements, folds: Array, fitted: Any) -> Array:
    """XYZ of each patch by a model fitted without its fold, shape (n, 3)."""
    predicted = np.zeros_like(read.xyz)
    for fold in range(FOLDS):
        model = fitted(read.chosen(folds != fold))
        predicted[folds == fold] = model.xyz(read.signal[folds == fold])
    return predicted


def _delta_e(found: Array, wanted: Array, white: Array) -> Array:
    return delta_e_2000(lab_from_xyz(found, white), lab_from_xyz(wanted, white))


def _with_residual(plain: DisplayModel, read: Measurements, smoothness: float) -> DisplayModel:
    """The additive model with a lattice fitted to its residuals in L*a*b*."""
    white = plain.black + plain.primaries.sum(axis=1)
    residual = (lab_from_xyz(read.xyz, white) - plain.lab(read.signal)) / LAB_SCALE
    fit = ScatteredFit(np.clip(read.signal, 0, 1), residual, RESIDUAL_NODES)
    table = fit.solve(smoothness, reach=RESIDUAL_REACH_SHARE)
    return DisplayModel(plain.curves, plain.primaries, plain.black, Lut3D(table))


def _notes(fit: DisplayFit) -> tuple[str, ...]:
    notes = []
    error = fit.delta_e_2000
    limit = max(ODD_MEDIANS * float(np.median(error[fit.judged])), ODD_DELTA_E)
    odd = [fit.measurements.names[k] for k in np.flatnonzero((error > limit) & fit.judged)]
    if odd:
        more = f" and {len(odd) - 4} more" if len(odd) > 4 else ""
        notes.append(
            f"far from what the other patches predict: {', '.join(odd[:4])}{more}."
            " Measure them again; if they stay, the display is uneven there"
        )
    if fit.drift > 0.02:
        notes.append(
            f"white drifts by {100 * fit.drift:.1f} % between its readings: let the display"
            " warm up, and switch off automatic dimming"
        )
    if abs(fit.additivity - 1) > 0.03:
        notes.append(
            f"red, green and blue together give {100 * fit.additivity:.0f} % of white's light:"
            " the display is not additive (a limiter, a picture mode, or a fourth subpixel)"
        )
    return tuple(notes)
