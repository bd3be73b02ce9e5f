"""One name for one thing on the command line, in recipes and suites, and in Python."""

from __future__ import annotations

import importlib
import inspect as python
import pkgutil
from collections.abc import Iterator
from pathlib import Path
from typing import get_type_hints

import click
import numpy as np
import pytest

import lutbench as lb
from lutbench.checks.kinds.reference import ReferenceCheck
from lutbench.checks.limits import NAMES
from lutbench.cli import build as cli_build
from lutbench.cli.main import group
from lutbench.recipes import settings, subjects, words
from lutbench.recipes.schema import recipe_from_data
from lutbench.recipes.settings import SETTINGS, Setting, Settings
from lutbench.recipes.subjects import open_subject
from lutbench.schemas.inputs import recipe

FUNCTIONS = {
    "apply": "apply",
    "build": "build",
    "capture": "capture",
    "compare": "compare",
    "identify": "identify",
    "inspect": "inspect",
    "learn": "learn",
    "levels": "levels",
    "match": "match",
    "rework blend": "blend",
    "rework chain": "chain",
    "rework invert": "invert",
    "rework neutral": "neutral",
    "rework range": "change_range",  # range is Python's own
    "rework repair": "repair",
    "rework resample": "resample",
    "rework strength": "strength",
    "split": "split",
    "verify": "verify",
}
"""Commands, and the functions that do the same."""

WITHOUT_A_FUNCTION = {
    "bench": "writes a page",
    "chart": "writes a picture",
    "convert": "lut.save(path) writes any format; lb.resample and lb.change_range change the rest",
    "demo": "writes a folder",
    "display calibrate": "lutbench.display, by page of the manual",
    "display check": "lutbench.display, by page of the manual",
    "display fit": "lutbench.display, by page of the manual",
    "display patches": "writes a folder",
    "list": "lb.curves() and lb.gamuts()",
    "monitor draw": "writes a folder",
    "monitor read": "reads a grab of what `monitor draw` wrote",
    "schema": "prints what is shipped",
    "sheet": "writes a picture",
}

EVERYWHERE = {
    "--allow-outside": "LUTBENCH_ALLOW_OUTSIDE in Python too",
    "--definitions": "open_catalogue(*files), as catalogue=",
    "--force": "of files; lut.save(path, force=True)",
    "--jobs": "of many files; a loop in Python",
    "--json": "to_dict() of the result",
    "--output": "a file; lut.save(path)",
    "--page": "a file",
    "--quiet": "logging",
    "--scheduler": "of many files",
    "--user-definitions": "open_catalogue(user=)",
    "--verbose": "logging",
}
"""Options that no function needs, and what stands for them."""

ENDS = "an Encoding, as source= and target="
TWO_CAMERAS = "an Encoding, as source_encoding= and target_encoding="
A_DISPLAY = "a Display, as display="
FIGURES = "the result has the figures"
CARD = "of files; lutbench.report"
ONLY_AS_OPTION: dict[str, dict[str, str]] = {
    "apply": {
        **dict.fromkeys(("source", "target"), "files; pixels as rgb= and out="),
        **dict.fromkeys(("--depth", "--dither", "--format", "--file-range"), "of stills"),
        **dict.fromkeys(("--codec", "--chroma", "--quality", "--no-audio"), "of clips"),
        "--source-matrix": "of clips",
        **dict.fromkeys(("--target-gamut", "--target-curve"), "what is written into the file"),
        **dict.fromkeys(("--source-range", "--target-range"), "of the file; lb.change_range"),
    },
    "build": {
        "recipe": "a LUT of one is RECIPE.toml#NAME, for every function that takes a LUT",
        **dict.fromkeys(("--manifest", "--post", "--still"), "of a recipe's files"),
    },
    "compare": {
        **dict.fromkeys(("--source-curve", "--source-gamut", "--source-range"), ENDS),
        **dict.fromkeys(("--target-curve", "--target-gamut", "--target-range"), ENDS),
        **{f"--limit-delta-e{each}": FIGURES for each in ("", "-p95", "-p99", "-mean", "-itp")},
        "--limit-codes": FIGURES,
        "--as-views": "of LUT files whose comments tell what they are",
    },
    "identify": {
        **dict.fromkeys(("--tone-curve", "--definitions-out"), "files that hold what was found"),
        "--groups": "of many files",
    },
    "inspect": {
        "--fail-on": "an exit status",
        "--sort": "of many files",
        **dict.fromkeys(("--sheet", "--set-sheet", "--still"), "files"),
    },
    "learn": {"--coverage": "a file"},
    "levels": {
        **dict.fromkeys(("--display-peak", "--display-black", "--surround"), A_DISPLAY),
        **dict.fromkeys(("--card", "--project", "--date", "--exposure-index"), CARD),
        "--csv": "to_dict() of the result",
        "subjects": "of many; lut= of one",
    },
    "match": {
        **dict.fromkeys(("--source-curve", "--source-gamut"), TWO_CAMERAS),
        **dict.fromkeys(("--target-curve", "--target-gamut"), TWO_CAMERAS),
        **dict.fromkeys(("--source-corners", "--target-corners", "--grid"), "of pictures"),
        **dict.fromkeys(("--size", "--title"), "lut(size) of the result"),
    },
    "split": dict.fromkeys(("--keep", "--drop"), "the result has the parts; lb.chain"),
    "verify": {
        "--self": "checks the installation",
        "--list": "nothing is run",
        **dict.fromkeys(("--junit", "--record"), "files"),
    },
}

