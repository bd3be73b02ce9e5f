"""The kind `invariants`: properties that hold for any sound LUT, whatever its purpose.

- ``neutral``: on the neutral axis the three channels are equal.
- ``monotone``: along the neutral axis no channel falls.
- ``monotone_channels``: on each line of nodes along an axis, that axis's channel does not fall.
- ``round_trip``: the inverse (or the LUT named as `inverse`) gives the input back.
- ``within_range``: no output is outside 0..1.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

import numpy as np

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.judging import in_codes, verdict
from lutbench.checks.limits import CheckFigure, checked_limit
from lutbench.errors import DefinitionError, LutbenchError
from lutbench.measure.comparison import ASSUMED_SOURCE
from lutbench.measure.samples import chart_patches, neutral_ramp, nodes_of, random_points
from lutbench.model.conversion import Encoding
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.recipes import keys
from lutbench.recipes.subjects import NamedTransform
from lutbench.tables.lut import Lut3D, axes_of, lattice
from lutbench.tables.nodes import domain_of

DEFAULT_LIMITS = {
    "neutral": 0.1,
    "monotone": 0.01,
    "monotone_channels": 0.01,
    "round_trip": 1.0,
    "within_range": 0.001,
}
"""In 10-bit codes; the rounding of a file to six decimals causes up to 0.001."""


@dataclass(frozen=True)
class Deviation:
    """The largest deviation from an invariant, in 10-bit codes, and where it is."""

    codes: float
    where: str


Hold = Annotated[tuple[str, ...], str | list[Annotated[str, keys.names(lambda: INVARIANTS)]]]


@dataclass(frozen=True, kw_only=True)
class InvariantsCheck(Check):
    """Properties that hold for any sound LUT."""

    kind: ClassVar[str] = "invariants"
    lut: str
    hold: Hold = ("neutral", "monotone")
    limits: Annotated[dict[str, Any] | None, keys.limits(lambda: INVARIANTS)] = None
    """In 10-bit codes."""
    inverse: str = ""
    """The inverse LUT, for `round_trip`."""

    def __post_init__(self) -> None:
        for key in ("hold", "limits"):
            self.respell(key, "invariant", INVARIANTS)
        if "round_trip" not in self.hold:
            self.refuse_unused('hold = ["round_trip"]', "inverse")
        for name in set(self.limits or ()) - set(self.hold):
            raise DefinitionError(
                "is not held, so its limit checks nothing",
                where=self.at(f"limits, {name}"),
                accepted=f"{name} in hold",
            )

    def run(self, context: Context) -> CheckResult:
        if not self.hold:
            raise DefinitionError(
                "no invariant is named, so nothing is checked",
                where=f"{self.where}, hold",
                accepted=", ".join(INVARIANTS),
            )
        side = context.subject(self.lut)
        inverse = context.subject(self.inverse).transform if self.inverse else None
        figures, places = [], []
        for name in self.hold:
            value = (self.limits or {}).get(name, DEFAULT_LIMITS[name])
            limit = checked_limit(value, f"{self.where}, limits, {name}", CODES_10_BIT)
            measured = INVARIANTS[name](side, inverse)
            figure = CheckFigure(name, measured.codes, limit, LABELS[name], "10-bit codes")
            figures.append(figure)
            if not figure.holds:
                places.append(measured.where)
        figures.sort(key=lambda figure: figure.holds)
        return verdict(figures, "; ".join(places), context.shows("inspect", side))


def _outputs(transform: Transform, inputs: Array) -> Array:
    out = np.asarray(transform.apply(inputs), dtype=np.float64)
    if not np.isfinite(out).all():
        raise LutbenchError("the output is NaN or infinite", accepted="finite values")
    return out


def _greys(transform: Transform) -> Array:
    """All 10-bit greys, and the greys of the nodes."""
    greys: Array = neutral_ramp(domain=domain_of(transform)).signals
    if isinstance(transform, Lut3D):
        greys = np.unique(np.concatenate([greys, axes_of(transform)]), axis=0)
    return greys


def _neutral(side: NamedTransform, inverse: Transform | None) -> Deviation:
    greys = _greys(side.transform)
    out = _outputs(side.transform, greys)
    spread = CODES_10_BIT * np.ptp(out, axis=-1)
    at = int(spread.argmax())
    return Deviation(
        float(spread[at]), f"grey {in_codes(greys[at])} comes out as {in_codes(out[at])} (10 bit)"
    )


def _monotone(side: NamedTransform, inverse: Transform | None) -> Deviation:
    greys = _greys(side.transform)
    out = _outputs(side.transform, greys)
    # How far a channel is below its highest value so far.
    fall = CODES_10_BIT * (np.maximum.accumulate(out, axis=0) - out).max(axis=-1)
    at = int(fall.argmax())
    return Deviation(float(fall[at]), f"the output falls up to grey {in_codes(greys[at])} (10 bit)")


def _monotone_channels(side: NamedTransform, inverse: Transform | None) -> Deviation:
    transform = side.transform
    size = transform.size if isinstance(transform, Lut3D) else 17
    inputs = lattice(size, domain_of(transform))
    out = _outputs(transform, inputs)
    worst = Deviation(0.0, "")
    for axis in range(3):
        channel = out[..., axis]
        fall = CODES_10_BIT * (np.maximum.accumulate(channel, axis=axis) - channel)
        if fall.max() > worst.codes:
            at = tuple(int(i) for i in np.unravel_index(int(fall.argmax()), fall.shape))
            worst = Deviation(
                float(fall.max()), f"{'RGB'[axis]} falls along its own axis at node {list(at)}"
            )
    return worst


def _round_trip(side: NamedTransform, inverse: Transform | None) -> Deviation:
    back = inverse if inverse is not None else side.transform.inverse()
    source: Encoding = side.source or ASSUMED_SOURCE
    inputs = np.concatenate(
        [
            chart_patches(source, [-2.0, 0.0]).signals,
            neutral_ramp(domain=domain_of(side.transform)).signals,
            random_points(domain=domain_of(side.transform)).signals,
        ]
    )
    out = _outputs(side.transform, inputs)
    # Clipped colours cannot come back.
    whole = ((out > 0) & (out < 1)).all(axis=-1)
    if not whole.any():
        raise LutbenchError("every colour is clipped, so the round trip cannot be checked")
    inputs, out = inputs[whole], out[whole]
    again = _outputs(back, out)
    off = CODES_10_BIT * np.abs(again - inputs).max(axis=-1)
    at = int(off.argmax())
    return Deviation(
        float(off[at]), f"{in_codes(inputs[at])} comes back as {in_codes(again[at])} (10 bit)"
    )


def _within_range(side: NamedTransform, inverse: Transform | None) -> Deviation:
    nodes = nodes_of(side.transform)
    inputs = nodes.signals if nodes else random_points(domain=domain_of(side.transform)).signals
    out = _outputs(side.transform, inputs)
    beyond = CODES_10_BIT * np.maximum(-out, out - 1).max(axis=-1)
    at = int(beyond.argmax())
    return Deviation(
        max(0.0, float(beyond[at])), f"{in_codes(inputs[at])} gives {in_codes(out[at])} (10 bit)"
    )


INVARIANTS: dict[str, Callable[[NamedTransform, Transform | None], Deviation]] = {
    "neutral": _neutral,
    "monotone": _monotone,
    "monotone_channels": _monotone_channels,
    "round_trip": _round_trip,
    "within_range": _within_range,
}
LABELS = {
    "neutral": "channels differ on the neutral axis by",
    "monotone": "neutral axis falls by",
    "monotone_channels": "a channel falls along its own axis by",
    "round_trip": "round trip is off by",
    "within_range": "output beyond 0..1 by",
}
