"""``build``, ``list`` and ``demo`` as a user calls them."""

from __future__ import annotations

import json
from pathlib import Path

import colour
import numpy as np
import pytest
from click.testing import CliRunner

from lutbench.cli.main import main
from lutbench.formats.registry import open_lut

QUICK = [
    "build",
    *("--source-curve", "ACEScct", "--source-gamut", "ACEScg"),
    *("--target-curve", "BT.1886", "--target-gamut", "BT.709"),
]


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(list(args))
    out, err = capsys.readouterr()
    return int(end.value.code or 0), out, err


@pytest.fixture(autouse=True)
def _inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


def test_the_quick_form_agrees_with_colour_science(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, *QUICK, "-o", "m.cube")
    assert (status, err) == (0, "")
    assert "m.cube" in out
    assert "For viewing" in out
    table = colour.read_LUT("m.cube").table
    light = colour.log_decoding(colour.LUT3D.linear_table(33), function="ACEScct")
    matrix = colour.matrix_RGB_to_RGB(
        colour.RGB_COLOURSPACES["ACEScg"],
        colour.RGB_COLOURSPACES["ITU-R BT.709"],
        chromatic_adaptation_transform="Bradford",
    )
    linear = colour.algebra.vecmul(matrix, light)
    expected = np.clip(colour.models.eotf_inverse_BT1886(np.maximum(linear, 0)), 0, 1)
    # Six decimals in the file: half a unit of the last, and the matrix's rounding.
    assert table == pytest.approx(expected, abs=5.1e-7 + 1e-6)


def test_json_says_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, *QUICK, "-o", "m.cube", "--size", "17", "--json")
    data = json.loads(out)
    assert (status, data["schema"], data["luts"][0]["size"]) == (0, 1, 17)
    assert data["luts"][0]["accuracy"]["sets"]["chart"]["delta_e_2000"]["mean"] > 0


