"""Repair of what is wrong with a 3D LUT; each change is measured and reported.

Order: range (values held to 0..1), noise, neutral axis rising, tint, folds. Each
step touches only what it is named for, and a sound LUT comes out as it went in.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lutbench.algebra.result import Array, Change, Reworked, code_error
from lutbench.errors import LutbenchError
from lutbench.model.signal import CODES_10_BIT
from lutbench.tables.cells import SIX_DECIMALS, channel_planes, folded, straight_basis, tetrahedra
from lutbench.tables.lut import Lut3D, ShaperLut3D, lattice
from lutbench.tables.nodes import diagonal
from lutbench.tables.noise import noise_level

REPAIRS = ("range", "noise", "monotone", "tint", "folds")
FADE = 0.35
"""Saturation (largest minus smallest channel of the input) at which a repair of the
neutral axis has faded to nothing."""
LUMA = np.array([0.2126, 0.7152, 0.0722])
LEAST_NOISE = 0.1
"""10-bit codes: there is nothing to see of less."""


def repair(
    lut: Lut3D | ShaperLut3D,
    what: Iterable[str] = ("noise", "monotone", "folds"),
    *,
    fade: float = FADE,
) -> Reworked:
    """A LUT with faults mended.

    Parameters
    ----------
    what
        Of ``"range"`` (values held to 0..1), ``"noise"`` (smooth, no node moved
        further than the noise that was found), ``"monotone"`` (the neutral axis
        never falls), ``"tint"`` (neutrals in, neutrals out) and ``"folds"``
        (cells that are turned inside out are relaxed).
    fade
        The input saturation at which changes of the neutral axis have faded out.

    The error is the distance between the LUT given and the one returned.

    Raises
    ------
    LutbenchError
        When a repair of another name is asked for.
    """
    wanted = set(what)
    unknown = sorted(wanted - set(REPAIRS))
    if unknown:
        raise LutbenchError(f"no repair is named {unknown[0]!r}", accepted=", ".join(REPAIRS))
    if not 0 < fade <= 2:
        raise LutbenchError(f"a fade of {fade:g} is out of limits", accepted="over 0, up to 2")
    if isinstance(lut, ShaperLut3D):
        inner = repair(lut.lut, wanted, fade=fade)
        assert isinstance(inner.lut, Lut3D)
        return Reworked(replace(lut, lut=inner.lut), inner.error, inner.changes)
    if not isinstance(lut, Lut3D):
        raise LutbenchError("only a 3D LUT can be repaired", accepted="a 3D LUT")
    original = lut.table.astype(np.float64)
    table = original.copy()
    changes: list[Change] = []
    if "range" in wanted:
        table = _note(table, np.clip(table, 0, 1), changes, "range", "held to 0..1")
    if "noise" in wanted:
        table = _denoised(table, changes)
    if "monotone" in wanted:
        table = _rising(table, fade, changes)
    if "tint" in wanted:
        table = _neutral(table, fade, changes)
    if "folds" in wanted:
        table = _unfolded(table, changes)
    error = code_error(original, table)
    return Reworked(replace(lut, table=table) if changes else lut, error, tuple(changes))


def _note(before: Array, after: Array, changes: list[Change], code: str, words: str) -> Array:
    """`after`, with the change reported where there is one."""
    moved = np.abs(after - before).max(axis=-1)
    if moved.max() <= SIX_DECIMALS:
        return before
    share = float((moved > SIX_DECIMALS).mean())
    changes.append(
        Change(
            code,
            f"{words}: {share:.1%} of the nodes moved, by {moved.max() * CODES_10_BIT:.1f} codes of"
            " 1023 at most",
            float(moved.max()),
        )
    )
    return after


# --- the neutral axis ------------------------------------------------------------------------


def _rising(table: Array, fade: float, changes: list[Change]) -> Array:
    axis = diagonal(table)
    falls = float(-np.minimum(np.diff(axis, axis=0), 0).min())
    if falls <= SIX_DECIMALS:
        return table
    fall = f"it fell by up to {falls * CODES_10_BIT:.1f} codes from node to node"
    correction = isotonic(axis) - axis
    words = f"neutral axis made to rise ({fall})"
    return _note(table, _shifted(table, correction, fade), changes, "monotone", words)


def _neutral(table: Array, fade: float, changes: list[Change]) -> Array:
    axis = diagonal(table)
    grey = (axis @ LUMA)[:, None]
    tint = float(np.ptp(axis, axis=1).max())
    words = f"tint taken off neutrals (channels up to {tint * CODES_10_BIT:.1f} codes apart)"
    return _note(table, _shifted(table, grey - axis, fade), changes, "tint", words)


def isotonic(rows: Array) -> Array:
    """The nearest rows (n, 3), in the least-squares sense, that never fall."""
    from scipy.optimize import isotonic_regression

    return np.stack([isotonic_regression(rows[:, c]).x for c in range(3)], axis=1)


def _shifted(table: Array, correction: Array, fade: float) -> Array:
    """The table plus a correction of its neutral axis, fading out as saturation grows."""
    size = table.shape[0]
    nodes = lattice(size)
    level = nodes.mean(axis=-1)
    weight = np.clip(1 - np.ptp(nodes, axis=-1) / fade, 0, 1)
    weight = weight * weight * (3 - 2 * weight)
    steps = np.linspace(0, 1, size)
    moved = np.stack([np.interp(level, steps, correction[:, c]) for c in range(3)], axis=-1)
    return np.asarray(table + weight[..., None] * moved)


# --- noise -----------------------------------------------------------------------------------


def _denoised(table: Array, changes: list[Change]) -> Array:
    sigma = noise_level(channel_planes(table))
    if sigma * CODES_10_BIT < LEAST_NOISE:
        return table
    smooth = np.stack([_smoothed(table[..., c]) for c in range(3)], axis=-1)
    moved = np.clip(smooth - table, -3 * sigma, 3 * sigma)
    words = f"noise of about {sigma * CODES_10_BIT:.2f} codes smoothed"
    return _note(table, table + moved, changes, "noise", words)


def _smoothed(values: Array) -> Array:
    """Second differences along each axis penalised, the amount chosen by cross-validation.

    Source of the method: Garcia, 2010, "Robust smoothing of gridded data in one and
    higher dimensions with missing values". His cosine basis bends at the borders;
    the eigenvectors of the second differences without a border condition do not.
    """
    from scipy.optimize import minimize_scalar

    basis, eigenvalues = straight_basis(values.shape[0])
    spectrum = np.einsum("ia,jb,kc,ijk->abc", basis, basis, basis, values, optimize=True)
    penalty = eigenvalues[:, None, None] + eigenvalues[:, None] + eigenvalues

    def score(power: float) -> float:
        gain = 1 / (1 + 10.0**power * penalty)
        residual = float((((gain - 1) * spectrum) ** 2).sum())
        return residual / float(1 - gain.mean()) ** 2

    best = minimize_scalar(score, bounds=(-4, 4), method="bounded", options={"xatol": 0.05})
    kept = spectrum / (1 + 10.0**best.x * penalty)
    return np.asarray(np.einsum("ia,jb,kc,abc->ijk", basis, basis, basis, kept, optimize=True))


# --- folds -----------------------------------------------------------------------------------


def _unfolded(table: Array, changes: list[Change], rounds: int = 200) -> Array:
    size = table.shape[0]
    corners = tetrahedra(size)
    bad = folded(table)
    found = int(bad.sum())
    if not found:
        return table
    if found > 0.5 * len(bad):
        changes.append(
            Change(
                "folds_left",
                f"{found / len(bad):.1%} of the LUT is mirrored as a whole; not a fold to mend",
                found / len(bad),
            )
        )
        return table
    result = table.copy()
    for turn in range(rounds):
        touched = np.zeros(size**3, bool)
        touched[corners[bad].ravel()] = True
        if turn > 20:  # a stubborn fold needs room: relax its neighbours with it
            touched = _grown(touched, size)
        result = _relaxed(result, touched.reshape(size, size, size))
        bad = folded(result)
        if not bad.any():
            break
    left = int(bad.sum())
    words = (
        f"folds relaxed: {found} of {len(bad)} tetrahedra ({found / len(bad):.2%}) were inside out"
    )
    result = _note(table, result, changes, "folds", words)
    if left:
        changes.append(
            Change("folds_left", f"{left} tetrahedra are inside out still", left / len(bad))
        )
    return result


def _grown(mask: NDArray[np.bool_], size: int) -> NDArray[np.bool_]:
    from scipy.ndimage import binary_dilation

    return np.asarray(binary_dilation(mask.reshape(size, size, size)).ravel())


def _relaxed(table: Array, mask: NDArray[np.bool_]) -> Array:
    """Marked nodes halfway to the mean of their neighbours along each axis.

    On the outer faces of the lattice only the axes that lie in the face count, so
    that the surface of the LUT is not drawn inwards; corners stay.
    """
    total = np.zeros_like(table)
    count = np.zeros(table.shape[:3])
    for axis in range(3):
        middle = [slice(None)] * 3
        before, after = middle.copy(), middle.copy()
        middle[axis], before[axis], after[axis] = slice(1, -1), slice(None, -2), slice(2, None)
        total[tuple(middle)] += table[tuple(before)] + table[tuple(after)]
        count[tuple(middle)] += 2
    mean = np.divide(total, count[..., None], out=table.copy(), where=count[..., None] > 0)
    result = table.copy()
    result[mask] = 0.5 * (table[mask] + mean[mask])
    return result
