"""Every form of a recipe, one by one: what `split` gives back of the LUTs that it makes.

The forms are those of the recipe's manual; parameters are drawn at random. A recipe has
come back when each of its names and numbers (within 1 %) stands in the recipe that
`split` writes, and that one builds the LUT again.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from open_world.ends import some_ends
from open_world.own_recipe import some_cdl, text_of
from open_world_score import compared, same

from lutbench.errors import LutbenchError
from lutbench.formats.cube import parse_cube
from lutbench.formats.cube_write import format_cube
from lutbench.model.catalogue import Catalogue
from lutbench.recipes.make import make
from lutbench.recipes.schema import read_recipe, recipe_from_text
from lutbench.splitting.recipe import RECIPE, recipe_files
from lutbench.splitting.split import split

Rng = np.random.Generator
Recipe = dict[str, Any]

WITHIN_CODES = 0.1
"""10-bit codes at the 99th percentile: a tenth of what any display or cable tells apart."""


@dataclass(frozen=True)
class Back:
    """What came back of one recipe; `codes` is how far the LUT built from it is off (99 %)."""

    form: str
    seed: int
    names: bool = False
    near: int = 0
    asked: int = 0
    codes: float = float("inf")
    fault: str = ""

    @property
    def whole(self) -> bool:
        """Names, numbers and the LUT itself."""
        return self.names and self.near == self.asked and self.codes <= WITHIN_CODES

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


def _number(rng: Rng, low: float, high: float) -> float:
    return round(float(rng.uniform(low, high)), 3)


def _tone(method: str, rng: Rng, **bounds: tuple[float, float]) -> Recipe:
    return {"method": method} | {key: _number(rng, *each) for key, each in bounds.items()}


CONTRAST, TOE, START = (0.9, 1.3), (0.1, 0.8), (0.1, 0.8)


def _carried(on: str) -> Callable[[Rng], Recipe]:
    return lambda rng: {
        "tone": _tone("shoulder", rng, contrast=CONTRAST, blend=(0.1, 0.9)) | {"on": on}
    }


def _sigmoid(rng: Rng) -> Recipe:
    """With the primaries moved before it and back after it by other amounts."""
    moves = {f"inset_{each}": (0.05, 0.25) for each in ("red", "green", "blue")}
    moves |= {f"outset_{each}": (0.0, 0.2) for each in ("red", "green", "blue")}
    return {"tone": _tone("sigmoid", rng, contrast=(1.1, 1.6), toe=(1, 2.5), **moves)}


def _map(rng: Rng) -> Recipe:
    return {"gamut": {"method": "map", "knee": _number(rng, 0.2, 0.8)}}


def _limits(rng: Rng) -> Recipe:
    return {"gamut": {"method": "compress", "limits": [_number(rng, 1.1, 1.5) for _ in range(3)]}}


def _look(place: str) -> Callable[[Rng], Recipe]:
    return lambda rng: {"look": {"place": place, "cdl": some_cdl(rng)}}


BRIGHT, DIM = (800.0, 4000.0), (100.0, 300.0)
"""Peaks in cd/m²."""


def _from_display(
    curve: str, method: str, **bounds: tuple[float, float]
) -> Callable[[Rng], Recipe]:
    """From display light of HDR to a display of standard range."""
    source: Recipe = {"curve": curve, "gamut": "BT.2020", "range": "full"}
    if curve == "BT.2100 HLG":
        source["display_peak"] = 1000.0
    return lambda rng: {
        "source": source,
        "target": {"curve": "BT.1886", "gamut": "BT.709", "range": "full"},
        "tone": _tone(method, rng, **bounds),
    }


FORMS: dict[str, Callable[[Rng], Recipe]] = {
    "plain": lambda rng: {},
    "exposure": lambda rng: {"exposure": _number(rng, -2, 2)},
    "legal range in and out": lambda rng: {"_ranges": ("legal", "legal")},
    "curve alone": lambda rng: {"kind": "curve"},
    "curve alone, 1D": lambda rng: {"kind": "curve", "dimensions": 1},
    "gamut alone": lambda rng: {"kind": "gamut"},
    "adaptation by CAT16": lambda rng: {"gamut": {"adaptation": "CAT16"}},
    "white balance by gains": lambda rng: {
        "white_balance": {"gains": [_number(rng, 0.8, 1.25) for _ in range(3)]}
    },
    "shoulder": lambda rng: {"tone": _tone("shoulder", rng, contrast=CONTRAST)},
    "shoulder with exposure": lambda rng: {
        "exposure": _number(rng, -2, 2),
        "tone": _tone("shoulder", rng, contrast=CONTRAST),
    },
    "shoulder, start and toe": lambda rng: {
        "tone": _tone("shoulder", rng, contrast=CONTRAST, toe=TOE, shoulder_start=START)
    },
    "shoulder on the largest channel": _carried("largest"),
    "shoulder on luminance": _carried("luminance"),
    "shoulder on intensity": _carried("intensity"),
    "sigmoid with inset and outset": _sigmoid,
    "eetf from PQ": _from_display("ST 2084", "eetf", source_peak=BRIGHT, target_peak=DIM),
    "bt2446-a from PQ": _from_display("ST 2084", "bt2446-a", source_peak=BRIGHT, target_peak=DIM),
    "bt2446-c from HLG": _from_display("BT.2100 HLG", "bt2446-c", crosstalk=(0.0, 0.2)),
    "compression": lambda rng: {"gamut": {"method": "compress"}},
    "compression, other limits": _limits,
    "shoulder and compression": lambda rng: {
        "tone": _tone("shoulder", rng, contrast=CONTRAST),
        "gamut": {"method": "compress"},
    },
    "gamut mapping": _map,
    "CDL before": _look("before"),
    "CDL in light": _look("light"),
    "CDL after": _look("after"),
    "shoulder, then CDL after": lambda rng: {
        "tone": _tone("shoulder", rng, contrast=CONTRAST),
        "look": {"place": "after", "cdl": some_cdl(rng)},
    },
    "saturation after": lambda rng: {"look": {"saturation": _number(rng, 0.7, 1.4)}},
    "saturation in light": lambda rng: {
        "look": {"place": "light", "saturation": _number(rng, 0.7, 1.4)}
    },
    "HLG": lambda rng: {"_target": ("BT.2100 HLG", "BT.2020")},
    "PQ": lambda rng: {"_target": ("BT.2100 PQ", "BT.2020")},
}


def recipe_of(form: str, seed: int) -> str:
    """The text of a recipe of a form, with parameters at random: 33 nodes, six decimals."""
    rng = np.random.default_rng([list(FORMS).index(form), seed])
    ends = some_ends(rng, legal=0.0)
    own = FORMS[form](rng)
    ranges = own.pop("_ranges", ("full", "full"))
    curve, gamut = own.pop("_target", (ends.target_curve, ends.target_gamut))
    source = {"curve": ends.source_curve, "gamut": ends.source_gamut, "range": ranges[0]}
    target = {"curve": curve, "gamut": gamut, "range": ranges[1]}
    kind, dimensions = own.pop("kind", "combined"), own.pop("dimensions", 3)
    if kind == "gamut":
        del target["curve"]
    if kind == "curve":
        del source["gamut"], target["gamut"]
    lut = {"kind": kind, "dimensions": dimensions, "size": 33 if dimensions == 3 else 1024}
    return text_of({"source": source, "target": target} | own, **lut)


def given_back(form: str, seed: int, catalogue: Catalogue) -> Back:
    """What `split` gives back of the LUT of a recipe."""
    asked = recipe_of(form, seed)
    empty = Back(form, seed)
    try:
        job = recipe_from_text(asked).jobs[0]
        lut = parse_cube(format_cube(make(job), job.decimals), "own").lut
        texts = recipe_files(split(lut, catalogue=catalogue), "lut", catalogue)
    except LutbenchError as error:
        return replace(empty, fault=f"refused: {error}")
    except Exception as error:
        return replace(empty, fault=f"crash: {type(error).__name__}: {error}")
    near, numbers = compared(asked, texts[RECIPE])
    return replace(
        empty,
        names=_same_names(tomllib.loads(asked), tomllib.loads(texts[RECIPE])),
        near=near,
        asked=numbers,
        codes=_codes_off(lut, texts),
    )


def _same_names(asked: Recipe, given: Recipe) -> bool:
    """Whether curves, gamuts, ranges and methods are those that were asked for."""
    found = dict(given)
    for each in given["lut"]:
        found |= each
    for end in ("source", "target"):
        for key in asked.get(end, {}).keys() & {"curve", "gamut", "range"}:
            if not same(f"{end}_{key}", str(asked[end][key]), str(found[end].get(key, ""))):
                return False
    methods = [("tone", "method", "clip"), ("tone", "on", "channels"), ("gamut", "method", "clip")]
    return all(
        asked.get(table, {}).get(key, usual) == found.get(table, {}).get(key, usual)
        for table, key, usual in methods
    )


def _codes_off(lut: Any, texts: dict[str, str]) -> float:
    """How far the whole LUT that the recipe builds is from the LUT, in 10-bit codes."""
    with TemporaryDirectory() as folder:
        for name, text in texts.items():
            Path(folder, name).write_text(text, encoding="utf-8")
        try:
            again = make(read_recipe(Path(folder, RECIPE)).jobs[-1])
        except LutbenchError:
            return float("inf")
    if again.table.shape != lut.table.shape:
        return float("inf")
    return float(np.percentile(np.abs(again.table - lut.table), 99) * 1023)
