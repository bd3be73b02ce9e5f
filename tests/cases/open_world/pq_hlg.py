"""PQ to HLG and back through display light.

Source: Recommendation ITU-R BT.2100-2, table 5 (OOTF and its inverse) and Report ITU-R
BT.2390, section 7.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, baked
from open_world.ends import Ends
from open_world.hlg_to_sdr import HLG_WHITE, WEIGHTS, to_display
from open_world.spaces import REFERENCE_WHITE

NAME = "PQ to HLG, HLG to PQ"


def to_scene(peak: float) -> Step:
    """Display light (1.0 at 203 cd/m²) to HLG's scene light (1.0 at 75 %)."""
    gamma = 1.2 + 0.42 * np.log10(peak / 1000)

    def apply(light: Array) -> Array:
        shown = np.maximum(light * REFERENCE_WHITE / peak, 0)
        y = np.maximum(shown @ WEIGHTS, 1e-12)[..., None]
        return y ** (1 / gamma - 1) * shown / HLG_WHITE

    return Step("ootf", apply)


def generate(rng: np.random.Generator) -> Case:
    """A display of 1000 cd/m², sometimes another; legal at times."""
    peak = float(rng.choice([1000, 1000, 600, 2000]))
    legal = "legal" if rng.random() < 0.3 else "full"
    if rng.random() < 0.5:
        ends = Ends("ST 2084", "BT.2020", "BT.2100 HLG", "BT.2020", legal, legal)
        middle = to_scene(peak)
    else:
        ends = Ends("BT.2100 HLG", "BT.2020", "ST 2084", "BT.2020", legal, legal)
        middle = to_display(peak)
    truth = ends.truth(look=None, kind=None)
    return baked(NAME, rng, truth, [*ends.opening(), middle, *ends.closing()])
