"""The short form of tones and gamut mappings, their settings and the limits that are told."""

from __future__ import annotations

import json
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

import lutbench
from lutbench.cli.main import main
from lutbench.errors import LutbenchError
from lutbench.model.compression import GamutCompression
from lutbench.model.gamut_map import GamutMapping
from lutbench.model.gamuts import BT709
from lutbench.model.parameter import parameters
from lutbench.model.tone import tone_mapper, tone_names
from lutbench.recipes.schema import recipe_from_text
from lutbench.recipes.subjects import quick_settings
from lutbench.recipes.words import table_of_words

ENDS = {"source_gamut": "ACEScg", "target_gamut": "BT.709", "size": 5}
RECIPE = """
[[lut]]
name = "one"
size = 5
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
tone = { method = "shoulder", contrast = 1.2, on = "largest", blend = 0.5 }
gamut = { method = "map", knee = 0.7 }
"""


def test_words_are_a_recipe_s_tables() -> None:
    from lutbench.recipes.make import make

    words: Any = {"tone": "shoulder contrast=1.2 on=largest blend=0.5", "gamut": "map knee=0.7"}
    built = lutbench.build("ACEScct", "BT.1886", **ENDS, **words)
    assert built == make(recipe_from_text(RECIPE).jobs[0])
    line = "ACEScct, ACEScg to BT.1886, BT.709; tone=shoulder on=largest; gamut=map knee=0.7"
    assert quick_settings(line)["tone"] == "shoulder on=largest"
    plain = lutbench.build("ACEScct", "BT.1886", **ENDS, tone="shoulder")
    assert np.abs(built.table - plain.table).max() > 0.05


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("shoulder contrast", "'contrast' is not a setting"),
        ("shoulder contrast=", "is not a setting"),
        ("shoulder contrast=1 contrast=2", "is given twice"),
        ("shoulder method=eetf", "is given twice"),
        ("shoulder contrat=1", "accepted: contrast"),
        ("shoulder contrast=9", r"tone: contrast 9 is out of range; accepted: 0.1 to 5"),
        ("shoulder contrast=x", "'x' is not a number"),
        ("shoulder on=1", "is not text"),
        ("clip contrast=1", "'contrast' is not known"),
        ("", "no tone is named ''"),
    ],
)
def test_words_that_are_none_are_refused(words: str, message: str) -> None:
    with pytest.raises(LutbenchError, match=message):
        lutbench.build("ACEScct", "BT.1886", **ENDS, tone=words)


def test_values_are_numbers_lists_and_answers() -> None:
    found = table_of_words("x a=1.5 b=1,2 c=true d=word", "x").values
    assert found == {"method": "x", "a": 1.5, "b": [1.0, 2.0], "c": True, "d": "word"}


PARTS: dict[str, Any] = {
    **{name: tone_mapper(name) for name in tone_names() if name != "clip"},
    "compress": GamutCompression,
    "map": lambda **given: GamutMapping(BT709, **given),
}
BOUNDED = [
    (name, each)
    for name, part in PARTS.items()
    for each in parameters(GamutMapping if name == "map" else part)
    if each.limits is not None
]


@pytest.mark.parametrize(("name", "each"), BOUNDED, ids=lambda x: getattr(x, "name", x))
def test_a_limit_that_is_told_is_held(name: str, each: Any) -> None:
    low, high = each.limits
    inside = each.default if isinstance(each.default, tuple) else (each.default,)
    assert all(low <= value <= high for value in inside)
    for value in (low - 0.01 - abs(low) / 100, high + 0.01 + abs(high) / 100, float("nan")):
        given = (value,) * 3 if isinstance(each.default, tuple) else value
        with pytest.raises(LutbenchError, match="out of range"):
            PARTS[name](**{each.name: given})


def test_every_number_of_a_tone_has_limits() -> None:
    """A search over tones has to know where each number may lie."""
    for name in tone_names():
        mapper = tone_mapper(name)
        for each in parameters(mapper) if mapper else ():
            assert each.limits or each.accepted, (name, each.name)
        assert mapper is None or len(parameters(mapper)) == len(fields(mapper))


@pytest.mark.parametrize("what", ["tones", "mappings"])
def test_the_list_shows_them(what: str, capsys: pytest.CaptureFixture[str]) -> None:
    for more in ([], ["--json"]):
        with pytest.raises(SystemExit) as ended:
            main(["list", what, *more])
        assert not ended.value.code
    text, data = capsys.readouterr().out.split("{", 1)
    rows = json.loads("{" + data)[what]
    wanted = tone_names() if what == "tones" else ("clip", "compress", "map")
    assert [row["name"] for row in rows] == list(wanted)
    for row in rows:
        assert f"{row['name']}: {row['says']}" in text
        assert row["says"]
        for each in row["settings"]:
            assert each["name"] in text
