"""Parameters of the parts of a conversion: each with its default, its limits and its unit.

They are defined once, at the dataclass field. A part checks its values against the limits,
`lutbench list` shows them, and fits of a part to a LUT search within them.
"""

from __future__ import annotations

import math
from dataclasses import MISSING, dataclass, field, fields
from functools import cache
from typing import Annotated, Any

from lutbench.errors import DefinitionError
from lutbench.given import double
from lutbench.results import PlainData


@dataclass(frozen=True)
class Parameter(PlainData):
    """A setting of a tone or of a gamut mapping."""

    KEYS = ("name", "default", "limits", "unit?", "accepted")

    name: str
    """The name of the field, and the key in recipes."""
    default: Annotated[Any, float | str | list[float] | None]
    """The default value."""
    limits: tuple[float, float] | None = None
    """The smallest and the largest number; null for words."""
    unit: str = ""
    """``stops``, ``cd/m²`` …; null for a share or a factor."""
    accepted: tuple[str, ...] = ()
    """The words that it accepts."""

    @property
    def range_words(self) -> str:
        """The values that it may have, in words.

        >>> Parameter("blend", 0.0, (0.0, 1.0)).range_words
        '0 to 1'
        """
        if self.limits is None:
            return ", ".join(self.accepted) or type(self.default).__name__
        low, high = self.limits
        return f"{low:g} to {high:g} {self.unit}".rstrip()


def bounded(default: Any, low: float, high: float, unit: str = "") -> Any:
    """A dataclass field for a number (or several) from `low` to `high`."""
    return field(default=default, metadata={"limits": (low, high), "unit": unit})


def worded(default: str, accepted: tuple[str, ...]) -> Any:
    """A dataclass field for one of several texts."""
    return field(default=default, metadata={"accepted": accepted})


def parameters(part: Any) -> tuple[Parameter, ...]:
    """The parameters of a part (a dataclass or an instance): its fields that have a default.

    >>> from lutbench.model.tone.eetf import Eetf
    >>> [each.name for each in parameters(Eetf)][:2]
    ['source_peak', 'target_peak']
    """
    return _declared(part if isinstance(part, type) else type(part))


@cache
def _declared(part: type) -> tuple[Parameter, ...]:
    return tuple(
        Parameter(
            each.name,
            each.default,
            each.metadata.get("limits"),
            each.metadata.get("unit", ""),
            each.metadata.get("accepted", ()),
        )
        for each in fields(part)
        if each.default is not MISSING and each.init and not each.metadata.get("hidden")
    )


def hold_to_limits(part: Any, where: str) -> None:
    """Check that all numbers of a part are within their limits.

    Raises DefinitionError when one is not, with the parameter and its limits.
    """
    for each in parameters(part):
        if each.limits is None:
            continue
        low, high = each.limits
        value = getattr(part, each.name)
        for number in value if isinstance(value, tuple) else (value,):
            found = double(number)
            if not math.isfinite(found) or not low <= found <= high:
                shown = f"{number!r:.40}" if math.isnan(found) else f"{found:g}"
                raise DefinitionError(
                    f"{each.name} {shown} is out of range",
                    where=where,
                    accepted=each.range_words,
                )
