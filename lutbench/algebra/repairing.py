"""Repair the defects of a 3D LUT; each change is measured and reported.

The order is: range (values clamped to 0..1), noise, falls of the neutral axis, tint, folds.
Each step changes only what it is named for, moves no value by more than a bound, and is
undone if it would make another defect (`Defects`) worse; a sound LUT is not changed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace

import numpy as np

from lutbench.algebra.result import Change, Reworked, code_error
from lutbench.algebra.unfold import MIRRORED_SHARE, folds_of, unfolded
from lutbench.errors import LutbenchError
from lutbench.given import one_of
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array
from lutbench.tables.cells import SIX_DECIMALS_SIGNAL, channel_planes, straight_basis
from lutbench.tables.lut import Lut3D, ShaperLut3D, lattice
from lutbench.tables.nodes import diagonal
from lutbench.tables.traces import noise_level

REPAIRS = ("range", "noise", "monotone", "tint", "folds")

FADE = 0.35
"""Saturation (largest minus smallest channel of the input) at which a repair of the neutral axis
has faded out."""

MOST_MOVED_CODES = 64.0
"""10-bit codes, a sixteenth of the scale: a LUT that needs larger changes has to be made again."""

LUMA = np.array([0.2126, 0.7152, 0.0722])
"""Weights of R, G and B in luma (Recommendation ITU-R BT.709-6)."""

LEAST_NOISE_CODES = 0.1
"""10-bit codes: less noise cannot be seen."""


def check_bounds(most: float, fade: float) -> None:
    """Refuse bounds of `repair` that are out of range.

    Raises
    ------
    LutbenchError
        When one is.
    """
    if not 0 < fade <= 2:
        raise LutbenchError(f"a fade of {fade:g} is out of range", accepted="above 0, up to 2")
    if not 0 < most <= CODES_10_BIT:
        raise LutbenchError(
            f"a bound of {most:g} codes is out of range", accepted="above 0, up to 1023"
        )


def repair(
    lut: Lut3D | ShaperLut3D,
    what: Iterable[str] = ("noise", "monotone", "folds"),
    *,
    fade: float = FADE,
    most: float = MOST_MOVED_CODES,
) -> Reworked:
    """A LUT with defects repaired, whether or not `inspect` finds them.

    Parameters
    ----------
    what
        Of ``"range"`` (values are clamped to 0..1), ``"noise"`` (values are smoothed, none
        moved by more than three times the noise), ``"monotone"`` (the neutral axis never
        falls), ``"tint"`` (greys come out grey) and ``"folds"`` (cells that are turned inside
        out are relaxed).
    fade
        The input saturation at which changes of the neutral axis have faded out.
    most
        The furthest that a value may be moved, in 10-bit codes.

    The error is the difference between the given LUT and the result.

    Raises
    ------
    LutbenchError
        When a repair is not known, or `lut` is not a 3D LUT.
    """
    wanted = {one_of("repair", each, REPAIRS) for each in what}
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
        "range": lambda now, log: _note(now, np.clip(now, 0, 1), log, "range", "clamped to 0..1"),
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
    """The table after one repair, which is limited to the bound, and undone if it does harm."""
    log: list[Change] = []
    result = step(table, log)
    bound = most / CODES_10_BIT
    over = np.abs(result - original).max(axis=-1) > bound + SIX_DECIMALS_SIGNAL
    if name != "range" and over.any():
        result = original + np.clip(result - original, -bound, bound)
        text = f"changes limited to {most:g} codes at {100 * over.mean():.2f} % of the nodes"
        log.append(Change(f"{name}_bounded", text, float(over.mean())))
    worse = defects_of(result).worse_than(defects_of(table), name)
    if worse:
        changes.append(Change(f"{name}_left", f"not repaired: it would {WORSE[worse]}"))
        return table
    changes += log
    return result


def _note(before: Array, after: Array, changes: list[Change], code: str, words: str) -> Array:
    """`after`, with the change added to `changes`; `before` if nothing changed."""
    moved = np.abs(after - before).max(axis=-1)
    if moved.max() <= SIX_DECIMALS_SIGNAL:
        return before
    share = float((moved > SIX_DECIMALS_SIGNAL).mean())
    changes.append(
        Change(
            code,
            f"{words}: {100 * share:.1f} % of the nodes moved, by at most"
            f" {moved.max() * CODES_10_BIT:.1f} 10-bit codes",
            float(moved.max()),
        )
    )
    return after


# --- the neutral axis ------------------------------------------------------------------------


def _rising(table: Array, fade: float, changes: list[Change]) -> Array:
    axis = diagonal(table)
    falls = float(-np.minimum(np.diff(axis, axis=0), 0).min())
    if falls <= SIX_DECIMALS_SIGNAL:
        return table
    fall = f"it fell by up to {falls * CODES_10_BIT:.1f} codes from node to node"
    correction = isotonic(axis) - axis
    words = f"neutral axis made to rise ({fall})"
    return _note(table, _shifted(table, correction, fade), changes, "monotone", words)


def _neutral(table: Array, fade: float, changes: list[Change]) -> Array:
    axis = diagonal(table)
    grey = (axis @ LUMA)[:, None]
    tint = float(np.ptp(axis, axis=1).max())
    words = f"tint of greys removed (channels differed by up to {tint * CODES_10_BIT:.1f} codes)"
    return _note(table, _shifted(table, grey - axis, fade), changes, "tint", words)


def isotonic(rows: Array) -> Array:
    """The nearest rows (n, 3), in the least-squares sense, that never fall."""
    from scipy.optimize import isotonic_regression

    return np.stack([isotonic_regression(rows[:, c]).x for c in range(3)], axis=1)


def _shifted(table: Array, correction: Array, fade: float) -> Array:
    """The table plus a correction of its neutral axis, shape (n, 3), fading with saturation."""
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
    if sigma * CODES_10_BIT < LEAST_NOISE_CODES:
        return table
    smooth = np.stack([_smoothed(table[..., c]) for c in range(3)], axis=-1)
    moved = np.clip(smooth - table, -3 * sigma, 3 * sigma)
    words = f"noise of about {sigma * CODES_10_BIT:.2f} codes smoothed"
    return _note(table, table + moved, changes, "noise", words)


def _smoothed(values: Array) -> Array:
    """A channel smoothed by a penalty on second differences, chosen by cross-validation.

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
        why = f"{start.count} tetrahedra ({100 * share:.2f} %) are folded and could not be repaired"
        if share > MIRRORED_SHARE:
            why = f"{100 * share:.1f} % of the LUT is mirrored, which is not a fold to repair"
        changes.append(Change("folds_left", why, share))
        return table
    words = f"folds relaxed: {start.count} tetrahedra ({100 * share:.2f} %) were folded"
    result = _note(table, result, changes, "folds", words)
    left = folds_of(result).count
    if left:
        changes.append(
            Change("folds_left", f"{left} tetrahedra are still folded", left / len(start.bad))
        )
    return result