OBJECTS = {
    "catalogue": "--definitions",
    "source": ENDS,
    "target": ENDS,
    "source_encoding": TWO_CAMERAS,
    "target_encoding": TWO_CAMERAS,
    "display": A_DISPLAY,
}
"""What is an object in Python and words elsewhere."""

ONLY_IN_PYTHON = {
    "apply": dict.fromkeys(("rgb", "out"), "files")
    | {"threads": "LUTBENCH_THREADS on the command line"},
    "split": {"identification": "a result handed on"},
}


def commands(found: click.Command = group, path: str = "") -> Iterator[tuple[str, click.Command]]:
    """Every command that is shown, by its path."""
    if not isinstance(found, click.Group):
        yield path, found
        return
    context = click.Context(found)
    for name in found.list_commands(context):
        each = found.get_command(context, name)
        assert each is not None
        if not each.hidden:
            yield from commands(each, f"{path} {name}".strip())


COMMANDS = dict(commands())


NO_PLURAL = ("s", "only")


def in_python(option: click.Parameter) -> str:
    """The parameter that an option or an argument would be: in the plural where it is a list."""
    long = [each for each in option.opts if each.startswith("--")]
    name = (long or option.opts)[0].lstrip("-").replace("-", "_").lower()
    many = option.multiple if isinstance(option, click.Option) else option.nargs == -1
    return f"{name}s" if many and not name.endswith(NO_PLURAL) else name


def spelt(option: click.Parameter) -> str:
    """As a user would write it."""
    return next((each for each in option.opts if each.startswith("--")), option.opts[0])


def shown(path: str) -> list[click.Parameter]:
    return [each for each in COMMANDS[path].params if not getattr(each, "hidden", False)]


def parameters(path: str) -> dict[str, python.Parameter]:
    found = dict(python.signature(getattr(lb, FUNCTIONS[path])).parameters)
    if found.pop("settings", None) is not None:
        usual = python.Parameter("x", python.Parameter.KEYWORD_ONLY)
        found |= {each.name: usual.replace(default=each.default) for each in SETTINGS} | found
    return found


def test_every_command_has_a_function_or_a_reason() -> None:
    assert set(COMMANDS) == set(FUNCTIONS) | set(WITHOUT_A_FUNCTION)
    assert not set(FUNCTIONS) & set(WITHOUT_A_FUNCTION)
    assert set(ONLY_AS_OPTION) | set(ONLY_IN_PYTHON) <= set(FUNCTIONS)


@pytest.mark.parametrize("path", FUNCTIONS)
def test_options_are_parameters(path: str) -> None:
    own = ONLY_AS_OPTION.get(path, {})
    taken = parameters(path)
    one_of_many = {name.removesuffix("s") for name in taken}  # verify(suite), inspect(lut)
    left, excused = [], []
    for option in shown(path):
        name = in_python(option)
        argument = isinstance(option, click.Argument)
        if name in taken or (argument and name.removesuffix("s") in one_of_many):
            continue
        excused.append(spelt(option))
        left += [] if spelt(option) in own or spelt(option) in EVERYWHERE else [spelt(option)]
    assert left == []
    assert set(own) <= set(excused), "no exception any more"


