"""A finding, a kind of finding, and the LUT that is examined."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import numpy as np

from lutbench.inspection import lattice as measures
from lutbench.inspection.subject import CODES, Subject
from lutbench.results import PlainData
from lutbench.tables.smoothing import corner_left, faces_shortened, gaussian_undone
from lutbench.tables.traces import enlarged_from

if TYPE_CHECKING:
    from lutbench.inspection.hue import HueShift
    from lutbench.inspection.swapped import Swapped

Severity = Literal["info", "warning", "error"]
SEVERITIES: tuple[Severity, ...] = ("info", "warning", "error")

CHANNELS = ("red", "green", "blue")

MOST_BY_UNIT = {
    "10-bit codes": CODES,
    "degrees": 180.0,
    "of a step": 10.0,
    "of the misfit": 1.0,
    "jumps": CODES,
    "signal": float(2**16 - 1),
    "nodes": 256.0,
    "colours": 256.0**3,
}
"""The largest possible value of a finding by its unit; a share is at most 1."""


@dataclass(frozen=True)
class Place(PlainData):
    """A place in the table: the node, what goes in there, and what comes out."""

    KEYS = ("node", "input", "output", "swatch")

    node: tuple[int, ...]
    input: tuple[float, ...]
    output: tuple[float, ...]

    @property
    def swatch(self) -> str:
        """The output signal as ``#rrggbb``, without any conversion."""
        codes = np.rint(255 * np.clip(np.nan_to_num(self.output), 0, 1)).astype(int)
        return "#" + "".join(f"{code:02x}" for code in codes.tolist())


@dataclass(frozen=True)
class Examined:
    """A LUT under examination.

    Parameters
    ----------
    subject
        The LUT with its neutral axis and its planes.
    limits
        The limits that the user set, by name.
    scene_white
        The input of a 90 % reflectance, where the source curve is known.
    hue
        What happens to hues; None where the source is not known.
    """

    subject: Subject
    limits: Mapping[str, float] = field(default_factory=dict)
    scene_white: float | None = None
    hue: HueShift | None = None

    @property
    def title(self) -> str:
        """The title that the file gives; empty without one."""
        return str(getattr(self.subject.lut, "title", ""))

    @cached_property
    def folds(self) -> measures.Folds | None:
        """The folds of the lattice; None for a 1D LUT."""
        return None if self.subject.lattice is None else measures.folds(self.subject)

    @cached_property
    def coarse_bits(self) -> int | None:
        """The bit depth to whose codes the whole table is rounded; None if it is to none."""
        return measures.coarse_bits(self.subject)

    @property
    def coarse_step(self) -> float:
        """The step of a table that is rounded to few bits, in 10-bit codes; else 0."""
        return CODES / (2**self.coarse_bits - 1) if self.coarse_bits else 0.0

    @cached_property
    def noise(self) -> float:
        """The noise of the values, in 10-bit codes."""
        return measures.noise(self.subject)

    @cached_property
    def enlarged_from(self) -> tuple[int, float, str] | None:
        """The size of the table that this was enlarged from, and the misfit in signal."""
        if self.subject.lattice is None:
            return None
        return enlarged_from(self.subject.planes)

    @cached_property
    def corner_left(self) -> float | None:
        """What is left of corners where the table clips: see `smoothing`."""
        return corner_left(self.subject.planes)

    @cached_property
    def faces_shortened(self) -> float | None:
        """By how much the first steps at the faces are too short: see `smoothing`."""
        return faces_shortened(self.subject.planes)

    @cached_property
    def gaussian_undone(self) -> float | None:
        """The width of the Gaussian that explains the faces, in nodes: see `smoothing`."""
        return gaussian_undone(self.subject.planes)

    @cached_property
    def order(self) -> tuple[int, int, int]:
        """The input channel that each output channel follows."""
        order, times = measures.channel_order(self.subject)
        if order == measures.RIGHT:
            return order
        from lutbench.inspection.swapped import CLEAR_RATIO, confirmed  # most LUTs need not load it

        return order if times >= CLEAR_RATIO or confirmed(self.subject, order) else measures.RIGHT

    @cached_property
    def swapped(self) -> Swapped | None:
        """Where red and blue have changed places, if they have."""
        if self.order != measures.REVERSED:
            return None
        from lutbench.inspection.swapped import red_and_blue  # most LUTs need not load it

        return red_and_blue(self.subject)

    def on_axis(self, index: int) -> Place:
        """The place of a point of the neutral axis."""
        axis = self.subject.neutral
        value = float(axis.inputs[index])
        node = (index,) * 3 if self.subject.lattice is not None else (index,)
        return Place(node, (value,) * 3, tuple(axis.outputs[index].tolist()))

    def at(self, node: tuple[int, ...]) -> Place:
        """The place of a node of the table."""
        index: tuple[Any, ...] = (slice(None), *node)
        values = self.subject.planes[index]
        return Place(node, self.subject.node_input(node), tuple(values.tolist()))


