"""The kinds of findings that an examination looks for, and their limits by name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from lutbench.errors import LutbenchError, nearest_names
from lutbench.inspection.finding import FindingKind, Limit
from lutbench.inspection.findings import colours, faults, grey, order, table

_kinds: list[FindingKind] = [
    faults.IntegerValues(),
    faults.DomainInCodes(),
    faults.Constant(),
    faults.FalseColour(),
    faults.StuckValues(),
    order.AxisOrder(),
    order.ChannelOrder(),
    order.InverseOfTitle(),
    faults.DuplicateNodes(),
    grey.NonMonotonic(),
    grey.Tint(),
    grey.LegalRangeOutput(),
    grey.LegalRangeInput(),
    grey.ClippedHighlights(),
    grey.ClippedShadows(),
    colours.ClippedColours(),
    grey.LiftedBlack(),
    colours.Monochrome(),
    table.OutOfRange(),
    colours.Fold(),
    colours.FoldInBlack(),
    table.CoarseValues(),
    table.Noise(),
    table.StrayNode(),
    table.Banding(),
    table.Enlarged(),
    colours.HueShiftFound(),
]
"""In the order of the examination; what a file turns out to be comes first."""


def kinds() -> tuple[FindingKind, ...]:
    """All kinds of findings, in the order of the examination."""
    return tuple(_kinds)


def register(kind: FindingKind) -> None:
    """Look for another kind of finding in every examination from now on.

    Raises
    ------
    LutbenchError
        When its limit has the name of one that is there.
    """
    if any(each.limit_name == kind.limit_name for each in _kinds):
        raise LutbenchError(
            f"a finding named {kind.limit_name!r} is there already", accepted="another code"
        )
    _kinds.append(kind)


def unregister(kind: FindingKind) -> None:
    """Look for a kind no more that `register` added."""
    _kinds.remove(kind)


def codes() -> tuple[str, ...]:
    """The codes of all findings, each once."""
    return tuple(dict.fromkeys(each.code for each in _kinds))


def all_limits() -> dict[str, Limit]:
    """The limits with their defaults and reasons, by name."""
    return {each.limit_name: each.limit for each in _kinds if each.limit is not None}


@dataclass(frozen=True)
class Limits:
    """The limits in force: the defaults, with what was set over them."""

    set: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        known = all_limits()
        for name, value in self.set.items():
            if name not in known:
                close = nearest_names(name, known) or sorted(known)
                raise LutbenchError(
                    f"no finding with a limit has the code {name!r}", accepted=", ".join(close)
                )
            if not (np.isfinite(value) and value >= 0):
                raise LutbenchError(
                    f"a limit of {value:g} for {name} is not allowed", accepted="0 or more"
                )

    def __getitem__(self, name: str) -> float:
        return self.set.get(name, all_limits()[name].default)

    @classmethod
    def parse(cls, texts: tuple[str, ...] | list[str]) -> Limits:
        """Limits of texts such as ``tint=2.5``.

        >>> Limits.parse(["tint=2.5"])["tint"]
        2.5
        """
        found: dict[str, float] = {}
        for text in texts:
            name, sign, number = text.partition("=")
            try:
                found[name.strip()] = float(number)
            except ValueError:
                sign = ""
            if not sign:
                raise LutbenchError(f"{text!r} sets no limit", accepted="CODE=VALUE, as tint=2.5")
        return cls(found)
