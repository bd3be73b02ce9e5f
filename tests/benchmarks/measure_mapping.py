"""What each way with colours out of gamut does to hue and chroma: the table of
docs/maths/gamut-map.md.

`PYTHONPATH=. python tests/benchmarks/measure_mapping.py`
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.measure.delta_e import itp_from_xyz, lab_from_xyz
from lutbench.model.compression import GamutCompression
from lutbench.model.gamut_map import LAB_FROM_ROOTS, GamutMapping, lms_matrix
from lutbench.model.gamuts import BT709, BT2020, P3_D65, conversion
from lutbench.model.transforms import Clamp, Transform
from lutbench.tables.lut import lattice

Array = NDArray[np.float64]
SPACES: dict[str, Callable[[Array], Array]] = {
    "Oklab": lambda xyz: (
        np.cbrt(xyz @ np.linalg.inv(BT2020.to_xyz).T @ lms_matrix(BT2020).T) @ LAB_FROM_ROOTS.T
    ),
    "ICtCp": lambda xyz: itp_from_xyz(203 * xyz),
    "CIELAB": lambda xyz: lab_from_xyz(xyz, BT2020.to_xyz.sum(axis=1)),
}


def polar(plane: Array) -> tuple[Array, Array]:
    """Hue in degrees, and chroma."""
    a, b = plane[:, 1], plane[:, 2]
    return np.degrees(np.arctan2(b, a)), np.hypot(a, b)


def main() -> None:
    """Print a row for each target and way."""
    rgb = lattice(17).reshape(-1, 3)
    rgb = rgb[(rgb.min(axis=1) == 0) & (rgb.max(axis=1) > 0.2)] ** 2.4
    print("| to | way | Oklab | ICtCp | CIELAB | chroma kept (ICtCp) |")
    print("|---|---|---:|---:|---:|---:|")
    for target in (BT709, P3_D65):
        ways: dict[str, Transform] = {
            "clip": Clamp(),
            "compress": GamutCompression() | Clamp(),
            "map": GamutMapping(target),
        }
        for name, way in ways.items():
            after = (conversion(BT2020, target) | way).apply(rgb)
            cells: list[Any] = []
            for space in SPACES.values():
                hue, chroma = polar(space(rgb @ BT2020.to_xyz.T))
                hue_after, chroma_after = polar(space(after @ target.to_xyz.T))
                turn = np.abs((hue_after - hue + 180) % 360 - 180)
                cells.append(f"{turn.max():.1f} ({turn.mean():.1f})")
                kept = float((chroma_after / chroma).mean())
                if space is SPACES["ICtCp"]:
                    share = f"{100 * kept:.0f} %"
            print(f"| {target.name} | {name} | " + " | ".join([*cells, share]), "|")


if __name__ == "__main__":
    main()
