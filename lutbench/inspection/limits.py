"""Limits of findings that a user sets over the defaults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from lutbench.errors import LutbenchError, nearest_names
from lutbench.inspection.registry import all_limits


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