@dataclass(frozen=True)
class Limit:
    """The limit of a finding: its default, its unit, and why it is that."""

    default: float
    unit: str
    why: str

    @property
    def most(self) -> float:
        """The largest value that the finding can have: within such a limit all passes."""
        return MOST_BY_UNIT.get(self.unit, 1.0 if self.unit.startswith("share") else math.inf)


@dataclass(frozen=True)
class Finding(PlainData):
    """One thing that was found; `value` and `limit` are in `unit`."""

    KEYS = (
        *("code", "severity", "message", "value", "limit", "unit"),
        *("seen", "advice", "place", "cure?"),
    )

    code: str
    """Stable: a key of the limits."""
    severity: Severity
    message: str
    value: float
    limit: float | None
    unit: str
    seen: str
    advice: str
    place: Place | None = None
    cure: str = ""
    """The name of the repair for it; empty without one."""
    by_default: bool = False
    """Whether the repair is made even when it is not named."""
    other_cure: str = ""
    """Another repair, where the table cannot tell which of the two is right."""


@dataclass(frozen=True)
class NotExamined:
    """Findings that could not be looked for, by their codes, and why."""

    codes: tuple[str, ...]
    why: str

    def __str__(self) -> str:
        return f"{', '.join(self.codes)}: {self.why}"


NO_LATTICE = "a 1D LUT treats each channel by itself"


class FindingKind(ABC):
    """A kind of finding. A subclass says what it measures, its limit, and its texts.

    `code` names the finding; `limit_code` names its limit where two kinds report the same
    code. `unit` is the unit of the value of a kind that has no limit.
    """

    code: ClassVar[str]
    limit_code: ClassVar[str] = ""
    limit: ClassVar[Limit | None] = None
    unit: ClassVar[str] = ""
    severity: ClassVar[Severity] = "warning"
    severest: ClassVar[Severity | None] = None
    """What a grave case of it has instead of `severity`."""
    decides: ClassVar[bool] = False
    """Whether this finding makes all others pointless, so that they are not looked for."""
    cure: ClassVar[str] = ""
    """The repair for it, by its name in ``lutbench rework repair --only``."""
    needs_lattice: ClassVar[bool] = False
    """Whether it is looked for in the lattice of a 3D LUT only."""
    cured_on_request: ClassVar[bool] = False
    """Whether it may be intended, so that it is repaired only when the repair is named."""
    seen: ClassVar[str]
    """What a viewer sees of it."""
    advice: ClassVar[str]
    """What to do about it."""

    @abstractmethod
    def examine(self, lut: Examined) -> Iterator[Finding]:
        """The findings of this kind in a LUT; none in a sound one."""

    def hindrance(self, lut: Examined) -> str:
        """Why this kind cannot be looked for in that LUT; empty where it can."""
        return NO_LATTICE if self.needs_lattice and lut.subject.lattice is None else ""

    @property
    def limit_name(self) -> str:
        """The name of the limit in ``--limit NAME=VALUE``."""
        return self.limit_code or self.code

    def limit_for(self, lut: Examined) -> float:
        """The limit in force: what the user set, else the default."""
        assert self.limit is not None
        return lut.limits.get(self.limit_name, self.limit.default)

    def finding(self, lut: Examined, message: str, value: float, **changed: Any) -> Finding:
        """A finding of this kind; `changed` are fields that differ from the kind's own."""
        fields: dict[str, Any] = {
            "code": self.code,
            "severity": self.severity,
            "message": message,
            "value": value,
            "limit": self.limit_for(lut) if self.limit else None,
            "unit": self.limit.unit if self.limit else self.unit,
            "seen": self.seen,
            "advice": self.advice,
            "cure": self.cure,
            "by_default": bool(self.cure) and not self.cured_on_request,
        }
        return Finding(**(fields | changed))


def worst_severity(findings: tuple[Finding, ...]) -> Severity | None:
    """The worst severity among the findings; None without findings."""
    found = [each.severity for each in findings]
    return max(found, key=SEVERITIES.index) if found else None


def nearest(value: float, marks: tuple[float, ...]) -> float:
    """The distance to the nearest of some marks."""
    return float(np.min(np.abs(np.array(marks) - value)))
