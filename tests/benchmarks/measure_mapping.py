"""What each way with colours out of gamut does to hue and chroma: the tables of
docs/maths/gamut-map.md.

`PYTHONPATH=.:tests/cases python tests/benchmarks/measure_mapping.py`
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from gamut_references import by_cam16, by_cielab, cam16
from numpy.typing import NDArray

from lutbench.measure.delta_e import delta_e_2000, itp_from_xyz, lab_from_xyz
from lutbench.model.compression import GamutCompression
from lutbench.model.gamut_map import LAB_FROM_ROOTS, GamutMapping, lms_matrix
from lutbench.model.gamuts import BT709, BT2020, P3_D65, Gamut, conversion
from lutbench.model.transforms import Clamp, Transform
from lutbench.tables.lut import lattice

Array = NDArray[np.float64]
WHITE = BT2020.to_xyz.sum(axis=1)


def oklab(xyz: Array) -> Array:
    """L, a, b of Oklab."""
    lms = xyz @ np.linalg.inv(BT2020.to_xyz).T @ lms_matrix(BT2020).T
    return np.asarray(np.cbrt(lms) @ LAB_FROM_ROOTS.T)


def cam16_plane(xyz: Array) -> Array:
    """J and the rectangular coordinates of chroma and hue."""
    j, chroma, hue = cam16(xyz).T
    angle = np.radians(hue)
    return np.stack([j, chroma * np.cos(angle), chroma * np.sin(angle)], axis=-1)


SPACES: dict[str, Callable[[Array], Array]] = {
    "Oklab": oklab,
    "ICtCp": lambda xyz: itp_from_xyz(203 * xyz),
    "CIELAB": lambda xyz: lab_from_xyz(xyz, WHITE),
    "CAM16": cam16_plane,
}


def ways(target: Gamut) -> dict[str, Callable[[Array], Array]]:
    """From linear BT.2020 to linear light of the target."""
    into = conversion(BT2020, target)

    def through(step: Transform) -> Callable[[Array], Array]:
        return lambda rgb: np.asarray((into | step).apply(rgb))

    return {
        "clip": through(Clamp()),
        "compress": through(GamutCompression() | Clamp()),
        "map": through(GamutMapping(target)),
        "BT.2407's way in CIELAB": lambda rgb: by_cielab(rgb @ BT2020.to_xyz.T, target),
        "the same in CAM16": lambda rgb: by_cam16(rgb @ BT2020.to_xyz.T, target),
    }


def polar(plane: Array) -> tuple[Array, Array]:
    """Hue in degrees, and chroma."""
    a, b = plane[:, 1], plane[:, 2]
    return np.degrees(np.arctan2(b, a)), np.hypot(a, b)


def boundary() -> Array:
    """Display light on the boundary of BT.2020, the brightest channel clear of black."""
    rgb = lattice(17).reshape(-1, 3)
    return rgb[(rgb.min(axis=1) == 0) & (rgb.max(axis=1) > 0.2)] ** 2.4


def main() -> None:
    """Print a row for each target and way; then how far the references lie from `map`."""
    rgb = boundary()
    before = {name: polar(space(rgb @ BT2020.to_xyz.T)) for name, space in SPACES.items()}
    print(f"| to | way | {' | '.join(SPACES)} | chroma kept (ICtCp) | ΔE 2000 to map |")
    print("|---|---|" + "---:|" * (len(SPACES) + 2))
    for target in (BT709, P3_D65):
        after = {name: way(rgb) @ target.to_xyz.T for name, way in ways(target).items()}
        for name, xyz in after.items():
            cells = []
            for space, (hue, chroma) in before.items():
                hue_after, chroma_after = polar(SPACES[space](xyz))
                turn = np.abs((hue_after - hue + 180) % 360 - 180)
                turn = turn[chroma_after > 0.02 * chroma]
                cells.append(f"{turn.max():.1f} ({turn.mean():.1f})")
                if space == "ICtCp":
                    share = f"{100 * float((chroma_after / chroma).mean()):.0f} %"
            labs = [lab_from_xyz(each, WHITE) for each in (xyz, after["map"])]
            apart = delta_e_2000(*labs)
            cells += [share, f"{np.median(apart):.1f}" if name != "map" else "–"]
            print(f"| {target.name} | {name} | " + " | ".join(cells), "|")


if __name__ == "__main__":
    main()
