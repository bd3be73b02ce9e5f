"""PQ for a lesser display: the EETF of Report ITU-R BT.2390.

Source: Report ITU-R BT.2390-10, 5.4.1, on R G B, on the largest channel and on
luminance, each of which the Report names.
"""

from __future__ import annotations

import colour
import numpy as np

from open_world.case import Array, Case, Function, Step, baked
from open_world.ends import Ends
from open_world.spaces import REFERENCE_WHITE
from open_world.tone_on_luminance import by_ratio

NAME = "BT.2390 EETF"


def eetf(source: float, target: float, black: float = 0.0) -> Function:
    """Display light (1.0 at 203 cd/m²) of a mastering display for a lesser one."""
    top = float(colour.models.eotf_inverse_ST2084(source))
    most = float(colour.models.eotf_inverse_ST2084(target)) / top
    least = float(colour.models.eotf_inverse_ST2084(black)) / top if black else 0.0
    knee = 1.5 * most - 0.5

    def apply(light: Array) -> Array:
        nits = np.maximum(light, 0) * REFERENCE_WHITE
        e1 = np.clip(colour.models.eotf_inverse_ST2084(nits) / top, 0, 1)
        t = np.clip((e1 - knee) / (1 - knee), 0, 1)
        p = (
            (2 * t**3 - 3 * t**2 + 1) * knee
            + (t**3 - 2 * t**2 + t) * (1 - knee)
            + (-2 * t**3 + 3 * t**2) * most
        )
        e2 = np.where(e1 < knee, e1, p)
        e3 = e2 + least * (1 - e2) ** 4
        return np.asarray(colour.models.eotf_ST2084(e3 * top)) / REFERENCE_WHITE

    return apply


def generate(rng: np.random.Generator) -> Case:
    """PQ to PQ, or PQ to the signal of an SDR display whose white is the target's peak."""
    source = float(rng.choice([1000, 2000, 4000, 10000]))
    to_sdr = rng.random() < 0.4
    target = float(rng.choice([100, 203] if to_sdr else [400, 600, 800]))
    curve = eetf(source, target, float(rng.choice([0, 0, 0.05])))
    norm = [None, lambda x: x.max(axis=-1), lambda x: x @ np.array([0.2627, 0.6780, 0.0593])]
    where = norm[int(rng.integers(3))]
    tone = curve if where is None else by_ratio(curve, where)
    gamut = "BT.709" if to_sdr and rng.random() < 0.6 else "BT.2020"
    ends = Ends("ST 2084", "BT.2020", "BT.1886" if to_sdr else "ST 2084", gamut)
    scale = REFERENCE_WHITE / target if to_sdr else 1.0
    steps = [
        *ends.opening(),
        Step("tone", tone),
        ends.conversion(),
        Step("exposure", lambda rgb: rgb * scale),
        *ends.closing(),
    ]
    return baked(NAME, rng, ends.toned(look=None), steps)
