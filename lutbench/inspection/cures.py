"""Repair what an examination finds in a LUT, and name what cannot be repaired."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from lutbench.algebra import invert
from lutbench.algebra.ranges import change_range
from lutbench.algebra.repairing import FADE, MOST_MOVED_CODES, REPAIRS, check_bounds, smoothed_node
from lutbench.algebra.repairing import repair as repair_table
from lutbench.algebra.result import Change, CodeError, Reworked, code_error
from lutbench.algebra.rewritten import axes_reversed, channels_reordered, divided, over_unit_domain
from lutbench.errors import LutbenchError
from lutbench.given import one_of
from lutbench.inspection.finding import Examined, Finding
from lutbench.inspection.findings.faults import order_of
from lutbench.inspection.plateaus import islands
from lutbench.inspection.registry import Health
from lutbench.inspection.subject import Subject
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array
from lutbench.tables.lut import Lut, Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import code_scale

NOTHING = CodeError(0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Bounds:
    """How far a repair may go."""

    most: float = MOST_MOVED_CODES
    """The furthest that smoothing may move a value, in 10-bit codes. It does not limit the
    correction of a whole table (code values, the order of the rows)."""
    fade: float = FADE
    """The input saturation, 0..1, at which changes of the neutral axis have faded out."""

    def __post_init__(self) -> None:
        check_bounds(self.most, self.fade)


Cure = Callable[[Examined, Finding, Bounds], Reworked]


def _scale(lut: Examined, finding: Finding, bounds: Bounds) -> Reworked:
    top = code_scale(lut.subject.planes)
    assert top is not None
    return _rewritten(divided(_table(lut), top), "scale", f"values divided by {top}")


def _domain(lut: Examined, finding: Finding, bounds: Bounds) -> Reworked:
    return _rewritten(over_unit_domain(_table(lut)), "domain", "domain set to 0..1")


def _axes(lut: Examined, finding: Finding, bounds: Bounds) -> Reworked:
    message = "rows put in order: red runs fastest now"
    return _rewritten(axes_reversed(_table(lut)), "axes", message)


def _channels(lut: Examined, finding: Finding, bounds: Bounds) -> Reworked:
    order = order_of(lut)
    message = f"channels reordered: {', '.join('RGB'[k] for k in order)} are R, G, B now"
    return _rewritten(channels_reordered(_table(lut), order), "channels", message)


def _legal(lut: Examined, finding: Finding, bounds: Bounds) -> Reworked:
    return change_range(_table(lut), target=("legal", "full"))


def _inverse(lut: Examined, finding: Finding, bounds: Bounds) -> Reworked:
    made = invert(_table(lut))
    change = Change("inverse", "the table replaced by its inverse, which the title names")
    return replace(made, changes=(change, *made.changes))


def _stray(lut: Examined, finding: Finding, bounds: Bounds) -> Reworked:
    given = _table(lut)
    table3d = given.lut if isinstance(given, ShaperLut3D) else given
    if not isinstance(table3d, Lut3D) or finding.place is None:
        return _left(given, "stray", "not repaired: only a node of a 3D LUT can be")
    before = table3d.table.astype(np.float64)
    after = _put_back(before, finding.place.node)
    moved = float(np.abs(after - before).max())
    if moved * CODES_10_BIT > bounds.most:
        far = f"not repaired: the node would move by {moved * CODES_10_BIT:.0f} codes"
        return _left(given, "stray", f"{far}; --most allows {bounds.most:g}")
    made = replace(table3d, table=after)
    lut_made = replace(given, lut=made) if isinstance(given, ShaperLut3D) else made
    where = " ".join(map(str, finding.place.node))
    message = f"node {where} moved {moved * CODES_10_BIT:.1f} codes to what its neighbours suggest"
    return Reworked(lut_made, code_error(before, after), (Change("stray", message, moved),))


def _put_back(table: Array, node: tuple[int, ...]) -> Array:
    """The table with a node in the plateau around it, or else smoothed."""
    after = table.copy()
    for channel in range(3):
        plane = table[..., channel]
        for each in islands(plane):
            if each.count == 1 and each.node(plane.shape) == node:
                after[(*node, channel)] -= each.off
    return after if (after != table).any() else smoothed_node(table, node)


def _smoothing(name: str) -> Cure:
    def cure(lut: Examined, finding: Finding, bounds: Bounds) -> Reworked:
        given = _table(lut)
        if isinstance(given, Lut1D):
            return _left(given, name, "not repaired: this repair is for 3D LUTs only")
        return repair_table(given, (name,), fade=bounds.fade, most=bounds.most)

    return cure


CURES: dict[str, Cure] = {
    "scale": _scale,
    "domain": _domain,
    "axes": _axes,
    "channels": _channels,
    "inverse": _inverse,
    "legal": _legal,
    "stray": _stray,
    **{name: _smoothing(name) for name in REPAIRS},
}
"""The repairs by name, in the order in which they are made."""

MAX_PASSES = 6
"""Examinations with repairs: a file may have several faults, each visible only without the last."""


def repair(
    lut: Lut, what: Iterable[str] | None = None, *, bounds: Bounds | None = None
) -> Reworked:
    """A LUT with the defects repaired that `inspect` finds in it.

    Parameters
    ----------
    what
        The repairs to make, by name. Default: those for findings that cannot be intended.
        A smoothing that is named is done even if nothing was found.
    bounds
        How far a repair may go.

    A defect that stays is named in a change whose code ends in ``_left``, or in ``_kept`` if it
    may be intended. The error of the result is the largest that one repair made; a correction
    of the whole table (code values, the order of the rows) counts as no error.

    Raises
    ------
    LutbenchError
        When a repair is not known, or the LUT is unusable and cannot be repaired.
    """
    wanted = None if what is None else tuple(one_of("repair", each, CURES) for each in what)
    result, errors = lut, [NOTHING]
    changes: list[Change] = []
    bounds = bounds or Bounds()
    done: set[str] = set()
    for _ in range(MAX_PASSES):
        health = Health(Subject(result))
        for name, finding in _to_mend(health, wanted, done):
            done.add(name)
            made = CURES[name](Health(Subject(result)).examined, finding, bounds)
            result = made.lut
            changes += made.changes
            errors.append(made.error)
            if health.decided_by is not None:
                break
        else:
            break
    for name in wanted or ():
        if name in REPAIRS and name not in done and not isinstance(result, Lut1D):
            made = repair_table(result, (name,), fade=bounds.fade, most=bounds.most)
            result, changes, errors = made.lut, [*changes, *made.changes], [*errors, made.error]
            done.add(name)
    if wanted is None:
        changes += _left_over(result)
    idle = [name for name in wanted or () if name not in done]
    changes += [Change(f"{name}_not_found", f"nothing found for {name} to repair") for name in idle]
    worst = max(errors, key=lambda each: each.max)
    return Reworked(result, worst, tuple(changes))


def refuse_uncured(changes: Iterable[Change]) -> None:
    """Refuse a repair that found faults and could repair none of them.

    Raises
    ------
    LutbenchError
        When every fault that `changes` name was left, with what is wrong.
    """
    given = [each for each in changes if not each.code.endswith(("_not_found", "_kept"))]
    left = [each for each in given if each.code.endswith("_left")]
    if left and len(left) == len(given):
        causes = (each.message.removeprefix("not repaired: ") for each in left)
        messages = "; ".join(each.removeprefix("cannot be repaired: ") for each in causes)
        raise LutbenchError(
            f"nothing was repaired, and no LUT is made: {messages}",
            accepted="a fault that can be repaired; or make the LUT again",
        )


def _to_mend(
    health: Health, wanted: tuple[str, ...] | None, done: set[str]
) -> list[tuple[str, Finding]]:
    """Repairs with the finding that each is for, in the order of `CURES`."""
    found = {
        name: each
        for each in reversed(health.findings)
        for name in (each.cure, each.other_cure)
        if name and name not in done and (each.by_default if wanted is None else name in wanted)
    }
    return [(name, found[name]) for name in CURES if name in found]


def _left_over(result: Lut) -> list[Change]:
    """The defects that stay: no repair is for them, or they are repaired only on request.

    LutbenchError when the LUT is unusable.
    """
    bad = [each for each in Health(Subject(result)).findings if each.severity != "info"]
    if bad and bad[0].severity == "error":
        raise LutbenchError(f"cannot be repaired: {bad[0].message}", accepted=bad[0].advice)
    return [
        Change(f"{each.code}_left", f"cannot be repaired: {each.message}", each.value)
        for each in bad
        if not each.cure
    ] + [
        Change(
            f"{each.code}_kept",
            f"{each.message}; kept, as it may be intended (--only {each.cure} repairs it)",
            each.value,
        )
        for each in bad
        if each.cure and not each.by_default
    ]


def _table(lut: Examined) -> Lut:
    table = lut.subject.lut
    assert isinstance(table, Lut)
    return table


def _rewritten(lut: Lut, code: str, message: str) -> Reworked:
    return Reworked(lut, NOTHING, (Change(code, message),))


def _left(lut: Lut, name: str, message: str) -> Reworked:
    return Reworked(lut, NOTHING, (Change(f"{name}_left", message),))
