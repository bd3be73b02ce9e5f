"""Clean LUTs, and the same with one defect each, at a given strength."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.tables.lut import Lut3D
from lutbench.tables.nodes import sample

Table = NDArray[np.float64]
CODE = 1 / 1023
SEED = 7


def clean(name: str, size: int = 33) -> Lut3D:
    """A LUT of the project's own model, rounded as a file rounds it."""
    return Lut3D(np.round(sample(CONVERSIONS[name]().pipeline(), size).table, 6))


def _conversion(
    source: str, source_gamut: str, target: str, target_gamut: str, **options: object
) -> Conversion:
    known = open_catalogue(user=False)
    ends = [
        Encoding(known.curve(curve), known.gamut(gamut))
        for curve, gamut in ((source, source_gamut), (target, target_gamut))
    ]
    if options.pop("shoulder", False):
        options["tone"] = ToneCurve.between(*ends)
    return Conversion(ends[0], ends[1], **options)  # type: ignore[arg-type]


CONVERSIONS: dict[str, Callable[[], Conversion]] = {
    "log to video, clipped": lambda: _conversion("ACEScct", "ACES AP1", "BT.709", "BT.709"),
    "log to display, shoulder": lambda: _conversion(
        "ACEScct", "ACES AP1", "BT.1886", "BT.709", shoulder=True
    ),
    "log curve only": lambda: _conversion(
        "ACEScct", "ACES AP1", "BT.1886", "BT.709", kind="curve", shoulder=True
    ),
    "log gamut only": lambda: _conversion("Cineon", "BT.2020", "BT.709", "BT.709", kind="gamut"),
    "log to HLG": lambda: _conversion("ACEScct", "ACES AP1", "BT.2100 HLG", "BT.2020"),
    "video to display": lambda: _conversion("BT.709", "BT.709", "BT.1886", "P3-D65"),
}


@dataclass(frozen=True)
class Defect:
    """How a table is damaged; `strengths` rise, in `unit`; `code` has to be found."""

    name: str
    code: str
    unit: str
    strengths: tuple[float, ...]
    apply: Callable[[Table, float], Table]


def _middle(table: Table) -> int:
    """A node of the grey scale half way up, where nothing is clipped."""
    axis = np.arange(table.shape[0])
    grey = table[axis, axis, axis].mean(axis=-1)
    return int(np.argmin(np.abs(grey - (grey.min() + grey.max()) / 2)))


def dip(table: Table, codes: float) -> Table:
    """The grey scale falls by so many codes behind its middle."""
    out, k = table.copy(), _middle(table)
    out[k + 1, k + 1, k + 1] = out[k, k, k] - codes * CODE
    return out


def tint(table: Table, codes: float) -> Table:
    """Green is raised by so many codes half way up, less towards the ends."""
    out = table.copy()
    out[..., 1] += codes * CODE * np.sin(np.pi * np.clip(table[..., 1], 0, 1)) ** 2
    return out


def gain_and_clip(table: Table, percent: float) -> Table:
    """Brighter by so many percent, and cut off at the top."""
    return np.minimum(table * (1 + percent / 100), table.max())


def lower_and_clip(table: Table, percent: float) -> Table:
    """Darker by so many percent of full scale, and cut off at the bottom."""
    return np.maximum(table - percent / 100, table.min())


def lift(table: Table, percent: float) -> Table:
    """Black raised by so many percent of full scale; white stays."""
    return percent / 100 + table * (1 - percent / 100)


def legal(table: Table, _: float) -> Table:
    """What comes out put into legal range."""
    return (64 + 876 * table) / 1023


def fold(table: Table, cells: float) -> Table:
    """Two neighbouring planes of red change places in a block of so many cells."""
    out, k, n = table.copy(), _middle(table), int(cells)
    block = slice(k, k + n)
    out[k, block, block], out[k + 1, block, block] = (
        table[k + 1, block, block],
        table[k, block, block],
    )
    return out


def quantise(table: Table, steps: float) -> Table:
    """Values rounded to so many levels from black to white."""
    return np.round(table * (steps - 1)) / (steps - 1)


def step(table: Table, codes: float) -> Table:
    """All that is brighter than the middle of the grey scale goes up by so many codes."""
    out, k = table.copy(), _middle(table)
    grey = table[k, k, k].mean()
    out += np.where(table.mean(axis=-1, keepdims=True) > grey + 1e-9, codes * CODE, 0)
    return np.clip(out, table.min(), table.max())


def exceed(table: Table, codes: float) -> Table:
    """The brightest node goes so many codes over 1."""
    out = table.copy()
    out[-1, -1, -1] = 1 + codes * CODE
    return out


def noise(table: Table, codes: float) -> Table:
    """White noise of so many codes on every value."""
    rng = np.random.default_rng(SEED)
    return np.clip(table + rng.normal(0, codes * CODE, table.shape), table.min(), table.max())


def stray(table: Table, codes: float) -> Table:
    """One node beside the grey scale is off by so many codes."""
    out, k = table.copy(), _middle(table)
    out[k, k - 1, k] += codes * CODE
    return out


def doubled_plane(table: Table, _: float) -> Table:
    """One plane of the lattice written twice."""
    out, k = table.copy(), _middle(table)
    out[:, k + 1] = out[:, k]
    return out


def swap(table: Table, _: float) -> Table:
    """Red and blue change places in what comes out."""
    return np.ascontiguousarray(table[..., ::-1])


DEFECTS = (
    Defect("grey scale falls", "non_monotonic", "codes", (0.1, 0.25, 0.5, 1, 2, 5, 20), dip),
    Defect("tint on grey", "tint", "codes", (0.25, 0.5, 1.5, 2, 4, 8), tint),
    Defect(
        "brighter and cut off", "clipped_highlights", "%", (0.5, 1, 2, 5, 10, 20), gain_and_clip
    ),
    Defect("darker and cut off", "clipped_shadows", "%", (0.5, 1, 2, 5, 10, 20), lower_and_clip),
    Defect("black raised", "lifted_black", "%", (0.5, 1, 1.5, 2, 5, 10), lift),
    Defect("put into legal range", "legal_range_output", "", (1,), legal),
    Defect("planes change places", "fold", "cells", (1, 2, 4, 8), fold),
    Defect(
        "rounded to few levels", "banding", "levels", (1024, 512, 256, 128, 64, 32, 16), quantise
    ),
    Defect(
        "step in the grey scale", "banding", "codes", (1, 2, 4, 8, 12, 16, 24, 32, 48, 64, 96), step
    ),
    Defect("over white", "out_of_range", "codes", (0.02, 0.1, 0.5, 1, 10), exceed),
    Defect("noise", "noise", "codes", (0.1, 0.2, 0.3, 0.4, 0.5, 1, 2, 4), noise),
    Defect("one node off", "stray_node", "codes", (0.25, 0.5, 1, 2, 4, 8, 16, 32, 64), stray),
    Defect("a plane twice", "duplicate_nodes", "", (1,), doubled_plane),
    Defect("channels swapped", "channel_order", "", (1,), swap),
)


def damaged(defect: Defect, name: str, size: int, strength: float) -> Lut3D:
    """The clean LUT `name` with the defect."""
    table = clean(name, size).table.astype(np.float64)
    return Lut3D(np.round(defect.apply(table, strength), 6))
