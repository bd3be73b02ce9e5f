"""Every mixture of full and legal ranges, laid out for 8 and for 10 bits.

Source: Recommendation ITU-R BT.2100-2, table 9; BT.709-6, item 4.6.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import some_ends
from open_world.tones import some_tone

NAME = "mixed ranges of 8 and 10 bits"


def generate(rng: np.random.Generator) -> Case:
    """At least one end legal."""
    ends = some_ends(rng, legal=0.0)
    source, target = [("legal", "full"), ("full", "legal"), ("legal", "legal")][
        int(rng.integers(3))
    ]
    ends = replace(
        ends,
        source_range=source,
        target_range=target,
        source_bits=int(rng.choice([8, 10])),
        target_bits=int(rng.choice([8, 10])),
    )
    toned = rng.random() < 0.5
    tone = [Step("tone", some_tone(rng))] if toned else []
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing()]
    return baked(NAME, rng, (ends.toned if toned else ends.truth)(), steps)
