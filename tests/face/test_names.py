"""One name for one thing on the command line, in recipes and suites, and in Python."""

from __future__ import annotations

import inspect as python
import warnings
from pathlib import Path

import click
import numpy as np
import pytest

import lutbench as lb
from lutbench.cli import build as cli_build
from lutbench.cli.main import group
from lutbench.recipes import settings, subjects, words
from lutbench.recipes.schema import recipe_from_data
from lutbench.recipes.settings import SETTINGS, Setting
from lutbench.recipes.subjects import open_subject

# Function to the command that does the same.
COMMANDS = {
    "blend": "rework blend",
    "build": "build",
    "capture": "capture",
    "chain": "rework chain",
    "compare": "compare",
    "identify": "identify",
    "inspect": "inspect",
    "invert": "rework invert",
    "learn": "learn",
    "levels": "levels",
    "match": "match",
    "repair": "rework repair",
    "resample": "rework resize",
    "split": "split",
    "verify": "verify",
}
OBJECTS = {
    "catalogue": "--definitions on the command line",
    "identification": "a result handed on",
    "source": "an Encoding: --source-curve, --source-gamut, --source-range",
    "target": "an Encoding: --target-curve, --target-gamut, --target-range",
    "source_encoding": "an Encoding: --source-curve, --source-gamut",
    "target_encoding": "an Encoding: --target-curve, --target-gamut",
    "display": "a Display: --display-peak, --display-black, --surround",
    "settings": "the settings of build, tested by themselves",
}
"""What is an object in Python and words elsewhere."""


def command(path: str) -> click.Command:
    context, found = click.Context(group), group
    for name in path.split():
        found = found.get_command(context, name)  # type: ignore[assignment]
    return found


def known(path: str) -> set[str]:
    """Options and arguments of a command as Python would name them, in the plural too."""
    found = set()
    for each in command(path).params:
        names = {each.name or ""} | {option.lstrip("-").replace("-", "_") for option in each.opts}
        found |= names | {name.lower() for name in names}
        if each.multiple if isinstance(each, click.Option) else each.nargs == -1:
            # Of many files the function takes one; of a repeated option a list.
            found |= {f"{name}s" for name in names} | {name.removesuffix("s") for name in names}
    return found


@pytest.mark.parametrize("function", COMMANDS)
def test_parameters_are_options(function: str) -> None:
    parameters = set(python.signature(getattr(lb, function)).parameters)
    left = parameters - known(COMMANDS[function]) - set(OBJECTS)
    assert left == set()


def test_settings_of_build_are_options_and_parameters() -> None:
    options = known("build")
    for each in SETTINGS:
        assert each.name in options
    from lutbench.recipes.settings import Settings

    assert {each.name for each in SETTINGS} == set(Settings.__annotations__)


def test_a_new_setting_is_everywhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """Declared once, it is an option, a word of a pipeline, and reaches a recipe's reader."""
    tint = Setting("tint", "white_balance.tint", float, 0.0, "Magenta or green.")
    light = Setting("kelvin", "white_balance.kelvin", float, None, "The light's colour.")
    for module in (settings, words, cli_build):
        monkeypatch.setattr(module, "SETTINGS", (*SETTINGS, tint, light))
    monkeypatch.setattr(subjects, "_OPTIONS", (*subjects._OPTIONS, tint, light))

    @cli_build.conversion_options
    def build(**given: object) -> None: ...

    options = build.__click_params__  # type: ignore[attr-defined]
    assert {"--tint", "--kelvin"} <= {name for option in options for name in option.opts}
    text = "ACEScct, ACEScg to BT.1886, BT.709; tint=5; kelvin=3200"
    told = open_subject(text, lb.open_catalogue(user=False)).transform
    recipe = {
        "source": {"curve": "ACEScct", "gamut": "ACEScg"},
        "target": {"curve": "BT.1886", "gamut": "BT.709"},
        "white_balance": {"kelvin": 3200.0, "tint": 5.0},
        "lut": [{"name": "warm"}],
    }
    read = recipe_from_data(recipe, Path("warm.toml")).jobs[0].transform()
    colours = np.random.default_rng(1).random((50, 3))
    assert np.array_equal(told.apply(colours), read.apply(colours))


def test_an_old_name_is_taken_with_a_warning() -> None:
    lut = lb.Lut3D.identity(3)
    with pytest.warns(DeprecationWarning, match=r"compare\(sets=...\) is deprecated") as told:
        found = lb.compare(lut, lut, sets=["chart"])  # type: ignore[call-arg]
    assert told[0].filename == __file__
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert list(found.sets) == list(lb.compare(lut, lut, colours=["chart"]).sets)
    with pytest.raises(lb.LutbenchError, match="sets is the old name of colours"):
        lb.compare(lut, lut, sets=["chart"], colours=["chart"])  # type: ignore[call-arg]
    table = np.array(lb.Lut3D.identity(9).table)
    table[3, 5, 4] = 1.0
    with pytest.warns(DeprecationWarning, match="name it only"):
        lb.repair(lb.Lut3D(table), what=["stray"])  # type: ignore[call-arg]
    assert "sets" not in python.signature(lb.compare).parameters
