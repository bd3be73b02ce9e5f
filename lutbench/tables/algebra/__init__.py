"""What can be made of LUTs: chains, inverses, other sizes, ranges, repairs, blends.

Every function gives a `Reworked`: the new LUT, what was changed in it, and how far
it is from what it stands for, in 10-bit code values (signal · 1023).
"""

from lutbench.tables.algebra.blend import blend, strength
from lutbench.tables.algebra.chain import chain
from lutbench.tables.algebra.invert import invert
from lutbench.tables.algebra.neutral import neutral_curve
from lutbench.tables.algebra.ranges import change_domain, change_range
from lutbench.tables.algebra.repair import repair
from lutbench.tables.algebra.resample import resample
from lutbench.tables.algebra.result import Change, CodeError, Reworked

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
