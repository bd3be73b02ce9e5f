"""The house itself: imports go down only, and starting stays light."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path

import house
import numpy as np
import pytest
from house import PACKAGE

from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut3D

FLOORS = {
    **dict.fromkeys(
        [
            "errors",
            "foreign",
            "files",
            "cluster",
            "resources",
            "results",
            "given",
            "long_work",
        ],
        1,
    ),
    "model": 2,
    "tables": 3,
    **dict.fromkeys(["algebra", "formats", "measure", "exposure"], 4),
    **dict.fromkeys(["display", "fitting", "identification", "inspection", "media"], 5),
    **dict.fromkeys(["recipes", "report", "splitting"], 6),
    **dict.fromkeys(["bench", "checks", "demo"], 7),
    "schemas": 8,
    **dict.fromkeys(["cli", "face", "pytest_plugin", "testing"], 8),
    "__main__": 9,
    # The public face loads names on first use, so it may name every floor.
    "__init__": 10,
}


NOT_GONE_THROUGH = ("identification/", "splitting/")
"""Rooms whose constants are not gone through yet."""


def imports() -> list[tuple[str, str, str]]:
    """Every import of the package within itself, inside functions too: place, from, to."""
    found = []
    for path, tree in house.modules():
        parts = path.removesuffix(".py").split("/")
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("lutbench"):
                names = [node.module or ""]
                if node.module == "lutbench":
                    names = [f"lutbench.{each.name}" for each in node.names]
            elif isinstance(node, ast.Import):
                names = [each.name for each in node.names if each.name.startswith("lutbench")]
            else:
                continue
            for name in names:
                target = [*name.split("."), "__init__"][1]
                place = f"{'/'.join(parts)}:{node.lineno}"
                found.append((place, parts[0], target if target in FLOORS else "__init__"))
    return found


def test_every_room_is_on_a_floor() -> None:
    rooms = {path.stem for path in PACKAGE.iterdir() if path.suffix == ".py"}
    rooms |= {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    assert rooms <= set(FLOORS)


def test_imports_go_down_only() -> None:
    upward = [
        f"{place} imports {target}"
        for place, room, target in imports()
        if target != "__init__" and FLOORS[room] < FLOORS[target]
    ]
    assert upward == []


UPSTAIRS = {
    ("model/transforms", "formats.convert"),
    ("model/transforms", "report.on_axes"),
    ("results", "report.on_axes"),
    ("tables/lut", "algebra.inversion"),
    ("model/transforms", "tables.pixels"),
    ("tables/lut", "tables.pixels"),
}
"""Methods of a low floor that find a module of a higher one by name, when they are called."""


def test_the_ways_up_are_these() -> None:
    found = set()
    for file in house.files():
        text = file.read_text(encoding="utf-8")
        for name in re.findall(r"import_module\(\"lutbench\.([\w.]+)\"\)", text):
            found.add((file.relative_to(PACKAGE).with_suffix("").as_posix(), name))
    assert found == UPSTAIRS


def test_no_two_rooms_of_a_floor_import_each_other() -> None:
    pairs = {(room, target) for _, room, target in imports() if room != target}
    assert [pair for pair in pairs if pair[::-1] in pairs and "__init__" not in pair] == []


def test_no_two_files_import_each_other() -> None:
    assert house.circles(house.module_graph()) == []


def test_a_circle_would_be_found() -> None:
    """The measure itself, on a graph drawn by hand."""
    graph = {"a": {"b"}, "b": {"c"}, "c": {"b", "d"}, "d": set()}
    assert house.circles(graph) == [["b", "c"]]


def held(found: set[str], let_pass: dict[str, str], what: str) -> None:
    """Nothing beyond the list, and nothing left on the list that is mended."""
    new, mended = sorted(found - set(let_pass)), sorted(set(let_pass) - found)
    assert not new, f"{what}: {new}; take it apart, or name the reason in tests/cases/house.py"
    assert not mended, f"mended, so take them off the list in tests/cases/house.py: {mended}"


def test_no_file_is_long() -> None:
    lines = {
        path: len((PACKAGE / path).read_text(encoding="utf-8").splitlines())
        for path, _ in house.modules()
    }
    long = {path for path, count in lines.items() if count > house.MOST_LINES_OF_A_FILE}
    held(long, house.LONG_FILES, f"over {house.MOST_LINES_OF_A_FILE} lines")


def test_no_function_is_long() -> None:
    most = house.MOST_LINES_OF_A_FUNCTION
    long = {name for name, each in house.functions() if house.lines_of(each) > most}
    held(long, house.LONG_FUNCTIONS, f"over {most} lines")


def test_no_function_takes_many_arguments() -> None:
    most = house.MOST_ARGUMENTS
    many = {name for name, each in house.functions() if house.arguments_of(each) > most}
    held(many, house.MANY_ARGUMENTS, f"over {most} arguments: pass a settings object")


def test_no_two_classes_have_one_name() -> None:
    several = {name for name, places in house.class_places().items() if len(places) > 1}
    held(several, house.SAME_NAMES, "in several places")


def test_every_constant_says_what_it_is() -> None:
    """A number's unit and reason stand under it, beside it, or over its run of lines."""
    bare = [
        constant
        for path, tree in house.modules()
        for constant in house.constants_without_a_reason(path, tree)
        if not path.startswith(NOT_GONE_THROUGH)
    ]
    assert bare == []


