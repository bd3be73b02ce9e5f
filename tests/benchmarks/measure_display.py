"""How well simulated displays are fitted and calibrated: the table of docs/display.md.

`PYTHONPATH=.:tests/cases python tests/benchmarks/measure_display.py`
"""

from __future__ import annotations

import time

import numpy as np
from simulated_displays import ADDITIVE, NOT_ADDITIVE, held_out_colours, read_by_meter

from lutbench.display.calibration import calibrate, differences
from lutbench.display.fit import fit_display
from lutbench.display.patches import patch_set
from lutbench.display.target import target_for
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamuts import BT709


def main() -> None:
    """Print a row for each display, set of patches and meter."""
    print("| display | patches | meter | foretold | left out | calibrated | seconds |")
    print("|---|---|---|---:|---:|---:|---:|")
    colours = held_out_colours()
    for name, display in (ADDITIVE | NOT_ADDITIVE).items():
        white = display.xyz(np.ones(3))
        for amount, noise in (("short", 0.003), ("usual", 0.0), ("usual", 0.003)):
            read = read_by_meter(display, patch_set(amount), noise)
            start = time.perf_counter()
            fit = fit_display(read)
            seconds = time.perf_counter() - start
            foretold = differences(fit.model.xyz(colours), display.xyz(colours), white)
            target = target_for(fit.model, Bt1886(), BT709)
            shown = display.xyz(calibrate(fit.model, target).lut.apply(colours))
            done = differences(shown, target.xyz(colours), target.white)
            meter = "0.3 % noise" if noise else "exact"
            figures = (
                foretold["delta_e_2000"].mean,
                fit.spread().mean,
                done["delta_e_2000"].mean,
                seconds,
            )
            print(
                f"| {name} | {amount} | {meter} | " + " | ".join(f"{x:.2f}" for x in figures), "|"
            )


if __name__ == "__main__":
    main()
