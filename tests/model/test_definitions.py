"""User definitions: what is taken, and what is refused with which words."""

from __future__ import annotations

from pathlib import Path

import pytest

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.model.catalogue import Catalogue, open_catalogue, user_folder
from lutbench.model.definitions import read_definitions

GOOD = """
[curves."House Log"]
kind = "log"
base = 10
log_side_slope = 0.25
log_side_offset = 0.6
lin_side_offset = 0.01
lin_side_break = 0.01

[curves."House Power"]
kind = "power"
gamma = 2.35

[curves."Measured"]
kind = "table"
light = [0.0, 0.18, 1.0, 10.0]
signal = [0.05, 0.4, 0.6, 1.0]

[curves."From File"]
kind = "table"
file = "curve.csv"

[gamuts."House Wide"]
primaries = [[0.75, 0.27], [0.17, 0.91], [0.10, -0.05]]
white = "D60"

[gamuts."House Narrow"]
primaries = [[0.6, 0.33], [0.3, 0.6], [0.15, 0.08]]
white = [0.32, 0.33]
"""


def write(folder: Path, text: str) -> Path:
    file = folder / "own.toml"
    file.write_text(text)
    return file


def test_definitions_are_found_in_any_case(tmp_path: Path) -> None:
    (tmp_path / "curve.csv").write_text("light,signal\n0,0.05\n0.18,0.4\n1,0.6\n10,1.0\n")
    known = open_catalogue(write(tmp_path, GOOD), user=False)
    assert known.curve("house log").mid_grey == pytest.approx(0.25 * -0.72125 + 0.6, abs=1e-5)
    assert known.curve("HOUSE POWER").mid_grey == pytest.approx(0.18 ** (1 / 2.35))
    assert known.curve("measured").mid_grey == pytest.approx(0.4, abs=1e-9)
    assert known.curve("from file").mid_grey == pytest.approx(0.4, abs=1e-9)
    assert known.gamut("house wide").white == pytest.approx((0.3216, 0.3376), abs=1e-4)
    origins = {entry.name: entry.origin for entry in known.curves()}
    assert origins["House Log"] == "user"
    with pytest.raises(LutbenchError, match="accepted: House Log"):
        known.curve("Huose Log")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[curves."BT.709"]\nkind="power"\ngamma=2', r"own\.toml: .*hides the standard one"),
        ('[curves."rec.709"]\nkind="power"\ngamma=2', "hides the standard one"),
        ("[gamuts.srgb]\nprimaries=[[0.6,0.3],[0.3,0.6],[0.1,0.1]]", "hides the standard one"),
        ('[curves.a]\nkind="table"\nlight=[0,1,2]\nsignal=[0,0.5,0.4]', "not monotone at row 3"),
        ('[curves.a]\nkind="table"\nlight=[0,1]\nsignal=[0,0.5]', "2 rows"),
        ('[curves.a]\nkind="log"\nbase=0.5', "base 0.5 is not above 1"),
        ('[curves.a]\nkind="log"\nbasis=2', r"key 'basis' is not known; accepted: base"),
        ('[curves.a]\nkind="spline"', "accepted: log, power, table"),
        ('[curves.a]\nkind="log"\nbase="ten"', "'ten' is not a number"),
        ('[curves.a]\nkind="table"\nfile="none.csv"', r"none\.csv: cannot read"),
        ('[curves.a]\nkind="power"\ngamma=2\n[curves.A]\nkind="power"\ngamma=2', "differ only in"),
        ("[gamuts.a]\nprimaries=[[0.1,0.1],[0.2,0.2],[0.3,0.3]]", "degenerate"),
        ("[gamuts.a]\nprimaries=[[0.1,0.1],[0.2,0.2]]", "not three xy points"),
        ('[gamuts.a]\nprimaries=[[0.6,0.3],[0.3,0.6],[0.1,0.1]]\nwhite="D99"', "no white is named"),
        ("[gamuts.a]\nprimaries=[[0.6,0.3],[0.3,0.6],[0.1]]", "is not an xy point"),
        ("[colours.a]\n", "accepted: curves, gamuts"),
        ("curves = 3", "not a set of tables"),
        ("this is not toml", "is not TOML"),
    ],
)
def test_what_cannot_be_used_is_refused_with_its_place(
    tmp_path: Path, text: str, words: str
) -> None:
    with pytest.raises(LutbenchError, match=words) as caught:
        open_catalogue(write(tmp_path, text), user=False)
    assert "own.toml" in str(caught.value) or "none.csv" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_curve_that_clamps_inside_the_signal_is_refused(tmp_path: Path) -> None:
    flat = """
[curves.a]
kind = "log"
base = 10
log_side_slope = 1e-7
"""
    with pytest.raises(DefinitionError, match=r"own\.toml: curve 'a': .*a curve that rises"):
        read_definitions(write(tmp_path, flat))


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match="No such file"):
        read_definitions(tmp_path / "none.toml")
    with pytest.raises(LutbenchError, match="is a folder"):
        read_definitions(tmp_path)
    (tmp_path / "huge.toml").write_bytes(b"#" * (1 << 20) + b"#")
    with pytest.raises(LutbenchError, match="too large"):
        read_definitions(tmp_path / "huge.toml")


def test_the_per_user_folder_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    folder = user_folder()
    folder.mkdir(parents=True)
    (folder / "mine.toml").write_text('[curves."Mine"]\nkind = "power"\ngamma = 2.2\n')
    assert open_catalogue().curve("mine").name == "Mine"
    with pytest.raises(LutbenchError):
        Catalogue().curve("mine")
