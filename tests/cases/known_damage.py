"""LUTs damaged in known ways, and suites that must notice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import skimage

from lutbench.checks.runner import Outcome, run_check
from lutbench.checks.suite import read_suite
from lutbench.formats.cube_write import write_cube
from lutbench.media.still.still import Still, write_still
from lutbench.model.signal import RangeFromSignal
from lutbench.recipes.make import make
from lutbench.recipes.schema import read_recipe
from lutbench.tables.lut import Lut3D

SIZE = 33

RECIPE = f"""
title = "Salt Road"
size = {SIZE}

[source]
curve = "ACEScct"
gamut = "ACEScg"

[target]
curve = "BT.1886"
gamut = "BT.709"

[[lut]]
name = "monitor"
gamut = {{ method = "compress" }}
"""

# One check of each kind, at its default tolerances.
CHECKS = {
    "reference": """
lut = "monitor.cube"
exact = "day.toml#monitor; exact"
""",
    "baseline, table": """
lut = "monitor.cube"
baseline = "monitor.csv"
source = { curve = "ACEScct", gamut = "ACEScg" }
""",
    "baseline, LUT": """
lut = "monitor.cube"
baseline = "stored.cube"
""",
    "health": """
lut = "monitor.cube"
severity = "info"
allow = ["clipped_highlights", "clipped_shadows"]
source = { curve = "ACEScct", gamut = "ACEScg" }
""",
    "bytes": """
lut = "day.toml#monitor"
file = "monitor.cube"
""",
    "picture": """
lut = "monitor.cube"
still = "picture.tif"
stored = "through.tif"
""",
    "levels": """
lut = "monitor.cube"
source = { curve = "ACEScct", gamut = "ACEScg" }
# BT.1886 of 0.18 and 0.36: Recommendation ITU-R BT.1886
points = [{ stops = 0, percent = 48.944 }, { stops = 1, percent = 65.332 }]
""",
    "invariants": """
lut = "monitor.cube"
hold = ["neutral", "monotone", "monotone_channels", "within_range"]
""",
}


@cache
def sound_lut() -> Lut3D:
    """The LUT of the recipe, undamaged."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.toml"
        path.write_text(RECIPE)
        recipe = read_recipe(path)
        lut = make(recipe.jobs[0], recipe.digest)
    assert isinstance(lut, Lut3D)
    return lut


def picture() -> Still:
    """A real photograph (of scikit-image, public domain), small, as log would record it."""
    photograph = skimage.data.astronaut()[::6, ::6].astype(np.float64) / 255
    signal = 0.15 + 0.45 * photograph
    return Still(np.rint(signal * 65535).astype(np.uint16), ("R", "G", "B"), "16")


def kind_of(name: str) -> str:
    """The kind of a check of `CHECKS`."""
    return name.split(",")[0]


def write_project(folder: Path) -> None:
    """A recipe, its LUT as a file, a picture, and a suite; everything recorded."""
    (folder / "day.toml").write_text(RECIPE)
    write_cube(sound_lut(), folder / "monitor.cube")
    write_still(picture(), folder / "picture.tif")
    tables = [
        f'[[check]]\nname = "{name}"\nkind = "{kind_of(name)}"\n{keys}'
        for name, keys in CHECKS.items()
    ]
    (folder / "suite.toml").write_text('title = "Salt Road"\n' + "\n".join(tables))
    suite = read_suite(folder / "suite.toml")
    context = suite.context(record=True)
    for check in suite.checks:
        if check.kind in ("baseline", "picture"):
            assert run_check(check, context).status == "recorded"


def outcome(folder: Path, name: str, lut: Lut3D | None = None) -> Outcome:
    """What one check says of the LUT, damaged or not."""
    if lut is not None:
        # The title and comments as the recipe writes them: only the table is damaged.
        whole = Lut3D(lut.table, lut.domain, sound_lut().title, sound_lut().comments)
        write_cube(whole, folder / "monitor.cube", force=True)
    suite = read_suite(folder / "suite.toml")
    check = next(each for each in suite.checks if each.name == name)
    return run_check(check, suite.context())


@dataclass(frozen=True)
class Damage:
    """A way to damage a table; `amount` in `unit`, or a fixed damage where `unit` is empty."""

    apply: Callable[[np.ndarray, float], np.ndarray]
    amount: float = 0.0
    unit: str = ""


def _lost_row(table: np.ndarray, amount: float) -> np.ndarray:
    rows = np.swapaxes(table, 0, 2).reshape(-1, 3)
    at = len(rows) // 3
    kept = np.concatenate([rows[:at], rows[at + 1 :], rows[-1:]])
    return np.swapaxes(kept.reshape(table.shape), 0, 2)


GREY = round(0.41358840 * (SIZE - 1))  # ACEScct of 0.18: Academy S-2016-001
OFF_AXIS = (20, 9, 14)


def _moved(table: np.ndarray, node: tuple[int, int, int], amount: float) -> np.ndarray:
    damaged = table.copy()
    damaged[(*node, 1)] += amount / 1023
    return damaged


def _channel(table: np.ndarray, amount: float) -> np.ndarray:
    return table * [1, 1, 1 - amount / 100]


DAMAGES = {
    # G of the node nearest to mid grey, where each kind can see it, and of one far off.
    "one node at grey": Damage(
        lambda table, amount: _moved(table, (GREY, GREY, GREY), amount), 12.0, "10-bit codes"
    ),
    "one node off axis": Damage(
        lambda table, amount: _moved(table, OFF_AXIS, amount), 16.0, "10-bit codes"
    ),
    "one channel": Damage(_channel, 2.0, "%"),
    "gain": Damage(lambda table, amount: table * (1 + amount / 100), 0.5, "%"),
    "swapped axes": Damage(lambda table, amount: table.transpose(2, 1, 0, 3)),
    "one row missing": Damage(_lost_row),
    "legal read as full": Damage(lambda table, amount: RangeFromSignal("legal").apply(table)),
    "8-bit rounding": Damage(lambda table, amount: np.rint(table * 255) / 255),
}

# What a kind cannot see, by its nature.
BLIND = {
    # Away from what is looked at.
    ("levels", "one node off axis"),
    ("picture", "one node off axis"),
    # Swapped axes leave neutrals where they were; two levels fall on 8-bit codes by chance.
    ("levels", "swapped axes"),
    ("levels", "8-bit rounding"),
    # Neutral, rising, within range: all of that still holds.
    ("invariants", "legal read as full"),
    ("invariants", "8-bit rounding"),
}


def caught(folder: Path, check: str, damage: str, amount: float | None = None) -> bool:
    """Whether a check notices a damage."""
    return not outcome(folder, check, damaged(damage, amount)).holds


def smallest_caught(folder: Path, check: str, damage: str, most: float = 50.0) -> float | None:
    """The smallest amount that is caught, to a hundredth of itself; None when `most` is not."""
    if not caught(folder, check, damage, most):
        return None
    low, high = 1e-9, most
    while high / low > 1.01:
        middle = (low * high) ** 0.5
        low, high = (low, middle) if caught(folder, check, damage, middle) else (middle, high)
    return high


def damaged(name: str, amount: float | None = None) -> Lut3D:
    """The LUT with one of `DAMAGES`, by its usual amount or another."""
    damage = DAMAGES[name]
    table = damage.apply(np.asarray(sound_lut().table), damage.amount if amount is None else amount)
    return Lut3D(np.ascontiguousarray(table))
