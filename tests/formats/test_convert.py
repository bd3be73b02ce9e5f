"""lutbench convert: every format into every other, ranges and sizes, the loss that is printed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest

import lutbench
from lutbench.cli.main import main
from lutbench.formats.cdl import write_cdl
from lutbench.formats.convert import ConvertOptions, convert
from lutbench.formats.cube_write import write_cube
from lutbench.formats.registry import read_lut_file
from lutbench.model.grade import Cdl
from lutbench.model.signal import RangeChange
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, lattice

RGB = np.random.default_rng(9).random((300, 3))
LOOK = Cdl((1.1, 1.0, 0.9), (-0.03, 0.02, 0.0), (1.25, 1.0, 0.8), 1.3)


def a_lut(size: int = 9) -> Lut3D:
    nodes = lattice(size)
    table = np.round(0.8 * nodes**1.5 + 0.1 * nodes[..., ::-1], 6)
    return Lut3D(table, title="Salt Road", comments=("for viewing",))


def run(*args: object, status: int = 0) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["convert", *map(str, args)])
    assert ended.value.code == status


def report(capsys: pytest.CaptureFixture[str], *args: object) -> dict[str, Any]:
    run(*args, "--json")
    data = json.loads(capsys.readouterr().out)
    assert isinstance(data, dict)
    return data


def test_cube_to_clf_and_back_loses_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, middle, last = tmp_path / "a.cube", tmp_path / "a.clf", tmp_path / "b.cube"
    write_cube(a_lut(), first)
    for source, target in ((first, middle), (middle, last)):
        data = report(capsys, source, target)
        assert data["schema"] == 1
        assert data["loss"]["code_10bit"]["max"] == 0
        assert data["target"]["title"] == "Salt Road"
    assert last.read_bytes() == first.read_bytes()


def test_the_loss_is_what_colour_science_measures(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, smaller = tmp_path / "a.cube", tmp_path / "b.cube"
    write_cube(a_lut(9), first)
    data = report(capsys, first, smaller, "--size", 4, "--interpolation", "trilinear")
    worst = data["loss"]["worst"]
    trilinear = colour.algebra.table_interpolation_trilinear
    wanted, given = (
        colour.read_LUT(str(path)).apply(np.array([worst["input"]]), interpolator=trilinear)[0]
        for path in (first, smaller)
    )
    assert np.allclose(wanted, worst["wanted"], atol=1e-12)
    assert np.allclose(given, worst["given"], atol=1e-12)
    largest = np.abs(wanted - given).max() * 1023
    assert data["loss"]["code_10bit"]["max"] == pytest.approx(largest)
    assert largest > 1


def test_six_decimals_lose_half_a_millionth(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = tmp_path / "a.cube"
    write_cube(Lut3D(np.random.default_rng(1).random((5, 5, 5, 3))), first, decimals=None)
    rounded = report(capsys, first, tmp_path / "b.cube")["loss"]["code_10bit"]["max"]
    assert 0 < rounded <= 0.5e-6 * 1023 * (1 + 1e-6)
    assert report(capsys, first, tmp_path / "c.cube", "--exact")["loss"]["code_10bit"]["max"] == 0


@pytest.mark.parametrize("suffix", ["cdl", "cc", "ccc", "clf"])
def test_a_cdl_stays_a_cdl(tmp_path: Path, capsys: pytest.CaptureFixture[str], suffix: str) -> None:
    first, second, third = tmp_path / "a.cc", tmp_path / f"b.{suffix}", tmp_path / "c.cdl"
    write_cdl(LOOK, first)
    assert report(capsys, first, second, "--title", "day")["loss"]["code_10bit"]["max"] == 0
    assert report(capsys, second, third)["target"]["title"] == "day"
    assert lutbench.open_lut(third) == LOOK


def test_a_cdl_into_a_lattice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, second = tmp_path / "a.cc", tmp_path / "b.cube"
    write_cdl(LOOK, first)
    data = report(capsys, first, second, "--size", 17)
    assert "sampled" in data["notes"][0]
    lut = lutbench.open_lut(second)
    assert isinstance(lut, Lut3D)
    assert np.abs(lut.table - LOOK.apply(lattice(17))).max() <= 0.5e-6


@pytest.mark.parametrize("suffix", ["cube", "clf"])
def test_ranges_there_and_back(tmp_path: Path, suffix: str) -> None:
    """Against the formula of legal range, 10 bit: code = 64 + 876·signal.

    The LUT is affine, so that another lattice can hold it exactly, but for the
    cells in which the input leaves its range.
    """
    first, second, back = tmp_path / "a.cube", tmp_path / f"b.{suffix}", tmp_path / "c.cube"
    mix = np.array([[0.7, 0.2, 0.0], [0.1, 0.8, 0.0], [0.0, 0.2, 0.6]])
    write_cube(Lut3D(0.05 + lattice(5) @ mix.T), first)
    rgb = 0.1 + 0.8 * RGB
    expected = 0.05 + rgb @ mix.T
    run(first, second, "--source-range", "legal", "--target-range", "legal", "--size", 33)
    legal = (64 + 876 * rgb) / 1023
    got = lutbench.open_lut(second).apply(legal)
    assert np.abs(got - (64 + 876 * expected) / 1023).max() < 1e-6
    run(
        *(second, back, "--given-source-range", "legal", "--given-target-range", "legal"),
        *("--source-range", "full", "--target-range", "full"),
    )
    # Six decimals twice, the second time stretched by 1023/876.
    assert np.abs(lutbench.open_lut(back).apply(rgb) - expected).max() < 2e-6


def test_a_change_of_range_is_exact_in_clf(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = tmp_path / "a.cube", tmp_path / "b.clf"
    write_cube(a_lut(), first)
    data = report(capsys, first, second, "--source-range", "legal", "--target-range", "legal")
    assert data["target"]["steps"] == ["range", "lut3d", "range"]
    assert data["loss"]["code_10bit"]["max"] < 1e-9
    legal = (64 + 876 * RGB) / 1023
    expected = (64 + 876 * a_lut().apply(RGB)) / 1023
    assert np.allclose(lutbench.open_lut(second).apply(legal), expected, atol=1e-12)


def test_a_range_that_is_there_already_changes_nothing(tmp_path: Path) -> None:
    first, second = tmp_path / "a.cube", tmp_path / "b.cube"
    write_cube(a_lut(), first)
    run(first, second, "--given-target-range", "legal", "--target-range", "legal")
    assert second.read_bytes() == first.read_bytes()


def test_a_curve_to_three_dimensions_and_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second, third = tmp_path / "a.cube", tmp_path / "b.cube", tmp_path / "c.cube"
    write_cube(Lut1D(np.linspace([0] * 3, [1] * 3, 33) ** 2), first)
    data = report(capsys, first, second, "--dimensions", 3, "--size", 33)
    assert (data["target"]["kind"], data["target"]["size"]) == ("lut3d", 33)
    assert data["loss"]["code_10bit"]["max"] < 1e-3
    data = report(capsys, second, third, "--dimensions", 1, "--size", 33)
    assert data["target"]["kind"] == "lut1d"
    assert third.read_bytes() == first.read_bytes()


def test_a_shaper_goes_on_serving(tmp_path: Path) -> None:
    shaper = Lut1D(np.linspace([0] * 3, [1] * 3, 1025) ** 0.4, (0.0, 16.0))
    lut = ShaperLut3D(shaper, a_lut(17), "both")
    first = tmp_path / "a.cube"
    write_cube(lut, first, decimals=None)
    light = RGB * 16
    for name, args in (
        ("b.cube", ("--size", "33")),
        ("c.cube", ("--target-range", "legal")),
        ("d.clf", ()),
    ):
        run(first, tmp_path / name, *args)
        back = lutbench.open_lut(tmp_path / name).apply(light)
        expected = lut.apply(light)
        if "legal" in args:
            expected = (64 + 876 * expected) / 1023
        assert np.abs(back - expected).max() < 2e-6


def test_interpolation_is_said_in_clf_only(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second, third = tmp_path / "a.cube", tmp_path / "b.clf", tmp_path / "c.cube"
    write_cube(a_lut(), first)
    run(first, second, "--interpolation", "trilinear")
    read = lutbench.open_lut(second)
    assert isinstance(read, Lut3D)
    assert read.interpolation == "trilinear"
    capsys.readouterr()
    assert "interpolate" in report(capsys, second, third)["notes"][0]


@pytest.mark.parametrize(
    ("args", "text"),
    [
        (("a.cube", "b.3dx"), "no format has the suffix"),
        (("a.cube", "b.cdl"), "can hold only a CDL"),
        (("a.cube", "a.cube"), "--force to replace it"),
        (("a.cube", "b.cube", "--size", "1"), "2 to 256"),
        (("a.cube", "b.cube", "--dimensions", "1"), "a 3D LUT"),
        (("a.cube", "b.cube", "--exact", "--decimals", "4"), "exclude each other"),
        (("none.cube", "b.cube"), "No such file"),
        (("bad.cube", "b.cube"), "bad.cube:2"),
    ],
)
def test_what_cannot_be_done_is_one_line(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    args: tuple[str, ...],
    text: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    write_cube(a_lut(3), "a.cube")
    Path("bad.cube").write_text("LUT_1D_SIZE 2\n0 0 x\n1 1 1\n")
    before = sorted(tmp_path.iterdir())
    run(*args, status=2)
    said = capsys.readouterr().err
    assert text in said
    assert said.count("\n") == 1
    assert sorted(tmp_path.iterdir()) == before


def test_the_table_says_what_was_done(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first = tmp_path / "a.cube"
    write_cube(a_lut(), first)
    run(first, tmp_path / "b.cube", "--size", 5)
    said = capsys.readouterr().out
    assert "3D LUT" in said
    assert "loss over" in said


def test_nothing_is_written_by_the_library_call(tmp_path: Path) -> None:
    write_cube(a_lut(), tmp_path / "a.cube")
    read = read_lut_file(tmp_path / "a.cube")
    done = convert(
        read, tmp_path / "b.clf", ConvertOptions(ranges=RangeChange(target_range="legal"))
    )
    assert not (tmp_path / "b.clf").exists()
    points, difference = done.difference(100)
    assert points.shape == difference.shape
    assert np.abs(difference).max() < 1e-12


def test_outputs_that_are_not_finite_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    clf = tmp_path / "a.clf"
    grow = (
        '<Exponent inBitDepth="32f" outBitDepth="32f" style="basicFwd">'
        '<ExponentParams exponent="100"/></Exponent>'
    )
    scale = (
        '<Matrix inBitDepth="32f" outBitDepth="32f">'
        '<Array dim="3 3">1e30 0 0 0 1e30 0 0 0 1e30</Array></Matrix>'
    )
    clf.write_text(
        '<ProcessList xmlns="urn:AMPAS:CLF:v3.0" id="a" compCLFversion="3.0">'
        f"{scale}{grow}</ProcessList>"
    )
    for name in ("b.clf", "b.cube"):
        with np.errstate(over="ignore"):
            run(clf, tmp_path / name, status=2)
        assert not (tmp_path / name).exists()
        assert "infinity" in capsys.readouterr().err
