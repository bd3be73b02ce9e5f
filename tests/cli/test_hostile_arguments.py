"""Every command with wrong files, names and values: one line, status 2, nothing left behind."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import click
import numpy as np
import pytest

from lutbench.cli.main import COMMANDS, group, main
from lutbench.formats.cdl import Correction, write_cdl
from lutbench.formats.cube_write import write_cube
from lutbench.media.chart.layout import draw_chart
from lutbench.media.still.still import Still, write_still
from lutbench.model.grade import Cdl
from lutbench.tables.lut import Lut3D

RECIPE = """\
size = 3
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "day"
"""
SUITE = """\
[[check]]
name = "neutral"
kind = "invariants"
lut = "day.cube"
"""
DEFINITIONS = '[curves."Plain"]\nkind = "power"\ngamma = 2.2\n'

# How each command is called when all is well. In capitals: files that are there (LUT, STILL,
# CHART, RECIPE, SUITE, DEFS), and OUT with the suffix that is written.
CALLS: dict[str, list[str]] = {
    "build": ["build RECIPE --definitions DEFS -o OUT/"],
    "identify": ["identify LUT --definitions DEFS"],
    "compare": ["compare LUT LUT --definitions DEFS --page OUT.html"],
    "verify": ["verify SUITE --definitions DEFS --junit OUT.xml"],
    "apply": ["apply LUT STILL OUT.png"],
    "sheet": ["sheet LUT STILL OUT.png --curve BT.709 --definitions DEFS"],
    "convert": ["convert LUT OUT.clf"],
    "rework": [
        "rework chain LUT LUT --definitions DEFS -o OUT.cube",
        "rework invert LUT --definitions DEFS -o OUT.cube",
        "rework resample LUT 5 --definitions DEFS -o OUT.cube",
        "rework range LUT --source-range legal --definitions DEFS -o OUT.cube",
        "rework repair LUT --definitions DEFS -o OUT.cube",
        "rework strength LUT 0.5 --base LUT --definitions DEFS -o OUT.cube",
        "rework blend LUT LUT 0.5 --definitions DEFS -o OUT.cube",
        "rework neutral LUT --definitions DEFS -o OUT.cube",
    ],
    "chart": ["chart OUT.png --size 5 --frame 320x192"],
    "capture": ["capture CHART -o OUT.cube"],
    "levels": ["levels --curve BT.709 --lut LUT --definitions DEFS --card OUT.html"],
    "list": ["list curves --definitions DEFS"],
    "demo": ["demo OUT/"],
}
INPUTS = ("LUT", "STILL", "CHART", "RECIPE", "SUITE", "DEFS")
SUFFIXES = {
    "LUT": ".cube",
    "STILL": ".png",
    "CHART": ".png",
    "RECIPE": ".toml",
    "SUITE": ".toml",
    "DEFS": ".toml",
}
EVERY = [call for calls in CALLS.values() for call in calls]
# Commands whose way of being called is not listed above.
OTHERS = [name for name in COMMANDS if name not in CALLS]


def hostile(folder: Path, suffix: str, kind: str) -> str:
    """A name of something that is no good file of that suffix."""
    path = folder / f"hostile{suffix}"
    if kind == "missing":
        return str(path)
    if kind == "missing folder":
        return str(folder / "nowhere" / path.name)
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "empty":
        path.touch()
    elif kind == "device":
        return "/dev/full"
    elif kind == "binary":
        path.write_bytes(np.random.default_rng(3).integers(0, 256, 3000, np.uint8).tobytes())
    elif kind == "words":
        path.write_text("all work and no play\n" * 30)
    elif kind == "circle":
        path.symlink_to(path)
    elif kind == "nothing":
        return ""
    elif kind == "zero":
        return "a\0b" + suffix
    elif kind == "lines":
        return str(folder / f"a\nb\x1b[31m{suffix}")
    elif kind == "long":
        return "x" * 5000 + suffix
    elif kind == "a file for a folder":
        (folder / "file").touch()
        return str(folder / "file" / path.name)
    return str(path)


KINDS = (
    *("missing", "missing folder", "folder", "pipe", "empty", "device", "binary", "words"),
    *("circle", "nothing", "zero", "lines", "long", "a file for a folder"),
)


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Files with which every command works."""
    folder = tmp_path_factory.mktemp("good")
    write_cube(Lut3D.identity(3, title="Day"), folder / "day.cube")
    ramp = np.linspace(0, 255, 8 * 6 * 3).reshape(6, 8, 3).astype(np.uint8)
    write_still(Still(ramp, ("R", "G", "B"), "8"), folder / "still.png")
    write_still(draw_chart(5, 320, 192), folder / "chart.png")
    write_cdl([Correction(Cdl(), "a")], folder / "one.cdl")
    for name, text in (("recipe", RECIPE), ("suite", SUITE), ("defs", DEFINITIONS)):
        (folder / f"{name}.toml").write_text(text)
    names = {"LUT": "day.cube", "STILL": "still.png", "CHART": "chart.png"}
    names |= {"RECIPE": "recipe.toml", "SUITE": "suite.toml", "DEFS": "defs.toml"}
    return {key: str(folder / name) for key, name in names.items()}


