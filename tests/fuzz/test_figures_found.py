"""Kinds of fault that hostile numbers found, each kept out by a small case that shows it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lutbench.algebra.inversion import invert
from lutbench.algebra.neutral import neutral_curve
from lutbench.cli.main import main
from lutbench.errors import LutbenchError
from lutbench.exposure.levels import levels
from lutbench.formats.cube_write import write_cube
from lutbench.measure.comparison import compare
from lutbench.media.sheet import levels_of
from lutbench.model.transforms import Matrix
from lutbench.tables.lut import Lut1D, Lut3D

HUGE = 3.4e38


def _with(value: float, size: int = 3) -> Lut3D:
    table = Lut3D.identity(size).table.astype(np.float64)
    table[1, 1, 1] = value
    return Lut3D(table)


def test_a_huge_number_has_no_inverse_and_no_singular_matrix() -> None:
    with pytest.raises(LutbenchError, match=r"reaches 3\.4e\+38"):
        invert(_with(HUGE))


def test_nodes_of_two_sizes_and_of_one_domain_are_two_sets() -> None:
    # A 1D LUT of ten rows and another of eight: their nodes have one name.
    first, second = (Lut1D(np.linspace([0.0] * 3, [1.0] * 3, size)) for size in (10, 8))
    assert compare(first, second).overall["code_10bit"].max < 0.01


def test_a_side_that_hardly_moves_fits_no_line() -> None:
    table = 0.5 + 1e-9 * Lut3D.identity(3).table
    assert compare(Lut3D(table), Lut3D.identity(3)).overall["code_10bit"].max > 500


def test_a_curve_of_what_is_not_finite_is_refused() -> None:
    scaled = Matrix.from_array(np.eye(3) * 1e300)
    twice = scaled | scaled
    with pytest.raises(LutbenchError, match="NaN or infinite"):
        neutral_curve(twice)


def test_a_level_after_what_is_not_finite_is_refused() -> None:
    scaled = Matrix.from_array(np.eye(3) * 1e300)
    from lutbench.model.catalogue import open_catalogue

    with pytest.raises(LutbenchError, match="NaN or infinite"):
        levels(open_catalogue(user=False).curve("BT.709"), lut=scaled | scaled)


def test_levels_of_a_picture_at_the_ends_of_float() -> None:
    picture = np.full((4, 4, 3), HUGE, np.float32)
    picture[0] = -HUGE
    assert "%" in str(levels_of(picture))
    assert str(levels_of(np.full((2, 2, 3), np.inf, np.float32))) == "no level is finite"


def test_a_table_of_huge_numbers_is_not_identified(tmp_path: Path) -> None:
    from lutbench.identification import identify

    write_cube(_with(HUGE), tmp_path / "huge.cube")
    with pytest.raises(LutbenchError, match="cannot be examined"):
        identify(_with(HUGE))


def test_values_beyond_a_pixel_are_not_inspected() -> None:
    from lutbench.inspection.inspection import inspect

    scaled = Matrix.from_array(np.eye(3) * 1e150)
    with pytest.raises(LutbenchError, match=r"reaches 1e\+150"):
        inspect(scaled).to_data()
    inspect(_with(HUGE)).to_data()  # what a pixel holds is examined


def test_light_beyond_measure_is_measured() -> None:
    from lutbench.measure.delta_e import view_of
    from lutbench.measure.difference import measure
    from lutbench.model.catalogue import open_catalogue
    from lutbench.model.conversion import Encoding
    from lutbench.model.gamuts import BT2020

    hlg = Encoding(open_catalogue(user=False).curve("BT.2100 HLG"), BT2020)
    found = measure(np.full((2, 3), 90.0), np.array([[0.0, 5.0, 90.0]] * 2), view_of(hlg))
    assert np.isfinite(found.delta_e_2000).all()


def test_subnormal_steps_are_resampled() -> None:
    from lutbench.algebra.resampling import resample

    table = Lut3D.identity(4).table * 1e-310
    assert np.abs(resample(Lut3D(table), 3, "pchip").lut.table).max() < 1e-300


def test_a_chain_of_what_is_not_finite_is_refused() -> None:
    from lutbench.algebra.chaining import chain

    scaled = Matrix.from_array(np.eye(3) * 1e300)
    with pytest.raises(LutbenchError):
        chain([scaled, scaled])


def test_a_plot_of_no_tint_has_an_axis() -> None:
    from lutbench.inspection.inspection import inspect
    from lutbench.report.plots import tint_plot

    tint_plot(inspect(Lut3D.identity(3), limits={"tint": 0.0}))


def test_a_curve_of_infinities_is_no_table() -> None:
    from lutbench.tables.nodes import sample_1d

    scaled = Matrix.from_array(np.eye(3) * 1e300)
    with pytest.raises(LutbenchError, match="NaN or infinity"):
        sample_1d(scaled | scaled, 5)


def test_a_page_takes_no_number_beyond_a_pixel() -> None:
    from lutbench.bench.packing import packed

    with pytest.raises(LutbenchError, match=r"reaches 1e\+150"):
        packed([0.0, 1e150])


FAR = [[1e30] * 3, [1e38] * 3]
NARROW = [[-1.0] * 3, [-1.0 + 1e-15] * 3]


@pytest.mark.parametrize("domain", [FAR, NARROW])
def test_a_domain_over_which_slopes_mean_nothing_is_refused(domain: list[list[float]]) -> None:
    from lutbench.identification.samples import samples_of
    from lutbench.inspection.inspection import inspect

    lut = Lut3D(Lut3D.identity(5).table, domain)
    for examine in (samples_of, lambda lut: inspect(lut).findings):
        with pytest.raises(LutbenchError, match="which cannot be examined"):
            examine(lut)


def test_noise_all_over_has_no_inverse_and_takes_no_time() -> None:
    # Each of 24 576 tetrahedra covers a large part of the nodes: it took 10 s.
    noise = np.random.default_rng(1).random((17, 17, 17, 3))
    with pytest.raises(LutbenchError, match="inputs on average"):
        invert(Lut3D(noise))


def test_a_lut_that_folds_once_along_each_channel_has_an_inverse() -> None:
    folded = 1 - np.abs(2 * Lut3D.identity(9).table - 1)
    assert invert(Lut3D(folded)).lut.size == 9


def test_a_table_at_the_end_of_float_is_resampled() -> None:
    from lutbench.algebra.resampling import resample

    table = np.random.default_rng(2).random((9, 9, 9, 3)) * HUGE
    resized = resample(Lut3D(table), 5, method="fit").lut
    assert np.isfinite(resized.table).all()


def test_an_inverse_cdl_of_subnormal_numbers_is_planned() -> None:
    from lutbench.model.grade import Cdl, CdlInverse
    from lutbench.tables.programs import plan

    assert plan(CdlInverse(Cdl((1e-310, 1.0, 1.0), (0.0, 0.0, 0.0), (1e-310, 1.0, 1.0))))


def test_a_figure_s_verdict_is_json() -> None:
    from lutbench.checks.limits import CheckFigure
    from lutbench.files import json_text

    figure = CheckFigure("code_10bit", np.float64(1.0), 2.0, "largest difference", "codes")  # type: ignore[arg-type]
    assert '"holds":true' in json_text({"holds": figure.holds})


def test_primaries_that_read_as_black_span_no_colours() -> None:
    from lutbench.display.fit import fit_display
    from lutbench.display.measurements import Measurements
    from lutbench.display.patches import patch_set

    shown = patch_set("short")
    xyz = np.where(shown.signal.min(axis=1, keepdims=True) > 0, shown.signal * 100, 0.0)
    with pytest.raises(LutbenchError, match="do not make a triangle"):
        fit_display(Measurements(shown.names, shown.signal, xyz))


def test_a_picture_beyond_float_is_coded_with_noise_too(tmp_path: Path) -> None:
    from lutbench.media.still.still import Still, write_still

    picture = np.full((4, 4, 3), HUGE, np.float32)
    still = Still(picture, ("R", "G", "B"), "float")
    write_still(still, tmp_path / "a.png", depth="8", dither=1)
    assert (tmp_path / "a.png").stat().st_size > 0


def test_a_target_that_no_range_shows_is_not_tried() -> None:
    from lutbench.identification.search import identify

    folded = 1 - np.abs(2 * Lut3D.identity(9).table - 1)
    identify(Lut3D(folded[..., [1, 0, 2]]), target_curve="linear", target_gamut="XYZ")


def test_a_tint_of_one_colour_is_no_curve() -> None:
    from lutbench.identification.samples import samples_of
    from lutbench.identification.untint import tints_of

    table = Lut3D.identity(9).table.astype(np.float64)
    for at in range(9):
        table[at, at, at] = (0.2, 0.5, 0.7)
    assert tints_of(samples_of(Lut3D(table))) == []


@pytest.mark.parametrize("ends", [(-1e308, 1e308), (np.nan, 1.0), (0.0, np.inf), (0.0, 0.0)])
def test_a_domain_without_a_width_is_refused(ends: tuple[float, float]) -> None:
    with pytest.raises(LutbenchError, match="is not a domain"):
        Lut3D(Lut3D.identity(3).table, ends)


@pytest.mark.parametrize(
    "call",
    [
        "capture back.png -o a.cube --smoothness nan",
        "learn a.png b.png -o a.cube --smoothness nan",
        "rework repair a.cube -o b.cube --most nan",
        "display fit a.csv --surround nan",
    ],
)
def test_nan_is_within_no_limits(call: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        main(call.split())
    assert end.value.code == 2
    assert "'nan' is not a number" in capsys.readouterr().err
