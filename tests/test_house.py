"""The house itself: imports go down only, and starting stays light."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import lutbench

PACKAGE = Path(lutbench.__file__).parent

FLOORS = {
    **dict.fromkeys(
        ["errors", "files", "strays", "plaintext", "cluster", "resources", "upstairs"], 1
    ),
    "model": 2,
    "tables": 3,
    **dict.fromkeys(["algebra", "formats", "measure", "exposure"], 4),
    **dict.fromkeys(["display", "fitting", "identification", "inspection", "media"], 5),
    **dict.fromkeys(["recipes", "report", "splitting"], 6),
    **dict.fromkeys(["checks", "demo"], 7),
    **dict.fromkeys(["cli", "pytest_plugin", "testing"], 8),
    "__main__": 9,
    # The public face loads names on first use, so it may name every floor.
    "__init__": 10,
}


def imports() -> list[tuple[str, str, str]]:
    """Every import of the package within itself, inside functions too: place, from, to."""
    found = []
    for file in PACKAGE.rglob("*.py"):
        parts = file.relative_to(PACKAGE).with_suffix("").parts
        tree = ast.parse(file.read_text(encoding="utf-8"))
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
    ("model/transforms", "tables.applying"),
    ("tables/lut", "tables.applying"),
}
"""Methods of a low floor that find a module of a higher one by name: see `upstairs.py`."""


def test_the_ways_up_are_these() -> None:
    found = set()
    for file in PACKAGE.rglob("*.py"):
        for match in re.finditer(r"[^`]upstairs\(\"([\w.]+)\"\)", file.read_text(encoding="utf-8")):
            found.add((file.relative_to(PACKAGE).with_suffix("").as_posix(), match[1]))
    found.discard(("upstairs", "files"))  # the example
    assert found == UPSTAIRS


def test_no_two_rooms_of_a_floor_import_each_other() -> None:
    pairs = {(room, target) for _, room, target in imports() if room != target}
    assert [pair for pair in pairs if pair[::-1] in pairs and "__init__" not in pair] == []


def test_coverage_leaves_out_compiled_functions_only() -> None:
    """Whatever the patterns of pyproject.toml match stands in the modules that numba compiles."""
    settings = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = settings["tool"]["coverage"]["report"]["exclude_also"]
    places = {
        pattern: {
            path.relative_to(PACKAGE).as_posix()
            for path in PACKAGE.rglob("*.py")
            for line in path.read_text(encoding="utf-8").splitlines()
            if re.search(pattern, line)
        }
        for pattern in patterns
    }
    compiled = {"tables/kernels.py", "tables/kernels_steps.py", "media/clip/ycbcr.py"}
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
