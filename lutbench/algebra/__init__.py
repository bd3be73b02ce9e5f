"""Operations on LUTs: chains, inverses, other sizes, ranges, repairs, blends.

Every function gives a `Reworked`: the new LUT, what was changed in it, and its error
in 10-bit code values (signal · 1023).

Names here may change with any version, unless a page of the manual imports them.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lutbench.algebra.blending import blend as blend
    from lutbench.algebra.blending import strength as strength
    from lutbench.algebra.chaining import chain as chain
    from lutbench.algebra.inversion import invert as invert
    from lutbench.algebra.neutral import neutral_curve as neutral_curve
    from lutbench.algebra.ranges import change_domain as change_domain
    from lutbench.algebra.ranges import change_range as change_range
    from lutbench.algebra.repairing import repair as repair
    from lutbench.algebra.resampling import resample as resample

_HOMES = {
    "blend": "blending",
    "strength": "blending",
    "chain": "chaining",
    "invert": "inversion",
    "neutral_curve": "neutral",
    "change_domain": "ranges",
    "change_range": "ranges",
    "repair": "repairing",
    "resample": "resampling",
}

__all__ = [*_HOMES]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'lutbench.algebra' has no attribute {name!r}")
    return getattr(import_module(f"lutbench.algebra.{_HOMES[name]}"), name)
