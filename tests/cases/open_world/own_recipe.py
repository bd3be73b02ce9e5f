"""Every form that a recipe of the project can ask for, with its parameters at random.

Source: the project's own builder; what is asked is that its recipe comes back.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from lutbench.formats.cube_write import format_cube
from lutbench.recipes.make import make
from lutbench.recipes.schema import recipe_from_text
from open_world.case import Case, Truth
from open_world.ends import FREE_EXPOSURE, FREE_TONE, either_pq, some_ends
from open_world.spaces import HDR_CURVES, SDR_CURVES

NAME = "own recipe"


def generate(rng: np.random.Generator) -> Case:
    """Tone, CDL, exposure, white balance, compression and ranges in any mixture."""
    ends = some_ends(rng, targets=(*SDR_CURVES, *HDR_CURVES), legal=0.25)
    recipe: dict[str, Any] = {
        "source": {"curve": ends.source_curve, "gamut": ends.source_gamut},
        "target": {"curve": ends.target_curve, "gamut": ends.target_gamut},
    }
    recipe["source"]["range"] = ends.source_range
    recipe["target"]["range"] = ends.target_range
    if rng.random() < 0.35:
        recipe["exposure"] = round(float(rng.uniform(-2, 2)), 2)
    if rng.random() < 0.5:
        recipe["tone"] = _tone(rng)
    if rng.random() < 0.3:
        recipe["gamut"] = {"method": "compress"}
        if rng.random() < 0.4:
            recipe["gamut"]["limits"] = [round(float(x), 3) for x in rng.uniform(1.1, 1.5, 3)]
    if rng.random() < 0.15:
        recipe["white_balance"] = {"gains": [round(float(x), 3) for x in rng.uniform(0.8, 1.2, 3)]}
    if rng.random() < 0.3:
        recipe["look"] = _look(rng)
    text = text_of(recipe, size=int(rng.choice([17, 33, 33, 65])))
    job = recipe_from_text(text).jobs[0]
    lut = make(job)
    return Case(NAME, format_cube(lut, job.decimals), _truth(ends, recipe), recipe=text)


def _truth(ends: Any, recipe: dict[str, Any]) -> Truth:
    truth = ends.truth(
        source_curve=either_pq(ends.source_curve),
        exposure=float(recipe.get("exposure", 0.0)),
        look=True if "look" in recipe else None if "white_balance" in recipe else False,
    )
    if "tone" in recipe or "look" in recipe:
        return truth.without(FREE_TONE, "target_curve").without(FREE_EXPOSURE, "exposure")
    return truth


def _tone(rng: np.random.Generator) -> dict[str, Any]:
    tone: dict[str, Any] = {"method": "shoulder"}
    tone["contrast"] = round(float(rng.uniform(0.9, 1.3)), 3)
    if rng.random() < 0.5:
        tone["toe"] = round(float(rng.uniform(0.05, 0.8)), 3)
    if rng.random() < 0.5:
        tone["shoulder_start"] = round(float(rng.uniform(0, 0.8)), 3)
    return tone


def _look(rng: np.random.Generator) -> dict[str, Any]:
    cdl = some_cdl(rng)
    return {"place": str(rng.choice(["before", "light", "after", "after"])), "cdl": cdl}


def some_cdl(rng: np.random.Generator) -> dict[str, Any]:
    """A CDL as grades have them."""
    return {
        "slope": [round(float(x), 3) for x in rng.uniform(0.9, 1.12, 3)],
        "offset": [round(float(x), 3) for x in rng.uniform(-0.02, 0.02, 3)],
        "power": [round(float(x), 3) for x in rng.uniform(0.88, 1.12, 3)],
        "saturation": round(float(rng.uniform(0.75, 1.25)), 3),
    }


def text_of(recipe: dict[str, Any], **lut: Any) -> str:
    """A recipe as TOML text, with one LUT and its settings."""
    lines = [f"{key} = {value!r}" for key, value in recipe.items() if not isinstance(value, dict)]
    for key, table in recipe.items():
        if isinstance(table, dict):
            lines += [f"[{key}]", *_lines(table)]
    return "\n".join([*lines, "[[lut]]", 'name = "one"', *_lines(lut)]) + "\n"


def _lines(table: dict[str, Any]) -> list[str]:
    return [f"{key} = {_inline(value)}" for key, value in table.items()]


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(_lines(value)) + " }"
    return f'"{value}"' if isinstance(value, str) else repr(value)
