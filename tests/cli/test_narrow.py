"""Tables on a narrow screen: nothing is cut off, and every figure of the wide table is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lutbench.cli.main import main

Printed = pytest.CaptureFixture[str]

RECIPE = """
source = { curve = "ACEScct", gamut = "ACES AP1" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "a_rather_long_name_for_a_lut"
tone = { method = "shoulder" }
[[lut]]
name = "warm"
size = 17
look = { cdl = { slope = [1.05, 1.0, 0.95], saturation = 0.8 } }
"""

COMMANDS = [
    ("build", "day.toml", "-o", "again", "--force"),
    ("inspect", "warm.cube", "a_rather_long_name_for_a_lut.cube"),
    ("identify", "warm.cube"),
    ("identify", "warm.cube", "a_rather_long_name_for_a_lut.cube"),
    ("list", "curves"),
    ("list", "gamuts", "--long"),
    ("levels", "day.toml"),
]

FEWER_COLUMNS = [
    ("inspect", "warm.cube"),
    ("levels", "--curve", "ACEScct"),
    ("levels", "--lut", "warm.cube"),
    ("compare", "warm.cube", "a_rather_long_name_for_a_lut.cube"),
    ("list", "tones"),
]
"""Their narrow tables leave columns out, or their text has no figures to look for."""


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("narrow")
    (folder / "day.toml").write_text(RECIPE, encoding="utf-8")
    with pytest.raises(SystemExit) as end:
        main(["build", str(folder / "day.toml"), "-o", str(folder)])
    assert not end.value.code
    return folder


def printed(capsys: Printed, monkeypatch: pytest.MonkeyPatch, columns: int, *args: str) -> str:
    monkeypatch.setenv("COLUMNS", str(columns))
    with pytest.raises(SystemExit) as end:
        main(list(args))
    assert not end.value.code
    return capsys.readouterr().out


def figures(text: str) -> set[str]:
    return set(re.findall(r"[-+−]?\d+\.\d+", text))


@pytest.mark.parametrize("args", [*COMMANDS, *FEWER_COLUMNS], ids=" ".join)
def test_no_cell_is_cut_off(
    built: Path, capsys: Printed, monkeypatch: pytest.MonkeyPatch, args: tuple[str, ...]
) -> None:
    monkeypatch.chdir(built)
    narrow = printed(capsys, monkeypatch, 40, *args)
    cut = [line for line in narrow.splitlines() if "…" in line and not line.startswith("… and")]
    assert not cut
    if args in COMMANDS:
        wide = printed(capsys, monkeypatch, 160, *args)
        assert figures(wide) <= figures(narrow)


def test_each_part_of_a_table_begins_with_its_first_column(
    built: Path, capsys: Printed, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(built)
    out = printed(capsys, monkeypatch, 40, "levels", "--lut", "a_rather_long_name_for_a_lut.cube")
    greys = [line.split() for line in out.splitlines() if line.startswith("mid grey")]
    # ACEScct has mid grey at 41.4 % (S-2016-001), which is 423 of 1023, and BT.1886 at 48.9 %.
    assert greys[0][2:5] == ["0.0", "41.4", "423"]
    assert "48.9" in greys[1]