def test_a_constant_has_its_unit_in_its_name() -> None:
    """As far as its reason begins with the unit: "Seconds …", "Share of …", "10-bit codes: …"."""
    without = [
        constant
        for path, tree in house.modules()
        for constant in house.constants_without_their_unit(path, tree)
        if not path.startswith(NOT_GONE_THROUGH)
    ]
    assert without == []


def test_every_constant_has_a_line() -> None:
    several = [
        line
        for path, tree in house.modules()
        for line in house.constants_on_one_line(path, tree)
        if not path.startswith(NOT_GONE_THROUGH)
    ]
    assert several == []


def test_coverage_leaves_out_compiled_functions_only() -> None:
    """Whatever the patterns of pyproject.toml match stands in the modules that numba compiles."""
    settings = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = settings["tool"]["coverage"]["report"]["exclude_also"]
    places = {
        pattern: {
            path.relative_to(PACKAGE).as_posix()
            for path in house.files()
            for line in path.read_text(encoding="utf-8").splitlines()
            if re.search(pattern, line)
        }
        for pattern in patterns
    }
    tables, clips = {"kernels.py", "kernels_steps.py"}, {"ycbcr_loops.py", "cuts.py"}
    compiled = {f"tables/{each}" for each in tables} | {f"media/clip/{each}" for each in clips}
    assert all(places.values())  # none is left over from what has gone
    assert set().union(*places.values()) == compiled


def test_importing_lutbench_loads_nothing_heavy() -> None:
    code = "import lutbench, sys; print(*sorted({name.split('.')[0] for name in sys.modules}))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=60
    ).stdout.split()
    heavy = {"numpy", "scipy", "colour", "numba", "matplotlib", "OpenImageIO", "click", "rich"}
    assert not heavy & set(loaded)


def test_help_loads_no_numbers() -> None:
    code = (
        "import sys\n"
        "from lutbench.cli.main import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print('loaded', *sorted({name.split('.')[0] for name in sys.modules}))"
    )
    out = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=60
    ).stdout
    assert not {"numpy", "colour", "numba"} & set(out.rsplit("loaded", 1)[1].split())


RECIPE = """
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "monitor"
size = 9
"""

IMAGES = "OpenImageIO"
HEAVY = {"matplotlib", "colour", "numba", "lxml", "av"}
"""Libraries that a table has no use for."""

WORK = {f"lutbench.{room}" for room in ("identification", "splitting", "report", "checks")}
"""Rooms of whole jobs of their own."""

CLIPS = {"lutbench.media.clip", "lutbench.media.sequence", "lutbench.media.sheet"}


