"""Camera match: from a chart's patches as one camera recorded them to those of another camera,
or to published values.

In linear light: exposure, white balance and a 3×3 matrix whose rows add up to 1, so that
only white balance acts on neutrals. The fit starts from the neutral patches and linear least
squares, and then minimises ΔE 2000. On request a smooth residual is added. Leave-one-out
cross-validation tells how well the match holds for colours that are not on the chart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.fitting.match_report import CameraMatch, PatchError, notes_on
from lutbench.measure.delta_e import delta_e_2000, lab_from_xyz
from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.grade import Exposure
from lutbench.model.transforms import Array, Matrix, Pipeline, Transform, steps_of

FEWEST_PATCHES = 8
"""Patches: gains and matrix have nine parameters, and each patch gives three equations."""

CLIPPED_SIGNAL = 0.985
"""Signal: a patch with a channel above this counts as clipped and is left out."""

NEUTRAL_CHROMA = 0.05
"""Chroma over lightness in the target: a patch below this is neutral."""

WIDTH_SIGNAL = 0.25
"""Signal: the standard deviation of the Gaussian by which the residual fades out."""

RIDGES = (0.03, 0.1, 0.3, 1.0, 3.0)
"""Ridge parameters of the residual that cross-validation tries."""


@dataclass(frozen=True, eq=False)
class Residual(Transform):
    """A smooth shift of signals: a sum of Gaussians around the patches, zero far from them.

    `centres` and `shifts` have shape (n, 3).
    """

    centres: Array
    shifts: Array
    width: float = WIDTH_SIGNAL
    kind: ClassVar[str] = "residual"

    def _apply(self, rgb: Array) -> Array:
        flat = rgb.reshape(-1, 3)
        moved = np.empty_like(flat)
        for start in range(0, len(flat), 65536):
            part = flat[start : start + 65536]
            moved[start : start + 65536] = part + _gaussians(part, self.centres, self.width) @ (
                self.shifts
            )
        return moved.reshape(rgb.shape)


def match_cameras(
    source: ArrayLike,
    target: ArrayLike,
    source_encoding: Encoding,
    target_encoding: Encoding,
    *,
    names: tuple[str, ...] = (),
    residual: bool = False,
) -> CameraMatch:
    """The transform that matches one camera's patches to those of another.

    Parameters
    ----------
    source, target
        Signals of the same patches in the same order, shape (n, 3), n ≥ 8.
    source_encoding
        Its curve must be the camera's; its gamut is used only for the error before the match.
    target_encoding
        Curve and gamut of the target, in which colours are compared.
    residual
        Whether to fit a smooth residual after the matrix.

    Raises
    ------
    LutbenchError
        When patches do not pair, too few are usable, or the two are not the same chart.
    """
    problem = _Problem.of(source, target, source_encoding, target_encoding, names)
    every = np.flatnonzero(problem.usable)
    problem.check_order()
    ridge = problem.best_ridge(every) if residual else None
    fit = problem.fitted(every, ridge)
    left_out = problem.left_out(every, ridge, fit)
    after = problem.errors(fit)
    before = problem.errors(problem.unmatched())
    patches = tuple(
        PatchError(name, float(b), float(a), float(out), bool(used))
        for name, b, a, out, used in zip(
            problem.names, before, after, left_out, problem.usable, strict=True
        )
    )
    notes = notes_on(patches, residual)
    if residual:
        plain = problem.fitted(every, None)
        without = float(np.nanmean(problem.left_out(every, None, plain)))
        if float(np.nanmean(left_out)) > without:
            notes += (
                "the residual does not help: the mean ΔE of left-out patches is"
                f" {np.nanmean(left_out):.2f} with it, {without:.2f} without it",
            )
    return CameraMatch(
        fit.transform,
        float(np.log2(fit.gains[1])),
        tuple((fit.gains / fit.gains[1]).tolist()),
        fit.matrix,
        patches,
        fit.residual_rms,
        notes,
    )


@dataclass(frozen=True)
class _Fit:
    transform: Transform
    gains: Array
    matrix: Array
    residual_rms: float = 0.0


@dataclass(frozen=True)
class _Problem:
    """The patches of both cameras, and the fits to them."""

    signal: Array
    wanted: Array
    source: Encoding
    target: Encoding
    names: tuple[str, ...]
    usable: NDArray[np.bool_]

    @classmethod
    def of(
        cls,
        source: ArrayLike,
        target: ArrayLike,
        source_encoding: Encoding,
        target_encoding: Encoding,
        names: tuple[str, ...],
    ) -> _Problem:
        signal, wanted = np.asarray(source, np.float64), np.asarray(target, np.float64)
        if signal.ndim != 2 or signal.shape != wanted.shape or signal.shape[1] != 3:
            raise LutbenchError(
                f"patches of shapes {signal.shape} and {wanted.shape} do not match",
                accepted="the same patches in the same order, R G B each",
            )
        if not (np.isfinite(signal).all() and np.isfinite(wanted).all()):
            raise LutbenchError("a patch has a value that is NaN or infinite")
        names = names or tuple(f"patch {number + 1}" for number in range(len(signal)))
        usable = (signal < CLIPPED_SIGNAL).all(axis=1) & (wanted < CLIPPED_SIGNAL).all(axis=1)
        usable &= (source_encoding.curve.decode(signal) > 0).all(axis=1)
        if usable.sum() < FEWEST_PATCHES:
            raise LutbenchError(
                f"{usable.sum()} of {len(signal)} patches are neither clipped nor black",
                accepted=f"{FEWEST_PATCHES} or more",
            )
        fine = np.asarray(usable, dtype=np.bool_)
        return cls(signal, wanted, source_encoding, target_encoding, names, fine)

    @property
    def light(self) -> Array:
        """Linear light of the source."""
        return self.source.curve.decode(self.signal)

    @property
    def light_wanted(self) -> Array:
        """Linear light of the target."""
        return self.target.curve.decode(self.wanted)

    def lab(self, light: Array) -> Array:
        """L*a*b* of linear light in the target's gamut, white 1."""
        xyz = light @ self.target.gamut.to_xyz.T
        return lab_from_xyz(xyz, self.target.gamut.to_xyz.sum(axis=1))

    def errors(self, fit: _Fit) -> Array:
        """ΔE 2000 of every patch."""
        found = self.target.curve.decode(fit.transform.apply(self.signal))
        return delta_e_2000(self.lab(found), self.lab(self.light_wanted))

    def unmatched(self) -> _Fit:
        """Without a match: decode, convert the gamut, encode."""
        from lutbench.model.gamuts import conversion

        plain = (
            Decode(self.source.curve)
            | conversion(self.source.gamut, self.target.gamut)
            | Encode(self.target.curve)
        )
        return _Fit(plain, np.ones(3), np.eye(3))

    def check_order(self) -> None:
        """Refuse patches whose lightness does not correlate, as they cannot be the same ones."""
        weights = np.array([0.3, 0.5, 0.2])
        first, second = (
            np.log(np.maximum(each[self.usable] @ weights, 1e-6))
            for each in (self.light, self.light_wanted)
        )
        alike = float(np.corrcoef(first, second)[0, 1])
        if not alike > 0.8:
            raise LutbenchError(
                f"the two are not the same patches in the same order (lightness agrees to"
                f" {alike:.2f})",
                accepted="one chart, read from the same corner in the same direction",
            )

    def neutral(self, which: NDArray[np.int64]) -> NDArray[np.int64]:
        """The patches of `which` that are neutral in the target."""
        lab = self.lab(self.light_wanted[which])
        chroma = np.hypot(lab[:, 1], lab[:, 2])
        return which[(chroma < NEUTRAL_CHROMA * np.maximum(lab[:, 0], 1) + 1.0) & (lab[:, 0] > 8)]

    def fitted(
        self, which: NDArray[np.int64], ridge: float | None, near: _Fit | None = None
    ) -> _Fit:
        """Exposure, white balance and matrix from some patches, and a residual if `ridge` is given.

        `near` is a fit to start from.
        """
        plain = self._plain_fit(which, near)
        if ridge is None:
            return plain
        centres = plain.transform.apply(self.signal[which])
        residual = self.wanted[which] - centres
        kernel = _gaussians(centres, centres, WIDTH_SIGNAL)
        shifts = np.linalg.solve(kernel + ridge * np.eye(len(which)), residual)
        rms = float(np.sqrt(((kernel @ shifts) ** 2).mean()))
        whole = Pipeline((*steps_of(plain.transform), Residual(centres, shifts)))
        return replace(plain, transform=whole, residual_rms=rms)

    def _plain_fit(self, which: NDArray[np.int64], near: _Fit | None) -> _Fit:
        """The gains and matrix with the least ΔE 2000 over some patches.

        Fitted are the logarithms of changes of the gains, and the matrix. The neutral patches
        of a chart are not exactly neutral, so their gains are only the start.
        """
        from scipy.optimize import least_squares

        light, wanted = self.light[which], self.light_wanted[which]
        gains = self._first_gains(which)
        lab = self.lab(wanted)
        start = _white_preserving_lsq(light * gains, wanted)
        first = np.append(np.zeros(3), start)
        if near is not None:
            change = np.log(near.gains / gains)
            first = np.append(change, near.matrix[~np.eye(3, dtype=bool)])

        def system(values: Array) -> Array:
            balanced = light * (gains * np.exp(values[:3]))
            off = delta_e_2000(self.lab(balanced @ _rows(values[3:]).T), lab)
            # A weak pull to the start decides what few patches leave undetermined.
            return np.concatenate([off, values[:3], 0.3 * (values[3:] - start)])

        found = least_squares(
            system, first, max_nfev=100 if near is None else 8, ftol=1e-5, xtol=1e-6
        ).x
        gains, matrix = gains * np.exp(found[:3]), _rows(found[3:])
        plain = (
            Decode(self.source.curve)
            | Exposure(float(np.log2(gains[1])))
            | Matrix.from_array(np.diag(gains / gains[1]))
            | Matrix.from_array(matrix)
            | Encode(self.target.curve)
        )
        return _Fit(plain, gains, matrix)

    def _first_gains(self, which: NDArray[np.int64]) -> Array:
        """The gains that match the neutral patches; without any, those that match the means."""
        greys = self.neutral(which)
        if len(greys):
            ratio = np.maximum(self.light_wanted[greys], 1e-6) / self.light[greys]
            return np.asarray(np.exp(np.log(ratio).mean(axis=0)))
        wanted = np.maximum(self.light_wanted[which], 1e-6)
        return np.asarray(wanted.mean(axis=0) / self.light[which].mean(axis=0))

    def left_out(self, which: NDArray[np.int64], ridge: float | None, fit: _Fit) -> Array:
        """ΔE 2000 of each of `which` by a fit without it; NaN for the other patches."""
        result = np.full(len(self.names), np.nan)
        for patch in which:
            others = which[which != patch]
            result[patch] = self.errors(self.fitted(others, ridge, fit))[patch]
        return result

    def best_ridge(self, which: NDArray[np.int64]) -> float:
        """The ridge that predicts left-out patches best; in closed form, the matrix unchanged."""
        plain = self.fitted(which, None)
        centres = np.asarray(plain.transform.apply(self.signal[which]))
        residual = self.wanted[which] - centres
        kernel = _gaussians(centres, centres, WIDTH_SIGNAL)
        scores = []
        for ridge in RIDGES:
            inverse = np.linalg.inv(kernel + ridge * np.eye(len(which)))
            left_out = (inverse @ residual) / np.diag(inverse)[:, None]
            scores.append(float((left_out**2).mean()))
        return RIDGES[int(np.argmin(scores))]


def _gaussians(points: Array, centres: Array, width: float) -> Array:
    """exp(−d²/2w²) of every point to every centre, shape (points, centres)."""
    squares = ((points[:, None] - centres[None]) ** 2).sum(axis=-1)
    return np.asarray(np.exp(-squares / (2 * width**2)))


def _rows(values: Array) -> Array:
    """The matrix with these six elements off the diagonal, and rows that add up to 1."""
    matrix = np.zeros((3, 3))
    matrix[~np.eye(3, dtype=bool)] = values
    matrix[np.eye(3, dtype=bool)] = 1 - matrix.sum(axis=1)
    return matrix


def _white_preserving_lsq(light: Array, wanted: Array) -> Array:
    """The matrix by least squares on linear light relative to each patch's level: six values."""
    weight = 1 / np.maximum(wanted.mean(axis=1), 0.02)
    values = []
    for c in range(3):
        others = [k for k in range(3) if k != c]
        columns = light[:, others] - light[:, [c]]
        solved = np.linalg.lstsq(
            columns * weight[:, None], (wanted[:, c] - light[:, c]) * weight, rcond=None
        )[0]
        values += solved.tolist()
    return np.array(values)