# --- single nodes ----------------------------------------------------------------------------


def smoothed_node(table: Array, node: tuple[int, ...]) -> Array:
    """The table with one node set to what its neighbours along the axes predict.

    Along an axis: the cubic through two nodes on each side, (4·(a + b) − (c + d)) / 6 with
    the nearer nodes a, b and the further c, d; beside an end the mean of a and b. The node
    gets the mean over the axes.
    """
    result = table.copy()
    predicted = []
    for axis in range(3):
        line = np.moveaxis(table, axis, 0)[(slice(None), *np.delete(node, axis).tolist())]
        at, last = node[axis], len(line) - 1
        if 2 <= at <= last - 2:
            near, far = line[at - 1] + line[at + 1], line[at - 2] + line[at + 2]
            predicted.append((4 * near - far) / 6)
        elif 1 <= at <= last - 1:
            predicted.append((line[at - 1] + line[at + 1]) / 2)
    if predicted:
        result[node] = np.mean(predicted, axis=0)
    return result


SLACK_CODES = 0.05
"""10-bit codes: a measure counts as unchanged if it grows by less; about a hundred roundings."""

MEANT_FOR = {
    "range": "range",
    "noise": "noise",
    "monotone": "fall",
    "tint": "tint",
    "folds": "folds",
    "stray": "noise",
}
"""The measure that each repair is meant to lower."""

WORSE = {
    "range": "push values out of 0..1",
    "noise": "make the values noisier",
    "fall": "make greys fall where they should rise",
    "tint": "tint greys more",
    "fold": "deepen a fold",
    "folds": "add folds",
}
"""What a repair does when it raises a measure, after "it would"."""


@dataclass(frozen=True)
class Defects:
    """The defects of a table in 10-bit codes; each is 0 in a table without it.

    `range` is the largest distance outside 0..1, `noise` its standard deviation, `fall` the
    deepest fall of the neutral axis, `tint` its widest spread, `fold` the deepest fold,
    `folds` the sum of the depths of all folds.
    """

    range: float
    noise: float
    fall: float
    tint: float
    fold: float
    folds: float

    def worse_than(self, before: Defects, repair: str) -> str:
        """The name of a measure that grew; empty if none did.

        A repair of the tint or of a fall also moves the colours around greys, less and less.
        So the other of the two, and shallow folds there, do not count against it.
        """
        spared = {"fall", "tint", "folds"} if repair in ("tint", "monotone") else set()
        for each in fields(self):
            if each.name in spared and each.name != MEANT_FOR[repair]:
                continue
            if getattr(self, each.name) > getattr(before, each.name) + SLACK_CODES:
                return each.name
        return ""


def defects_of(table: Array) -> Defects:
    """The measures of a table, shape (n, n, n, 3)."""
    axis = diagonal(table)
    fall = float((np.maximum.accumulate(axis, axis=0) - axis).max())
    outside = max(float(table.max()) - 1, -float(table.min()), 0.0)
    folds = folds_of(table)
    parts = (
        outside,
        noise_level(channel_planes(table)),
        fall,
        float(np.ptp(axis, axis=1).max()),
        folds.deepest,
        folds.depth,
    )
    return Defects(*(CODES_10_BIT * each for each in parts))
