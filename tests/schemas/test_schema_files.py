"""The schemas of recipes, suites and definitions against the code that reads them, both ways.

What a schema takes is asked of the readers; what the readers ask for is noted as they read
all examples of the manual and of the demo, and looked for in the schema.
"""

from __future__ import annotations

import re
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any, ClassVar

import jsonschema
import pytest

from lutbench.checks.suite import read_suite
from lutbench.errors import LutbenchError
from lutbench.model.catalogue import open_catalogue
from lutbench.model.definitions import parse_definitions
from lutbench.model.tone import tone_mapper, tone_names
from lutbench.recipes.schema import recipe_from_data
from lutbench.recipes.settings import SETTINGS
from lutbench.recipes.table import Table
from lutbench.schemas.named import schema_named

ROOT = Path(__file__).resolve().parents[2]
KINDS = ("recipe", "suite", "project", "definitions")
BASE = """
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "a"
size = 17
"""


@pytest.fixture(scope="module")
def schemas() -> dict[str, dict[str, Any]]:
    return {name: schema_named(name).made() for name in KINDS}


def faults(data: dict[str, Any], schema: dict[str, Any]) -> list[str]:
    found = jsonschema.Draft202012Validator(schema).iter_errors(data)
    return [f"{each.json_path}: {each.message:.300}" for each in found]


