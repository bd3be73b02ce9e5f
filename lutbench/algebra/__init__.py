"""What can be made of LUTs: chains, inverses, other sizes, ranges, repairs, blends.

Every function gives a `Reworked`: the new LUT, what was changed in it, and how far
it is from what it stands for, in 10-bit code values (signal · 1023).
"""

from lutbench.algebra.blend import blend, strength
from lutbench.algebra.chain import chain
from lutbench.algebra.invert import invert
from lutbench.algebra.neutral import neutral_curve
from lutbench.algebra.ranges import change_domain, change_range
from lutbench.algebra.repair import repair
from lutbench.algebra.resample import resample
from lutbench.algebra.result import Change, CodeError, Reworked

__all__ = [
    "Change",
    "CodeError",
    "Reworked",
    "blend",
    "chain",
    "change_domain",
    "change_range",
    "invert",
    "neutral_curve",
    "repair",
    "resample",
    "strength",
]
