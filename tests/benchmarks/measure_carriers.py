"""What an EETF does to hue and chroma by what it acts on: the table of docs/maths/carriers.md.

`PYTHONPATH=. python tests/benchmarks/measure_carriers.py`
"""

from __future__ import annotations

import numpy as np

from lutbench.measure.delta_e import itp_from_xyz, lab_from_xyz
from lutbench.model.gamuts import BT2020
from lutbench.model.tone.carrier import CARRIERS
from lutbench.model.tone.eetf import Eetf
from lutbench.tables.lut import lattice

PEAK, DISPLAY = 1000.0, 203.0


def main() -> None:
    """Print a row for each carrier and blend: BT.2020's boundary, 10 to 1000 cd/m²."""
    rgb = lattice(17).reshape(-1, 3)
    rgb = PEAK * rgb[(rgb.min(axis=1) == 0) & (rgb.max(axis=1) > 0.25)] ** 3
    white = BT2020.to_xyz.sum(axis=1)
    print("| on | blend | hue, ICtCp | hue, CIELAB | chroma kept, ICtCp | luminance kept |")
    print("|---|---:|---:|---:|---:|---:|")
    for on in CARRIERS:
        for blend in (0.0,) if on == "channels" else (0.0, 1.0):
            shown = Eetf(PEAK, DISPLAY, on=on, blend=blend).apply(rgb)
            before, after = rgb @ BT2020.to_xyz.T, shown @ BT2020.to_xyz.T
            cells = []
            for space in (
                (itp_from_xyz(before), itp_from_xyz(after)),
                (lab_from_xyz(before / PEAK, white), lab_from_xyz(after / DISPLAY, white)),
            ):
                first, second = (np.degrees(np.arctan2(x[:, 2], x[:, 1])) for x in space)
                turn = np.abs((second - first + 180) % 360 - 180)
                coloured = np.hypot(space[1][:, 1], space[1][:, 2]) > 0.02
                turn = turn[coloured]
                cells.append(f"{turn.max():.1f} ({turn.mean():.1f})")
            planes = [
                np.hypot(x[:, 1], x[:, 2]) for x in (itp_from_xyz(before), itp_from_xyz(after))
            ]
            cells.append(f"{100 * (planes[1] / planes[0]).mean():.0f} %")
            cells.append(f"{100 * (after[:, 1] / before[:, 1]).mean():.0f} %")
            print(f"| {on} | {blend:g} | " + " | ".join(cells), "|")


if __name__ == "__main__":
    main()