def test_ranges_tone_and_exposure_reach_the_file(capsys: pytest.CaptureFixture[str]) -> None:
    args = ("--target-range", "legal", "--tone", "shoulder", "--exposure", "1")
    run(capsys, *QUICK, *args, "-o", "m.cube")
    lut = open_lut("m.cube")
    assert lut.table.min() == pytest.approx(64 / 1023, abs=1e-6)
    assert lut.table.max() == pytest.approx(940 / 1023, abs=1e-6)
    assert any("exposure: +1 stops" in line for line in lut.comments)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((), "there is nothing to build"),
        (("none.toml",), "none.toml: cannot read: No such file"),
        ((*QUICK[1:],), "no output is named"),
        ((*QUICK[1:], "-o", "m.txt"), "suffix '.txt'"),
        ((*QUICK[1:], "-o", "m.cube", "--size", "1"), "2 to 256"),
        ((*QUICK[1:], "-o", "m.cube", "--size", "x"), "--size"),
        ((*QUICK[1:], "-o", "none/m.cube"), "cannot write"),
        ((*QUICK[1:], "-o", "m.cube", "--dimensions", "1"), "--kind curve"),
        ((*QUICK[1:], "-o", "m.cube", "--definitions", "none.toml"), "No such file"),
        (("none.toml", "--size", "3"), "--size cannot be given with a recipe"),
        (("none.toml", "--target-curve", "sRGB"), "--target-curve cannot be given"),
        (("--source-curve", "ACESct", "--target-curve", "sRGB", "-o", "m.cube"), "needs a source"),
        ((*QUICK[1:], "-o", "m.cube", "--target-gamut", "BT.907"), "accepted: BT.709"),
    ],
)
def test_mistakes_get_one_line(
    capsys: pytest.CaptureFixture[str], args: tuple[str, ...], words: str
) -> None:
    status, out, err = run(capsys, "build", *args)
    assert (status, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1
    assert not list(Path().glob("*.cube"))


def test_a_file_that_exists_stays(capsys: pytest.CaptureFixture[str]) -> None:
    Path("m.cube").write_text("mine")
    status, _, err = run(capsys, *QUICK, "-o", "m.cube")
    assert (status, Path("m.cube").read_text()) == (2, "mine")
    assert "--force" in err
    assert run(capsys, *QUICK, "-o", "m.cube", "--force")[0] == 0
    assert run(capsys, *QUICK, "-o", ".")[0] == 2


def test_a_recipe_writes_its_set(capsys: pytest.CaptureFixture[str]) -> None:
    Path("day.toml").write_text(
        '[source]\ncurve = "ACEScct"\ngamut = "ACEScg"\n[target]\ncurve = "sRGB"\n'
        'gamut = "BT.709"\n[[lut]]\nname = "a"\nsize = 9\n[[lut]]\nname = "sub/b"\nkind = "curve"\n'
    )
    status, out, _ = run(capsys, "build", "day.toml", "-o", "luts")
    assert status == 0
    assert Path("luts/a.cube").is_file()
    assert Path("luts/sub/b.cube").is_file()
    assert all(len(line) <= 100 for line in out.splitlines())


def test_titles_that_a_cut_makes_equal_are_named(capsys: pytest.CaptureFixture[str]) -> None:
    text = (
        'title = "A long project"\n[source]\ncurve = "ACEScct"\ngamut = "ACEScg"\n[target]\n'
        'curve = "sRGB"\ngamut = "BT.709"\n[profile]\ntitle_length = 10\ntitle_cut = "{cut}"\n'
        '[[lut]]\nname = "a"\nsize = 3\n[[lut]]\nname = "b"\nsize = 3\n'
    )
    for cut, named in (("end", True), ("start", False)):
        Path("day.toml").write_text(text.replace("{cut}", cut))
        status, out, _ = run(capsys, "build", "day.toml", "-o", cut)
        assert status == 0
        assert ("2 LUTs have the title 'A long pro'" in out) == named


def test_list_curves_and_gamuts(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "list", "curves", "--json")
    rows = {row["name"]: row for row in json.loads(out)["curves"]}
    assert rows["ACEScct"]["mid_grey_signal"] == pytest.approx(0.413588402, abs=5e-10)
    assert rows["ACEScct"]["family"] == "log"
    for name in (*colour.LOG_ENCODINGS, *colour.OETFS):
        found = [row for row in rows.values() if name in (row["name"], *row["aliases"])]
        assert len(found) == 1, name
        assert found[0]["usable"] or found[0]["reason"]
    _, out, _ = run(capsys, "list", "gamuts", "--json")
    names = [name for row in json.loads(out)["gamuts"] for name in (row["name"], *row["aliases"])]
    assert set(colour.RGB_COLOURSPACES) <= set(names)
    assert len(names) == len({name.casefold() for name in names})
    status, out, _ = run(capsys, "list", "curves")
    assert (status, "not usable" in out) == (0, True)
    assert run(capsys, "list", "curvs")[0] == 2


def test_help_and_unknown_commands(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "--help")
    assert (status, "build" in out) == (0, True)
    status, _, err = run(capsys, "biuld")
    assert (status, err.count("\n")) == (2, 1)
    assert "accepted: build" in err
    for command in ("build", "list", "demo"):
        status, out, _ = run(capsys, command, "--help")
        assert (status, "Example" in out) == (0, True)


def test_without_a_terminal_there_is_no_colour_and_no_bar() -> None:
    from lutbench.cli.main import group

    result = CliRunner().invoke(group, [*QUICK, "-o", "m.cube"])
    assert result.exit_code == 0
    assert "\x1b" not in result.output


@pytest.mark.slow
def test_the_demo_runs_and_stays(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "demo", "d")
    assert (status, err) == (0, "")
    assert "invented" in out
    written = [path for path in Path("d").rglob("*") if path.is_file()]
    assert len(written) >= 19
    assert run(capsys, "demo", "d")[0] == 2