@dataclass(frozen=True)
class Budget:
    """What a command may take.

    `walk` is how many files of the package may take part: those of which a function runs, so
    that who follows the command through the house has to open them. What `identify` does is a
    walk of its own, so its room does not count. `loaded` is how many may be imported, and
    `kept_out` what may not.
    """

    line: str
    walk: int
    loaded: int
    kept_out: set[str]


BUDGETS = {
    "apply a still": Budget(
        "apply day.cube in.png out.png",
        23,
        36,
        HEAVY | WORK | CLIPS | {"scipy", "rich", "lutbench.recipes", "lutbench.inspection"},
    ),
    "build a recipe": Budget(
        "build day.toml -o luts", 34, 52, WORK | {"matplotlib", "numba", "lxml", "av"}
    ),
    "convert": Budget("convert day.cube small.cube --size 5", 23, 41, HEAVY | WORK | {IMAGES}),
    "inspect": Budget("inspect day.cube --json", 40, 58, HEAVY | CLIPS | WORK | {IMAGES, "rich"}),
    # A LUT whose file says nothing is identified, so that its box has an answer.
    "inspect, in words": Budget("inspect day.cube", 55, 113, HEAVY | CLIPS | {IMAGES}),
    "inspect with a page": Budget("inspect day.cube --page day.html", 77, 134, {"av", "lxml"}),
    "levels": Budget("levels --curve ACEScct", 19, 34, HEAVY | {IMAGES, "scipy"}),
    "list": Budget("list curves", 19, 32, WORK | {"numba", "av", "lutbench.tables"}),
    "rework": Budget("rework neutral day.cube -o tone.cube", 26, 42, HEAVY | WORK | {IMAGES}),
}


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a LUT, a still and a recipe."""
    import OpenImageIO as oiio

    folder = tmp_path_factory.mktemp("day")
    write_cube(Lut3D(Lut3D.identity(9).table ** 0.8), folder / "day.cube")
    (folder / "day.toml").write_text(RECIPE, encoding="utf-8")
    picture = oiio.ImageBuf(np.random.default_rng(1).random((8, 8, 3)).astype(np.float32))
    picture.set_write_format(oiio.UINT8)
    assert picture.write(str(folder / "in.png"))
    return folder


WATCHED = """
import importlib.util, sys, threading
ran = set()
here = importlib.util.find_spec("lutbench").submodule_search_locations[0] + "/"
def look(frame, event, given):
    code = frame.f_code
    own = code.co_filename.startswith(here)
    if event != "call" or not own or code.co_name == "<module>":
        return
    while frame := frame.f_back:  # what an import calls is no part of the walk
        if frame.f_code.co_name == "<module>" and frame.f_code.co_filename.startswith(here):
            return
    ran.add(code.co_filename.removeprefix(here))
from lutbench.cli.main import main
threading.setprofile(look)
sys.setprofile(look)
try:
    main(sys.argv[1:])
except SystemExit as end:
    assert not end.code, end.code
finally:
    sys.setprofile(None)
print("ran", *sorted(ran))
print("loaded", *sorted(sys.modules))
"""


@pytest.mark.parametrize(
    "name", [pytest.param(each, marks=[pytest.mark.slow] * ("page" in each)) for each in BUDGETS]
)
def test_a_command_walks_through_and_loads_what_it_needs(day: Path, name: str) -> None:
    budget = BUDGETS[name]
    out = subprocess.run(
        [sys.executable, "-c", WATCHED, *budget.line.split()],
        check=True, capture_output=True, text=True, timeout=120, cwd=day,
        env={**os.environ, "PYTHONPATH": str(PACKAGE.parent)},
    ).stdout  # fmt: skip
    ran, loaded = (each.split()[1:] for each in out.splitlines()[-2:])
    walk = [each for each in ran if each.endswith(".py")]
    walk = [each for each in walk if not each.startswith("identification/")]
    assert len(walk) <= budget.walk, " ".join(walk)
    assert not [each for each in loaded if {each, each.split(".")[0]} & budget.kept_out]
    own = [each for each in loaded if each.split(".")[0] == "lutbench"]
    assert len(own) <= budget.loaded, " ".join(own)
