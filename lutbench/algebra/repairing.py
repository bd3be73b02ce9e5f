"""Repair of what is wrong with a 3D LUT; each change is measured and reported.

Order: range (values held to 0..1), noise, neutral axis rising, tint, folds. Each
step touches only what it is named for, is held to a bound, and is undone where it would
leave more amiss than it found; a sound LUT comes out as it went in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from lutbench.algebra.amiss import amiss
from lutbench.algebra.result import Array, Change, Reworked, code_error
from lutbench.algebra.unfold import MIRRORED, folds_of, unfolded
from lutbench.errors import LutbenchError
from lutbench.model.signal import CODES_10_BIT
from lutbench.tables.cells import SIX_DECIMALS, channel_planes, straight_basis
from lutbench.tables.lut import Lut3D, ShaperLut3D, lattice
from lutbench.tables.nodes import diagonal
from lutbench.tables.noise import noise_level

REPAIRS = ("range", "noise", "monotone", "tint", "folds")
FADE = 0.35
"""Saturation (largest minus smallest channel of the input) at which a repair of the
neutral axis has faded to nothing."""
MOST_MOVED = 64.0
"""10-bit codes: a sixteenth of the scale. What needs more is another LUT, not a repair."""
LUMA = np.array([0.2126, 0.7152, 0.0722])
LEAST_NOISE = 0.1
"""10-bit codes: there is nothing to see of less."""


def check_bounds(most: float, fade: float) -> None:
    """Refuse bounds that no repair can keep; see `repair`."""
    if not 0 < fade <= 2:
        raise LutbenchError(f"a fade of {fade:g} is out of range", accepted="over 0, up to 2")
    if not 0 < most <= CODES_10_BIT:
        raise LutbenchError(
            f"a bound of {most:g} codes is out of range", accepted="over 0, up to 1023"
        )


def repair(
    lut: Lut3D | ShaperLut3D,
    what: Iterable[str] = ("noise", "monotone", "folds"),
    *,
    fade: float = FADE,
    most: float = MOST_MOVED,
) -> Reworked:
    """A LUT with faults mended, whether or not `inspect` finds them.

    Parameters
    ----------
    what
        Of ``"range"`` (values held to 0..1), ``"noise"`` (smooth, no node moved
        further than the noise that was found), ``"monotone"`` (the neutral axis
        never falls), ``"tint"`` (neutrals in, neutrals out) and ``"folds"``
        (cells that are turned inside out are relaxed).
    fade
        The input saturation at which changes of the neutral axis have faded out.
    most
        The furthest that a value may be moved, in 10-bit codes.

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
    check_bounds(most, fade)
    if isinstance(lut, ShaperLut3D):
        inner = repair(lut.lut, wanted, fade=fade, most=most)
        assert isinstance(inner.lut, Lut3D)
        return Reworked(replace(lut, lut=inner.lut), inner.error, inner.changes)
    if not isinstance(lut, Lut3D):
        raise LutbenchError("only a 3D LUT can be repaired", accepted="a 3D LUT")
    original = table = np.asarray(lut.table, dtype=np.float64)
    changes: list[Change] = []
    steps: dict[str, Callable[[Array, list[Change]], Array]] = {
        "range": lambda now, log: _note(now, np.clip(now, 0, 1), log, "range", "held to 0..1"),
        "noise": _denoised,
        "monotone": lambda now, log: _rising(now, fade, log),
        "tint": lambda now, log: _neutral(now, fade, log),
        "folds": lambda now, log: _unfolded(now, most / CODES_10_BIT, log),
    }
    for name, step in steps.items():
        if name in wanted:
            table = _bounded_step(name, step, table, original, most, changes)
    error = code_error(original, table)
    return Reworked(replace(lut, table=table) if changes else lut, error, tuple(changes))


def _bounded_step(
    name: str,
    step: Callable[[Array, list[Change]], Array],
    table: Array,
    original: Array,
    most: float,
    changes: list[Change],
) -> Array:
    """A step of the repair, held to the bound, and undone where it leaves more amiss."""
    log: list[Change] = []
    result = step(table, log)
    bound = most / CODES_10_BIT
    over = np.abs(result - original).max(axis=-1) > bound + SIX_DECIMALS
    if name != "range" and over.any():
        result = original + np.clip(result - original, -bound, bound)
        held = f"held to {most:g} codes of movement at {over.mean():.2%} of the nodes"
        log.append(Change(f"{name}_bounded", held, float(over.mean())))
    worse = amiss(result).worse_than(amiss(table), name)
    if worse:
        changes.append(Change(f"{name}_left", f"not mended: it would add to the {worse}"))
        return table
    changes += log
    return result


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


def _unfolded(table: Array, most: float, changes: list[Change]) -> Array:
    start = folds_of(table)
    if not start.count:
        return table
    share = start.count / len(start.bad)
    result = unfolded(table, most)
    if result is None:
        why = f"{start.count} tetrahedra ({share:.2%}) are folded and stay so"
        if share > MIRRORED:
            why = f"{share:.1%} of the LUT is mirrored as a whole; not a fold to mend"
        changes.append(Change("folds_left", why, share))
        return table
    words = f"folds relaxed: {start.count} tetrahedra ({share:.2%}) were folded"
    result = _note(table, result, changes, "folds", words)
    left = folds_of(result).count
    if left:
        changes.append(
            Change("folds_left", f"{left} tetrahedra are folded still", left / len(start.bad))
        )
    return result


# --- single nodes ----------------------------------------------------------------------------


def smoothed_node(table: Array, node: tuple[int, ...]) -> Array:
    """The table with one node put to what its neighbours say along each axis.

    Along an axis: the cubic through two nodes on each side, (4·(a + b) − (c + d)) / 6 of the
    nearer a, b and the further c, d; nearer an end the straight line. Then the mean.
    """
    result = table.copy()
    said = []
    for axis in range(3):
        line = np.moveaxis(table, axis, 0)[(slice(None), *np.delete(node, axis).tolist())]
        at, last = node[axis], len(line) - 1
        if 2 <= at <= last - 2:
            near, far = line[at - 1] + line[at + 1], line[at - 2] + line[at + 2]
            said.append((4 * near - far) / 6)
        elif 1 <= at <= last - 1:
            said.append((line[at - 1] + line[at + 1]) / 2)
    if said:
        result[node] = np.mean(said, axis=0)
    return result
