"""Scene-linear light behind a 1D shaper, to a display.

Source: common practice: a log shaper before the 3D LUT, the shaper in the file.
"""

from __future__ import annotations

import numpy as np

from open_world.case import Array, Case, Step, lattice, rows_text, run, some_decimals
from open_world.ends import Ends, exposed
from open_world.spaces import DISPLAY_GAMUTS, SDR_CURVES, gamut_names
from open_world.tones import some_tone

NAME = "linear with a shaper"


def generate(rng: np.random.Generator) -> Case:
    """A shaper even in stops from -8 to +4..+6, as table of 4096 or 1024 rows."""
    gamut = str(rng.choice(gamut_names(0.13)))
    ends = Ends("linear", gamut, str(rng.choice(SDR_CURVES)), str(rng.choice(DISPLAY_GAMUTS)))
    low, high = -8.0, float(rng.uniform(4, 6))
    rows_1d = int(rng.choice([1024, 4096, 16384]))
    top = 0.18 * 2**high

    def light_of(knot: Array) -> Array:
        return 0.18 * 2 ** (low + knot * (high - low))

    toned = rng.random() < 0.6
    middle = [Step("tone", some_tone(rng))] if toned else [exposed(0.0)]
    rest = [ends.conversion(), *middle, *ends.closing()]
    size, decimals = int(rng.choice([17, 33, 33])), max(some_decimals(rng), 6)
    x = np.linspace(0, top, rows_1d)
    knots = np.clip((np.log2(np.maximum(x, 1e-9) / 0.18) - low) / (high - low), 0, 1)
    table = run([Step("source curve", light_of), *rest], lattice(size))
    head = f"LUT_1D_SIZE {rows_1d}\nLUT_3D_SIZE {size}\nLUT_1D_INPUT_RANGE 0.0 {top:.6f}\n"
    shaper = rows_text(np.repeat(knots[:, None], 3, axis=1), decimals)
    text = (head + shaper + rows_text(table, decimals)).encode()
    truth = ends.toned() if toned else ends.truth(exposure=0.0)
    return Case(NAME, text, truth, tuple(rest))
