"""How well simulated displays are fitted and calibrated: the table of docs/display.md.

`PYTHONPATH=.:tests/cases python tests/benchmarks/measure_display.py`
"""

from __future__ import annotations

import time

import numpy as np
from simulated_displays import ADDITIVE, NOT_ADDITIVE, held_out_colours, read_by_meter

from lutbench.display.calibration import Calibration, calibrate, differences
from lutbench.display.fit import fit_display
from lutbench.display.patches import patch_set
from lutbench.display.target import target_for
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamuts import BT709
from lutbench.tables.nodes import sample


def main() -> None:
    """Print a row for each display, set of patches and meter."""
    print("| display | patches | meter | foretold | left out | calibrated | fit, s | LUT, ms |")
    print("|---|---|---|---:|---:|---:|---:|---:|")
    colours = held_out_colours()
    for name, display in (ADDITIVE | NOT_ADDITIVE).items():
        white = display.xyz(np.ones(3))
        for amount, noise in (("short", 0.003), ("usual", 0.0), ("usual", 0.003)):
            read = read_by_meter(display, patch_set(amount), noise)
            start = time.process_time()
            fit = fit_display(read)
            fitted = time.process_time() - start
            foretold = differences(fit.model.xyz(colours), display.xyz(colours), white)
            target = target_for(fit.model, Bt1886(), BT709)
            shown = display.xyz(calibrate(fit.model, target).lut.apply(colours))
            start = time.process_time()
            sample(Calibration(fit.model, target), 33)
            sampled = time.process_time() - start
            done = differences(shown, target.xyz(colours), target.white)
            meter = "0.3 % noise" if noise else "exact"
            figures = (
                foretold["delta_e_2000"].mean,
                fit.spread.mean,
                done["delta_e_2000"].mean,
                fitted,
            )
            cells = " | ".join(f"{x:.2f}" for x in figures)
            print(f"| {name} | {amount} | {meter} | {cells} | {1000 * sampled:.0f} |", flush=True)


if __name__ == "__main__":
    main()
