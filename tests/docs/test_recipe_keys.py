"""docs/recipes.md against the code that reads recipes."""

from __future__ import annotations

import re
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from examples import ROOT, Block, blocks_of
from prepared import CORRECTIONS

from lutbench.model.catalogue import open_catalogue
from lutbench.model.curves.log import CameraLog
from lutbench.model.definitions import parse_definitions
from lutbench.model.tone import tone_mapper, tone_names
from lutbench.recipes.false_colour import BandKeys
from lutbench.recipes.make import make
from lutbench.recipes.profile import Profile
from lutbench.recipes.schema import SHARED, Shaper, recipe_from_data
from lutbench.recipes.tasks import CdlKeys

MAPPERS = [each for name in tone_names() if (each := tone_mapper(name))]
PAGE = ROOT / "docs" / "recipes.md"
FRAGMENTS = [b for b in blocks_of(PAGE) if b.language == "toml" and not b.title]
BASE = """
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "a"
size = 17
"""


def keys_in_the_code() -> set[str]:
    """Every key that the modules ask a table for."""
    asked = re.compile(
        r"(?:\.(?:text|number|numbers|integer|flag|choice|table|tables|take|know)\(\s*"
        r"|_length\(table, )"
        r'((?:"\w+",?\s*)+)'
    )
    found = set(SHARED).union(
        *(each.settings() for each in MAPPERS),
        *(each.keys() for each in (BandKeys, CdlKeys, Profile, Shaper)),
        {each.name for each in fields(CameraLog)} - {"name", "formula_codes"},
    )
    for name in ("schema", "tasks", "false_colour"):
        text = (ROOT / "lutbench/recipes" / f"{name}.py").read_text(encoding="utf-8")
        for match in asked.finditer(text):
            found.add(re.findall(r'"(\w+)"', match[1])[0])
        for names in re.findall(r"(?:keys = |for key in )\(([^)]*)\)", text):
            found |= set(re.findall(r'"(\w+)"', names))
    return found


def test_every_key_of_a_recipe_is_on_the_page() -> None:
    keys = keys_in_the_code()
    assert {"exposure_ladder", "toe_start", "balanced_for", "name_length", "slope"} <= keys
    shown = set(re.findall(r"`\[*(\w+)\]*`", PAGE.read_text(encoding="utf-8")))
    assert keys - shown == set()


@pytest.mark.parametrize("fragment", FRAGMENTS, ids=lambda block: block.where)
def test_every_fragment_is_taken_and_makes_a_lut(fragment: Block, tmp_path: Path) -> None:
    own = tomllib.loads(fragment.text)
    if {"curves", "gamuts"} & set(own):
        found = parse_definitions(own, Path("own.toml"))
        assert set(found.curves) | set(found.gamuts) == {*own["curves"], *own["gamuts"]}
        return
    data: dict[str, Any] = tomllib.loads(BASE) | own
    (tmp_path / "looks.ccc").write_text(CORRECTIONS, encoding="utf-8")
    known = open_catalogue(ROOT / "luts_demo" / "tarn.toml", user=False)
    recipe = recipe_from_data(data, tmp_path / "fragment.toml", known)
    assert recipe.jobs
    for job in recipe.jobs:
        assert make(job).size == job.size