@pytest.mark.parametrize("path", FUNCTIONS)
def test_parameters_are_options(path: str) -> None:
    options = {in_python(each) for each in shown(path)}
    options |= {
        name.removesuffix("s")
        for each in shown(path)
        if isinstance(each, click.Argument) and each.nargs == -1
        for name in [in_python(each)]
    }
    own = ONLY_IN_PYTHON.get(path, {})
    left = set(parameters(path)) - options
    assert left - set(own) - set(OBJECTS) == set()
    assert set(own) <= left, "no exception any more"


NOTHING = (None, "", (), False)
OTHER_DEFAULTS = {
    ("inspect", "--target-curve"): "None is BT.1886 in Python",
    ("inspect", "--target-gamut"): "None is BT.709 in Python",
    ("levels", "--zebra-step"): "the project's on the command line",
}


@pytest.mark.parametrize("path", FUNCTIONS)
def test_an_option_and_its_parameter_have_one_default(path: str) -> None:
    for option in shown(path):
        parameter = parameters(path).get(in_python(option))
        if parameter is None or not isinstance(option, click.Option):
            continue
        if (path, spelt(option)) in OTHER_DEFAULTS:
            continue
        told = option.get_default(click.Context(COMMANDS[path]))
        usual = None if parameter.default is parameter.empty else parameter.default
        if told in NOTHING or str(told) == "Sentinel.UNSET":  # click's own, of 8.3 and later
            assert usual in NOTHING, spelt(option)
        else:
            assert str(told) == str(usual), spelt(option)


def test_settings_of_build_are_those_of_python() -> None:
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


# Of a recipe and the settings that `build` takes: tables have no prefix.
OF_AN_END = {
    **dict.fromkeys(("bits", "black", "white"), "of recipes alone"),
    **dict.fromkeys(("display_black", "surround"), "of recipes alone"),
}
OF_A_LUT = {
    **dict.fromkeys(("white_balance", "look", "shaper", "clamp", "as_found"), "of recipes alone"),
    "interpolation": "lut.with_interpolation; lb.apply(interpolation=)",
    "decimals": "of files",
    **dict.fromkeys(("source", "target"), "tables: see OF_AN_END"),
    **dict.fromkeys(("sources", "displays", "exposure_ladder"), "of several LUTs"),
    **dict.fromkeys(("bands", "bands_in"), "of false colour"),
    "name": "the file; -o on the command line",
}


def test_keys_of_a_recipe_are_settings() -> None:
    settings = {each.name for each in SETTINGS}
    for end in ("source", "target"):
        keys = set(get_type_hints(recipe.RecipeEnd)) - set(OF_AN_END)
        assert {f"{end}_{key}" for key in keys} <= settings
    keys = set(get_type_hints(recipe.RecipeLut)) - set(OF_A_LUT)
    assert keys <= settings
    told = {f"{end}_{key}" for end in ("source", "target") for key in ("curve", "gamut", "range")}
    told |= {"source_display_peak", "target_display_peak"}
    in_tables = {"adaptation": "of [gamut]", "measured_display": "target.measured"}
    assert settings - keys - told - set(in_tables) == set()
    assert set(in_tables) <= settings


def test_limits_of_a_suite_are_those_of_compare() -> None:
    """--limit-delta-e is of ΔE 2000 at its maximum, as the trade says ΔE."""
    options = {spelt(each) for each in shown("compare") if spelt(each).startswith("--limit")}
    names = {"delta_e_2000" + each for each in ("", "_p95", "_p99", "_mean")}
    names |= {"delta_e_itp", "code_10bit"}
    assert names <= set(NAMES)
    assert len(options) == len(names)
    keys = set(ReferenceCheck.keys())
    assert {"source", "target", "limits", "colours", "bits", "lut"} <= keys


def test_packages_below_say_that_they_are_not_promised() -> None:
    below = [name for _, name, is_package in pkgutil.iter_modules(lb.__path__) if is_package]
    assert len(below) > 15
    for name in below:
        told = str(importlib.import_module(f"lutbench.{name}").__doc__)
        assert name == "face" or "may change with any version" in told, name