@pytest.fixture(autouse=True)
def _own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


def run(capfd: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    """Status, output and errors of a call, those of the libraries below included."""
    with pytest.raises(SystemExit) as end:
        main(list(args))
    out, err = capfd.readouterr()
    return int(end.value.code or 0), out, err


def refused(result: tuple[int, str, str]) -> str:
    """The one line by which a call was refused."""
    status, _, err = result
    assert status == 2, result
    assert err.endswith("\n"), err
    assert err.count("\n") == 1, err
    assert err.startswith("lutbench: "), err
    assert "Traceback" not in err
    assert "Error" not in err.split(":")[1], err
    assert err.rstrip("\n").isprintable(), ascii(err)
    return err


def words(call: str, good: dict[str, str], out: Path) -> list[str]:
    """The arguments of a call; what it writes goes into `out`."""
    return [
        good.get(word, str(out / f"out{word[3:]}") if word.startswith("OUT") else word)
        for word in call.split()
    ]


def left_in(folder: Path) -> set[str]:
    """The files under a folder, without the settings that libraries make for themselves."""
    names = {each.relative_to(folder) for each in folder.rglob("*")}
    return {str(each) for each in names if each.parts[0] != "config"}


def test_every_command_is_here() -> None:
    assert [name for name in CALLS if name not in COMMANDS] == []


@pytest.mark.parametrize("call", [each for each in EVERY if not each.startswith("demo")])
def test_the_calls_work_when_all_is_well(
    call: str, good: dict[str, str], tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    status, _, err = run(capfd, *words(call, good, tmp_path))
    assert status == 0, err


def cases() -> Iterator[tuple[str, int]]:
    """Each call, with the place of each file that it reads or writes."""
    for call in EVERY:
        for place, word in enumerate(call.split()):
            if word in INPUTS or word.startswith("OUT"):
                yield call, place


def places() -> Iterator[tuple[str, int, str]]:
    """Each call, the place of a file that it reads, and what stands there instead."""
    for call, place in cases():
        word = call.split()[place]
        # Definitions are read in one way by all commands: one of them meets every kind.
        kinds = KINDS if word != "DEFS" or call.startswith("list") else ("missing",)
        if word in INPUTS:
            yield from ((call, place, kind) for kind in kinds)


@pytest.mark.parametrize(("call", "place", "kind"), list(places()))
def test_a_hostile_file_in_the_place_of_a_good_one(
    call: str,
    place: int,
    kind: str,
    good: dict[str, str],
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "out").mkdir()
    args = words(call, good, tmp_path / "out")
    if (call.split()[place], kind) == ("DEFS", "empty"):
        return  # definitions of nothing, which is allowed
    args[place] = hostile(tmp_path, SUFFIXES[call.split()[place]], kind)
    refused(run(capfd, *args))
    assert left_in(tmp_path / "out") == set()


@pytest.mark.parametrize(
    "kind", ["missing folder", "folder", "zero", "long", "a file for a folder", "nothing"]
)
@pytest.mark.parametrize(
    ("call", "place"),
    [
        case
        for case in cases()
        if case[0].split()[case[1]].startswith("OUT.")
    ],
)  # fmt: skip
def test_a_hostile_place_to_write_to(
    call: str,
    place: int,
    kind: str,
    good: dict[str, str],
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
) -> None:
    if (call.split()[0], kind) == ("apply", "folder"):
        return  # the still goes into it
    args = words(call, good, tmp_path)
    args[place] = hostile(tmp_path, call.split()[place][3:], kind)
    before = left_in(tmp_path)
    refused(run(capfd, *args))
    assert left_in(tmp_path) == before


# The report of a run of checks replaces that of the last run.
@pytest.mark.parametrize("call", [each for each in EVERY if "OUT." in each and "xml" not in each])
def test_a_file_that_exists_stays(
    call: str, good: dict[str, str], tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    args = words(call, good, tmp_path)
    out = next(Path(word) for word in args if word.startswith(str(tmp_path)))
    out.write_text("mine")
    assert "--force" in refused(run(capfd, *args))
    assert out.read_text() == "mine"
    assert left_in(tmp_path) == {out.name}


HOSTILE_VALUES = ("", "nan", "-1", "1e400", "x[red]\n")
# Options that the commands share, tried with the first that has them.
SHARED_OPTIONS = {"--title", "--definitions", "--output", "--size"}


def options(call: str) -> list[click.Option]:
    """The options of a call that take values."""
    context, command = click.Context(group), click.Command("")
    parent: click.Command = group
    for word in call.split()[:2]:
        if isinstance(parent, click.Group) and (found := parent.get_command(context, word)):
            parent = command = found
    return [each for each in command.params if isinstance(each, click.Option) and not each.is_flag]


@pytest.mark.parametrize("call", [each for each in EVERY if not each.startswith("demo")])
def test_hostile_values_of_options(
    call: str,
    good: dict[str, str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    args = words(call, good, tmp_path)
    for option in options(call):
        name = option.opts[-1]
        if call.startswith("rework") and "neutral" not in call and name in SHARED_OPTIONS:
            continue
        # A text is taken as it is: one value shows it. A choice takes none of them.
        plain = isinstance(option.type, click.types.StringParamType | click.Choice)
        for value in HOSTILE_VALUES[-1:] if plain else HOSTILE_VALUES:
            if name == "--scheduler":
                continue  # waits for the cluster's own time limit
            given = [name, *[value] * option.nargs]
            result = run(capfd, *args, *given, *(["--force"] if "OUT" in call else []))
            status, _, err = result
            assert status in (0, 1, 2), (given, result)
            if status == 2:
                assert "\n" not in refused(result).rstrip("\n"), given
            assert "Traceback" not in err, (given, err)


@pytest.mark.parametrize("call", EVERY)
def test_a_call_without_anything_and_with_too_much(
    call: str, good: dict[str, str], tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    names = call.split()[: 2 if call.startswith("rework") else 1]
    if names != ["demo"]:
        refused(run(capfd, *names))
    refused(run(capfd, *words(call, good, tmp_path), "--no-such-option"))
    many = ["x.cube"] * 9
    if not any(each in call for each in ("chain", "identify", "verify")):
        refused(run(capfd, *words(call, good, tmp_path), *many))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", OTHERS)
def test_hostile_files_for_commands_not_listed(
    name: str, kind: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    found = group.get_command(click.Context(group), name)
    assert found is not None
    needed = [each for each in found.params if isinstance(each, click.Argument)]
    bad = hostile(tmp_path, ".cube", kind)
    before = left_in(tmp_path)
    refused(run(capfd, name, *[bad] * max(1, len(needed))))
    assert left_in(tmp_path) == before


def test_an_unknown_command(capfd: pytest.CaptureFixture[str]) -> None:
    for name in ("", " ", "\0", "a\nb", "x" * 5000, "--", "-", "../build"):
        if name != "--":
            refused(run(capfd, name))