def fragments() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every TOML of the manual and of the demo, with what it is."""
    import sys

    sys.path.append(str(ROOT / "tests" / "docs"))
    from examples import blocks_of

    for page in sorted((ROOT / "docs").rglob("*.md")):
        for block in blocks_of(page):
            if block.language == "toml" and "limits" not in tomllib.loads(block.text):
                yield block.where, tomllib.loads(block.text)  # but a part of a check
    for file in sorted((ROOT / "luts_demo").rglob("*.toml")):
        yield file.name, tomllib.loads(file.read_text(encoding="utf-8"))


def kind_of(data: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """Which kind of file it is, completed where it is a part of a recipe."""
    if "check" in data:
        return "suite", data
    if {"curves", "gamuts"} & set(data):
        return "definitions", data
    if {"zebra", "exposure_index", "filters"} & set(data):
        return "project", data
    if "sources" in data:
        return "recipe", data
    whole = data if {"source", "target", "lut"} <= set(data) else tomllib.loads(BASE) | data
    for lut in whole["lut"]:
        lut.setdefault("name", "a")
    return "recipe", whole


HDR = """
[source]
curve = "BT.2100 HLG"
gamut = "BT.2020"
display_peak = 1000.0
display_black = 0.005
surround = 5.0
[target]
curve = "ST 2084"
gamut = "BT.2020"
white = 203.0
[[lut]]
name = "a"
"""
FRAGMENTS = dict(fragments()) | {"a display that is named": tomllib.loads(HDR)}


@pytest.mark.parametrize("where", FRAGMENTS)
def test_what_is_read_is_allowed(where: str, schemas: dict[str, dict[str, Any]]) -> None:
    kind, data = kind_of(FRAGMENTS[where])
    assert faults(data, schemas[kind]) == []


class Noted(Table):
    """Notes what is asked for: by the folder of tables, the keys, and the choices of each."""

    asked: ClassVar[defaultdict[str, dict[str, tuple[Any, ...]]]] = defaultdict(dict)

    def _note(self, key: str, choices: tuple[Any, ...] = ()) -> None:
        place = "/".join(
            part.split(" ")[0] for part in re.sub(r" \(.*\)", "", self.where).split(", ")[1:]
        )
        self.asked[place].setdefault(key, choices)

    def __contains__(self, key: str) -> bool:
        self._note(key)
        return super().__contains__(key)

    def take(self, key: str) -> Any:
        self._note(key)
        return super().take(key)

    def know(self, *keys: str) -> None:
        for key in keys:
            self._note(key)
        super().know(*keys)

    def choice(self, key: str, accepted: tuple[Any, ...], default: Any) -> Any:
        self._note(key, accepted)
        return super().choice(key, accepted, default)

    def table(self, key: str) -> Table | None:
        value = self.take(key)
        return None if value is None else Noted(value, self.at(key))

    def tables(self, key: str) -> list[Table]:
        return [Noted(each.values, each.where) for each in super().tables(key)]


@pytest.fixture(scope="module")
def asked() -> dict[str, dict[str, tuple[Any, ...]]]:
    """What the readers of recipes and suites ask for, over all examples."""
    import lutbench.checks.suite
    import lutbench.recipes.schema
    import lutbench.recipes.tasks

    patch = pytest.MonkeyPatch()
    for module in (lutbench.checks.suite, lutbench.recipes.schema, lutbench.recipes.tasks):
        patch.setattr(module, "Table", Noted)
    Noted.asked.clear()
    try:
        for data in FRAGMENTS.values():
            kind, whole = kind_of(data)
            if kind == "recipe":
                with suppress(LutbenchError):  # of a file that is not there
                    recipe_from_data(whole, ROOT / "luts_demo" / "a.toml")
        for file in ROOT.rglob("*.lutbench.toml"):
            with suppress(LutbenchError):
                read_suite(file)
    finally:
        patch.undo()
    return dict(Noted.asked)


def properties(schema: dict[str, Any], place: str) -> dict[str, Any]:
    """The keys that the schema knows at a place of nested tables."""
    node: Any = schema
    for part in filter(None, place.split("/")):
        node = _entered(schema, node)["properties"][part]
    found: dict[str, Any] = _entered(schema, node)["properties"]
    return found


def _entered(schema: dict[str, Any], node: Any) -> dict[str, Any]:
    """The object behind references and lists; of several the keys of all."""
    while "properties" not in node:
        if "$ref" in node:
            node = schema["$defs"][node["$ref"].rpartition("/")[2]]
        elif "items" in node:
            node = node["items"]
        else:
            every = [_entered(schema, each) for each in node["anyOf"]]
            pairs = [pair for each in every for pair in each["properties"].items()]
            node = {"properties": dict(pairs)}
    return dict(node)


def test_what_the_readers_ask_for_is_in_the_schemas(
    asked: dict[str, dict[str, tuple[Any, ...]]], schemas: dict[str, dict[str, Any]]
) -> None:
    assert {"", "lut", "lut/source", "lut/tone", "lut/look/cdl", "check"} <= set(asked)
    for place, keys in asked.items():
        kind = "suite" if place.startswith("check") else "recipe"
        known = properties(schemas[kind], place)
        if place == "":
            known |= properties(schemas["suite"], "")
        for key, choices in keys.items():
            assert key in known, (place, key)
            if choices and choices != ("",):
                told = str(known[key])
                assert all(str(each) in told for each in choices), (place, key, choices)


def test_what_the_schema_of_a_recipe_has_is_asked_for(
    asked: dict[str, dict[str, tuple[Any, ...]]], schemas: dict[str, dict[str, Any]]
) -> None:
    """No key that nobody reads."""
    for place, keys in asked.items():
        if not place.startswith("lut"):
            continue
        left = set(properties(schemas["recipe"], place)) - set(keys) - {"sources", "displays"}
        settings = {each for name in tone_names() for each in _settings(name)}
        assert left - settings == set() or place.endswith("tone"), (place, left)


def test_the_settings_of_build_are_keys_of_a_recipe(schemas: dict[str, dict[str, Any]]) -> None:
    for setting in SETTINGS:
        place, _, key = f"lut.{setting.key}".rpartition(".")
        assert key in properties(schemas["recipe"], place.replace(".", "/")), setting.name


def _settings(name: str) -> set[str]:
    mapper = tone_mapper(name)
    return set(mapper.settings()) if mapper else set()


@pytest.mark.parametrize(
    ("kind", "text", "place"),
    [
        ("recipe", BASE + "colour = 3", "$.lut[0]"),
        ("recipe", BASE + 'kind = "both"', "$.lut[0].kind"),
        ("recipe", 'title = "none"', "$"),
        ("recipe", BASE + "decimals = 3", "$.lut[0].decimals"),
        ("suite", '[[check]]\nname = "a"\nkind = "none"', "$.check[0]"),
        ("suite", '[[check]]\nname = "a"\nkind = "health"', "$.check[0]"),
        ("definitions", '[gamuts."A"]\nprimaries = [[0.6, 0.3], [0.3, 0.6]]', "$.gamuts.A"),
        ("definitions", '[curves."A"]\nkind = "power"\nslope = 2.0', "$.curves.A"),
    ],
)
def test_a_mistake_is_marked_where_it_is(
    kind: str, text: str, place: str, schemas: dict[str, dict[str, Any]]
) -> None:
    """And the readers refuse it too."""
    data = tomllib.loads(text)
    found = faults(data, schemas[kind])
    assert found
    assert any(each.startswith(place) for each in found), found
    if kind == "recipe":
        with pytest.raises(LutbenchError):
            recipe_from_data(data, Path("a.toml"))
    if kind == "definitions":
        with pytest.raises(LutbenchError):
            parse_definitions(data, Path("a.toml"))


def test_words_in_any_letter_case(schemas: dict[str, dict[str, Any]]) -> None:
    data = tomllib.loads(BASE + 'kind = "Combined"\ngamut = { method = "CLIP" }')
    assert faults(data, schemas["recipe"]) == []
    assert recipe_from_data(data, Path("a.toml")).jobs[0].kind == "combined"


def test_names_are_offered(schemas: dict[str, dict[str, Any]]) -> None:
    """All that this machine knows: editors complete them."""
    curve = schemas["recipe"]["$defs"]["RecipeEnd"]["properties"]["curve"]
    offered = next(each["enum"] for each in curve["anyOf"] if "enum" in each)
    known = open_catalogue().curves(exact=False)
    assert {each.name for each in known if not each.unusable} <= set(offered)
