"""One name for one thing on the command line, in recipes and suites, and in Python."""

from __future__ import annotations

import inspect as python
import warnings

import click
import numpy as np
import pytest

import lutbench as lb
from lutbench.cli.main import group
from lutbench.recipes.schema import SHARED
from lutbench.recipes.settings import SETTINGS

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


def test_keys_of_a_recipe_are_options() -> None:
    """Where both say it: a recipe has tables where the command line has a word."""
    both = {"exposure", "size", "dimensions", "tone", "gamut"}
    assert both <= set(SHARED) & {each.name for each in SETTINGS}


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
