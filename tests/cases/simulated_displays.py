"""Displays that exist only as formulas, and a meter that reads them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lutbench.display.measurements import Measurements
from lutbench.display.patches import PatchSet, patch_set
from lutbench.model.gamuts import Gamut

Array = NDArray[np.float64]

SMALL_GAMUT = Gamut("display", ((0.652, 0.325), (0.285, 0.632), (0.150, 0.055)), (0.302, 0.322))
"""An invented panel: blue by some 700 K more than D65, most of P3's red."""


def gamma22(signal: Array) -> Array:
    return signal**2.2


def gammas(signal: Array) -> Array:
    return signal ** np.array([2.1, 2.3, 2.45])


def s_curve(signal: Array) -> Array:
    """A picture mode: steeper in the middle, flat at both ends."""
    bent = signal - 0.09 * np.sin(2 * np.pi * signal) / np.pi
    return np.maximum(bent, 0) ** 2.2


@dataclass(frozen=True)
class SimulatedDisplay:
    """A panel: XYZ in cd/m² by signal."""

    curve: Callable[[Array], Array] = gamma22
    white: float = 320.0
    black: tuple[float, float, float] = (0.19, 0.2, 0.26)
    crosstalk: float = 0.0
    """How much a channel is pulled by the others, in signal."""
    gamut: Gamut = SMALL_GAMUT

    def xyz(self, signal: Array) -> Array:
        signal = np.clip(np.asarray(signal, dtype=np.float64), 0, 1)
        others = signal[..., [1, 2, 0]] + signal[..., [2, 0, 1]] - 2 * signal
        signal = np.clip(signal + self.crosstalk * signal * (1 - signal) * others, 0, 1)
        scale = self.white - self.black[1]
        return np.asarray(np.array(self.black) + scale * self.curve(signal) @ self.gamut.to_xyz.T)


ADDITIVE = {
    "gamma 2.2": SimulatedDisplay(),
    "a gamma for each channel": SimulatedDisplay(gammas),
    "lifted black": SimulatedDisplay(white=180.0, black=(0.95, 0.9, 1.6)),
    "S curve": SimulatedDisplay(s_curve),
}
NOT_ADDITIVE = {
    "crosstalk": SimulatedDisplay(crosstalk=0.06),
    "crosstalk and S curve": SimulatedDisplay(s_curve, crosstalk=0.1),
}


def read_by_meter(
    display: SimulatedDisplay, patches: PatchSet | None = None, noise: float = 0.0, seed: int = 1
) -> Measurements:
    """The patches as a meter reads them: `noise` as a share, and 0.002 cd/m² with any noise."""
    shown = patches or patch_set("usual")
    xyz = display.xyz(shown.signal)
    random = np.random.default_rng(seed)
    floor = 0.002 if noise else 0.0
    xyz = xyz * (1 + noise * random.normal(size=(len(xyz), 1)))
    xyz += xyz * 0.3 * noise * random.normal(size=xyz.shape) + floor * random.normal(size=xyz.shape)
    return Measurements(shown.names, shown.signal, np.maximum(xyz, 0))


def held_out_colours(count: int = 2000, seed: int = 7) -> Array:
    """Signals that no set of patches holds."""
    return np.random.default_rng(seed).uniform(0, 1, (count, 3))


def write_readings(path: Path, patches: PatchSet, xyz: Array) -> None:
    """The table of the patches with readings filled in."""
    first, second, *rows = patches.csv().splitlines()
    filled = [
        row.rstrip(",") + "," + ",".join(f"{value:.5g}" for value in values)
        for row, values in zip(rows, xyz.tolist(), strict=True)
    ]
    path.write_text("\n".join([first, second, *filled]) + "\n", encoding="utf-8")
