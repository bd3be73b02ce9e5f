"""What docs/architecture.md says of additions: a toy of each kind, from outside, at work."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import ClassVar

import click
import numpy as np
import pytest
from test_house import FLOORS

import lutbench
from lutbench.cli import main as command_line
from lutbench.errors import FormatError, LutbenchError
from lutbench.formats import registry as formats
from lutbench.formats.cube_write import write_cube
from lutbench.formats.registry import LutFile, Writing
from lutbench.inspection import registry as findings
from lutbench.inspection.finding import Examined, Finding, FindingKind, Limit
from lutbench.model import tone as tones
from lutbench.model.tone import ToneMapper
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import Lut3D


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as end:
        command_line.main(list(args))
    assert isinstance(end.value.code, int)
    return end.value.code


@dataclass(frozen=True)
class Dimmed(ToneMapper):
    """Light times a share."""

    share: float = 0.5
    method: ClassVar[str] = "dimmed"

    def _apply(self, rgb: Array) -> Array:
        return rgb * self.share


@pytest.fixture
def dimmed() -> Iterator[None]:
    tones.register(Dimmed)
    yield
    del tones._ADDED["dimmed"]


@pytest.mark.usefixtures("dimmed")
def test_a_tone_mapper(tmp_path: Path) -> None:
    path = tmp_path / "dim.cube"
    ends = ["--source-curve", "linear", "--target-curve", "linear", "--kind", "curve"]
    table = ["--dimensions", "1", "--size", "3"]
    assert run("build", *ends, *table, "--tone", "dimmed", "-o", str(path)) == 0
    assert lutbench.open_lut(path).apply([1.0, 0.5, 0.0]).tolist() == [0.5, 0.25, 0.0]


class Even(FindingKind):
    """A LUT with an even number of nodes: of no harm at all."""

    code = "even_size"
    limit = Limit(0.0, "nodes", "an odd size has a node in the middle")
    seen = "nothing"
    advice = "nothing to do"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.size % 2 == 0:
            yield self.finding(lut, f"{lut.subject.size} nodes", float(lut.subject.size))


@pytest.fixture
def even() -> Iterator[None]:
    kind = Even()
    findings.register(kind)
    yield
    findings.unregister(kind)


@pytest.mark.usefixtures("even")
def test_a_finding(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "even.cube"
    write_cube(Lut3D.identity(8), path)
    run("inspect", str(path), "--json")
    found = {each["code"] for each in json.loads(capsys.readouterr().out)["findings"]}
    assert "even_size" in found


def parse_rows(data: bytes, where: str, wanted: str | None) -> LutFile[Transform]:
    """The toy format: a word, then the numbers of a 3D table, red slowest."""
    word, *numbers = data.split()
    if word != b"TOY":
        raise FormatError("is no toy", where=where, accepted="TOY and numbers")
    size = round((len(numbers) / 3) ** (1 / 3))
    return LutFile(Lut3D(np.array(numbers, float).reshape(size, size, size, 3)), "toy")


def write_rows(lut: Transform, how: Writing) -> tuple[bytes, tuple[str, ...]]:
    assert isinstance(lut, Lut3D)
    return b"TOY " + " ".join(map(repr, lut.table.ravel().tolist())).encode(), ()


TOY = formats.Format(
    "toy",
    ".toy",
    "a toy",
    recognises=lambda head, suffix: head.startswith(b"TOY"),
    parse=parse_rows,
    write=write_rows,
    tables_only=True,
)


@pytest.fixture
def toy() -> Iterator[None]:
    formats.register(TOY)
    yield
    formats.unregister(TOY)


@pytest.mark.usefixtures("toy")
def test_a_format(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is read by content, written by suffix and found in folders, by commands there were."""
    first = Lut3D(Lut3D.identity(5).table ** 0.5)
    write_cube(first, tmp_path / "day.cube", decimals=None)
    luts = tmp_path / "luts"
    luts.mkdir()
    assert run("convert", str(tmp_path / "day.cube"), str(luts / "day.toy")) == 0
    (luts / "day.toy").rename(luts / "night.toy")
    np.testing.assert_array_equal(lutbench.open_lut(luts / "night.toy").table, first.table)
    neutral = str(tmp_path / "tone.cube")
    assert run("rework", "neutral", str(luts / "night.toy"), "-o", neutral) == 0
    capsys.readouterr()
    run("inspect", str(luts), "--json")
    report = json.loads(capsys.readouterr().out)
    assert Path(report["file"]).name == "night.toy"
    with pytest.raises(LutbenchError, match="exists already"):
        formats.register(TOY)


@pytest.fixture
def hello(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    @click.command()
    @click.argument("name")
    def command(name: str) -> None:
        """Greet NAME."""
        click.echo(f"hello {name}")

    module = ModuleType("toy_commands.hello")
    module.command = command  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "toy_commands", ModuleType("toy_commands"))
    monkeypatch.setitem(sys.modules, "toy_commands.hello", module)
    command_line.register("hello", "toy_commands.hello", "Greet someone.")
    yield
    del command_line.COMMANDS["hello"]


@pytest.mark.usefixtures("hello")
def test_a_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("hello", "day") == 0
    assert capsys.readouterr().out == "hello day\n"
    run("--help")
    assert "Greet someone." in capsys.readouterr().out
    assert run("hello", "") == 2  # the rules for every command hold for it too
    with pytest.raises(LutbenchError, match="there is a command named 'build' already"):
        command_line.register("build", "toy_commands.hello", "")


def test_the_page_names_files_that_are_there() -> None:
    package = Path(lutbench.__file__).parent
    text = (package.parent / "docs" / "architecture.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:\w+/)*\w+(?:\.py|/))`", text))
    assert len(named) > 30
    there = [package / name for name in named if not name.startswith("tests/")]
    there += [package.parent / name for name in named if name.startswith("tests/")]
    assert [str(path) for path in there if not path.exists()] == []


def test_the_page_draws_every_room_on_its_floor() -> None:
    package = Path(lutbench.__file__).parent
    text = (package.parent / "docs" / "architecture.md").read_text(encoding="utf-8")
    drawn, floor = {}, 0
    for line in text.split("```text")[1].split("```")[0].strip("\n").splitlines():
        floor = int(line[:3].strip() or floor)
        for room in re.findall(r"\b\w+(?:\.py|/)", line):
            drawn[room.removesuffix(".py").rstrip("/")] = floor
    assert drawn == {room: floor for room, floor in FLOORS.items() if not room.startswith("__")}
