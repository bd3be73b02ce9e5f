"""No false alarm on LUTs with looks: formulas from published documents, baked by numpy.

The LUTs are those of `open_world`: each family names the source of its formulas.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest
from damage import clean
from open_world import case
from scipy.interpolate import RegularGridInterpolator
from scipy.ndimage import gaussian_filter, uniform_filter

from lutbench.inspection.cures import Bounds, repair
from lutbench.inspection.inspection import inspect
from lutbench.inspection.registry import Health
from lutbench.inspection.subject import Subject
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.false_colour import Band, FalseColour, default_bands
from lutbench.tables.lut import Lut3D
from lutbench.tables.nodes import sample
from lutbench.tables.smoothing import gaussian_undone

SOUND = (
    "black lifted, white lowered", "BT.2390 EETF", "BT.2446 method A", "BT.2446 method C",
    "curve only", "print-like, curves that differ by channel",
    "highlights desaturated towards white",
    "look on display values", "gamut only", "HLG to SDR", "hue twist", "log to log",
    "matrix, curve, matrix in light", "matrix, curve, matrix in signal", "monochrome",
    "offsets in log (printer lights)", "gamut compression with other limits", "own recipe",
    "unregistered camera (parametric log)", "pivoted power contrast", "plain conversion",
    "PQ to HLG, HLG to PQ", "saturation in light", "saturation in signal", "split toning",
    "tone on I of ICtCp", "tone on luminance", "tone per channel", "vibrance",
)  # fmt: skip

# A tint that a look lays on is there, and folds are where the formula folds; neither is false.
TRUE_OF_LOOKS = {"tint", "fold", "fold_in_black"}
# Unlike offsets before a matrix make a channel fall near black, in the formula itself: with
# seed 102 red falls by 12 codes between two nodes.
TRUE_OF_FAMILY = {"offsets in log (printer lights)": {"non_monotonic"}}


def alarms(lut: object) -> dict[str, str]:
    """Warnings and errors by code."""
    found = Health(Subject(lut)).findings  # type: ignore[arg-type]
    return {each.code: each.message for each in found if each.severity != "info"}


@pytest.mark.parametrize("family", SOUND[::3])
def test_no_false_alarm_on_a_look(family: str) -> None:
    found = alarms(case(family, 0).lut)
    assert set(found) <= TRUE_OF_LOOKS, found


@pytest.mark.slow
@pytest.mark.parametrize("family", SOUND)
def test_few_false_alarms_on_many_looks(family: str) -> None:
    """One in ten at most, of seeds that no limit was set with."""
    true = TRUE_OF_LOOKS | TRUE_OF_FAMILY.get(family, set())
    wrong = [set(alarms(case(family, seed).lut)) - true for seed in range(100, 110)]
    assert sum(map(bool, wrong)) <= 1, wrong


def graded(table: np.ndarray, slope: float, power: float, saturation: float) -> Lut3D:
    """ASC CDL, by the formula of its specification (version 1.2), on what comes out."""
    out = np.clip(table * slope + 0.01, 0, 1) ** power
    luma = out @ [0.2126, 0.7152, 0.0722]
    return Lut3D(np.round(luma[..., None] + saturation * (out - luma[..., None]), 6))


@pytest.mark.parametrize("base", ["log to video, clipped", "log to display, shoulder"])
@pytest.mark.parametrize("size", [17, 33])
@pytest.mark.parametrize(("slope", "power", "saturation"), [(1.1, 0.9, 1.2), (0.9, 1.2, 0.7)])
def test_a_grade_over_a_conversion_raises_no_alarm(
    base: str, size: int, slope: float, power: float, saturation: float
) -> None:
    found = alarms(graded(clean(base, size).table.astype(np.float64), slope, power, saturation))
    assert set(found) <= {"out_of_range"}, found  # saturation over 1 leaves 0..1, as the form does


def test_clipping_before_a_monochrome_look_is_not_enlarged() -> None:
    clipped = np.clip(2 * Lut3D.identity(33).table, 0, 1)
    grey = np.repeat((clipped @ [0.2126, 0.7152, 0.0722])[..., None], 3, axis=-1)
    assert "duplicate_nodes" not in alarms(Lut3D(grey))


def test_a_lone_node_out_of_a_clipped_plateau_is_found() -> None:
    table = np.clip(1.5 * Lut3D.identity(33).table, 0, 1)
    table[30, 31, 29] -= 61 / 1023
    found = Health(Subject(Lut3D(table))).findings
    stray = next(each for each in found if each.code == "stray_node")
    assert stray.place is not None
    assert stray.place.node == (30, 31, 29)
    assert stray.value == pytest.approx(61, abs=0.01)


def test_the_tip_of_colours_on_an_edge_of_the_cube_is_no_wrong_value() -> None:
    """Colours near pure green that a steep matrix leaves unclipped in one node only."""
    inputs = Lut3D.identity(33).table
    tip = 0.02 - 0.5 * (np.abs(inputs[..., 1] - 2 / 32) + inputs[..., 0] + inputs[..., 2])
    table = np.stack([inputs[..., 0], inputs[..., 1], np.maximum(tip, 0)], axis=-1)
    assert (table[..., 2] > 0).sum() > 1
    table = np.where(table < 0.015, 0, table)
    assert np.argwhere(table[..., 2]).tolist() == [[0, 2, 0]]
    assert "stray_node" not in alarms(Lut3D(table))


@pytest.mark.parametrize("node", [(30, 31, 29), (32, 30, 29), (0, 5, 9), (32, 32, 32)])
@pytest.mark.parametrize("bits", [None, 8])
@pytest.mark.parametrize("codes", [61, 12])
def test_a_wrong_value_in_a_clipped_channel_is_found_and_put_back(
    node: tuple[int, int, int], bits: int | None, codes: int
) -> None:
    """At white and at black, inside and on the faces of the table."""
    sound = np.clip(1.8 * Lut3D.identity(33).table - 0.4, 0, 1).astype(np.float64)
    sound = sound if bits is None else np.rint(sound * 255) / 255
    assert "stray_node" not in alarms(Lut3D(sound))
    broken = sound.copy()
    inwards = 1 if sound[node][0] < 0.5 else -1
    broken[node][0] += inwards * (codes / 1023 if bits is None else round(codes / 4) / 255)
    found = next(e for e in Health(Subject(Lut3D(broken))).findings if e.code == "stray_node")
    assert found.place is not None
    assert found.place.node == node
    made = repair(Lut3D(broken), bounds=Bounds(most=64)).lut
    assert isinstance(made, Lut3D)
    np.testing.assert_allclose(made.table, sound, atol=1e-7)


@pytest.mark.parametrize(("old", "new"), [(17, 33), (17, 65), (9, 33), (25, 33)])
def test_a_table_that_was_enlarged_says_from_what(old: int, new: int) -> None:
    """Enlarged by scipy, not by the project."""
    axis, fine = np.linspace(0, 1, old), np.linspace(0, 1, new)
    small = clean("log to display, shoulder", old).table
    nodes = np.stack(np.meshgrid(fine, fine, fine, indexing="ij"), axis=-1)
    table = np.round(RegularGridInterpolator((axis, axis, axis), small)(nodes), 6)
    found = {each.code: each.message for each in Health(Subject(Lut3D(table))).findings}
    assert f"from {old} nodes" in found["enlarged"]
    assert "stray_node" not in found


def test_a_table_enlarged_by_tetrahedra_says_so() -> None:
    """Enlarged by the tetrahedral interpolation of colour-science."""
    small = clean("log to display, shoulder", 17).table
    fine = np.linspace(0, 1, 33)
    nodes = np.stack(np.meshgrid(fine, fine, fine, indexing="ij"), axis=-1)
    table = colour.algebra.table_interpolation_tetrahedral(nodes, small)
    found = {
        each.code: each.message for each in Health(Subject(Lut3D(np.round(table, 6)))).findings
    }
    assert "from 17 nodes" in found["enlarged"]


@pytest.mark.parametrize("sigma", [0.5, 0.8])
def test_a_smoothed_table_is_named(sigma: float) -> None:
    """Smoothed by scipy; the one before it is not named."""
    before = clean("log to video, clipped").table
    after = gaussian_filter(before, (sigma, sigma, sigma, 0), mode="nearest")
    named = [
        {each.code for each in Health(Subject(Lut3D(np.round(each, 6)))).findings}
        for each in (before, after)
    ]
    assert ["smoothed" in each for each in named] == [False, True]


@pytest.mark.parametrize(("width", "mode"), [(0.7, "nearest"), (1.0, "reflect"), (3, "nearest")])
def test_a_table_that_clips_nothing_is_named_as_smoothed_by_its_faces(
    width: float, mode: str
) -> None:
    """Smoothed by Gaussians and by a mean of three nodes, of scipy; the one before is not named."""
    nodes = np.stack(np.meshgrid(*[np.linspace(0, 1, 17)] * 3, indexing="ij"), axis=-1)
    before = (0.1 + 0.8 * nodes**1.3) @ [[0.8, 0.1, 0.0], [0.15, 0.8, 0.1], [0.05, 0.1, 0.9]]
    if width == 3:
        after = uniform_filter(before, (3, 3, 3, 1), mode=mode)
    else:
        after = gaussian_filter(before, (width, width, width, 0), mode=mode)
    named = [
        [each.message for each in Health(Subject(Lut3D(np.round(table, 6)))).findings
         if each.code == "smoothed"]
        for table in (before, after)
    ]  # fmt: skip
    assert named[0] == []
    assert len(named[1]) == 1
    assert "every face" in named[1][0]


def converted(source: tuple[str, str], target: tuple[str, str], size: int) -> np.ndarray:
    known = open_catalogue(user=False)
    ends = [Encoding(known.curve(curve), known.gamut(gamut)) for curve, gamut in (source, target)]
    return np.asarray(sample(Conversion(*ends).pipeline(), size).table)


@pytest.mark.parametrize(("size", "sigma", "mode"), [(17, 0.5, "nearest"), (33, 0.7, "mirror")])
def test_the_width_of_a_gaussian_is_measured(size: int, sigma: float, mode: str) -> None:
    """Smoothed by scipy; the table before it has no width."""
    before = converted(("Cineon", "BT.709"), ("Cineon", "BT.2020"), size)
    after = gaussian_filter(before, (sigma, sigma, sigma, 0), mode=mode)
    widths = [gaussian_undone(np.moveaxis(np.round(each, 6), -1, 0)) for each in (before, after)]
    assert (widths[0] or 0.0) < 0.1
    assert widths[1] == pytest.approx(sigma, abs=0.01)


def test_a_smoothed_table_whose_lines_bend_is_named() -> None:
    """Neither its corners nor its first steps tell; smoothed by scipy."""
    before = converted(("BT.709", "BT.709"), ("BT.2100 HLG", "BT.2020"), 33)
    after = gaussian_filter(before, (0.7, 0.7, 0.7, 0), mode="mirror")
    named = [
        [each for each in Health(Subject(Lut3D(np.round(table, 6)))).findings
         if each.code == "smoothed"]
        for table in (before, after)
    ]  # fmt: skip
    assert named[0] == []
    assert [each.unit for each in named[1]] == ["nodes"]


@pytest.mark.slow
def test_what_was_smoothed_or_enlarged_elsewhere_is_named() -> None:
    """Nine of ten at least, of seeds that no limit was set with."""
    for family, code in (("resampled from fewer nodes", "enlarged"), ("smoothed", "smoothed")):
        named = [
            code in {each.code for each in Health(Subject(case(family, seed).lut)).findings}
            for seed in range(400, 410)
        ]
        assert sum(named) >= 9, family


@pytest.mark.parametrize("size", [17, 33, 65])
def test_a_table_of_its_own_size_was_not_enlarged(size: int) -> None:
    for name in ("log to display, shoulder", "video to display"):
        assert "enlarged" not in {each.code for each in Health(Subject(clean(name, size))).findings}


@pytest.mark.parametrize("seed", range(4))
def test_false_colour_is_called_that(seed: int) -> None:
    found = inspect(case("no conversion: false colour", seed).lut)
    assert [each.code for each in found.findings] == ["false_colour"]
    assert "Do not use it" not in found.verdict
    assert "false-colour" in found.verdict


@pytest.mark.parametrize("size", [33, 65])
def test_our_own_false_colour_is_called_that(size: int) -> None:
    known = open_catalogue(user=False)
    curve = known.curve("ACEScct")
    clip = float(np.log2(curve.clip / 0.18))
    own = FalseColour(curve, known.gamut("ACES AP1"), default_bands(clip))
    found = inspect(sample(own, size))
    assert [each.code for each in found.findings] == ["false_colour"]
    assert "false-colour" in found.verdict


def test_two_bands_that_are_one_node_wide_are_false_colour_too() -> None:
    known = open_catalogue(user=False)
    bands = (Band(-0.3, 0.3, "#E69F00", "grey card"), Band(0.7, 1.3, "#56B4E9", "light skin"))
    own = FalseColour(known.curve("ACEScct"), known.gamut("ACES AP1"), bands)
    found = inspect(sample(own, 33))
    assert [each.code for each in found.findings] == ["false_colour"]


@pytest.mark.parametrize(
    "band", [Band(-0.1, 0.1, "#E69F00", "grey card"), Band(-3, -2, "#56B4E9", "")]
)
def test_a_single_band_is_false_colour_too(band: Band) -> None:
    known = open_catalogue(user=False)
    found = inspect(
        sample(FalseColour(known.curve("ACEScct"), known.gamut("ACES AP1"), (band,)), 33)
    )
    assert [each.code for each in found.findings] == ["false_colour"]
    assert "one band" in found.findings[0].message


def test_a_stuck_run_in_a_monochrome_table_is_not_false_colour() -> None:
    grey = np.repeat((Lut3D.identity(17).table @ [0.2126, 0.7152, 0.0722])[..., None], 3, axis=-1)
    grey[3:12, 8, 8] = (0.9, 0.1, 0.1)
    assert "false_colour" not in {each.code for each in inspect(Lut3D(grey)).findings}


def test_a_tint_beside_grey_turns_no_hue() -> None:
    """A tint of a hundredth: beside grey hue as an angle turns far, but not around the tinted grey.

    The hue of a strong colour is that of colour-science.
    """
    known = open_catalogue(user=False)
    source = Encoding(known.curve("BT.1886"), known.gamut("BT.709"))
    tinted = Lut3D(Lut3D.identity(33).table * 0.98 + [0.012, 0.0, 0.0])
    found = inspect(tinted, source_curve=source.curve, source_gamut=source.gamut)
    assert found.hue is not None
    assert np.nanmax(np.abs(found.hue.shifts)) < 6
    assert abs(found.hue.greatest()[0]) < 6
    assert "hue_shift" not in {each.code for each in found.findings}
    strong = colour.RGB_to_HSV(np.array([0.6, 0.2, 0.2]))[0]
    after = colour.RGB_to_HSV(np.asarray(tinted.apply(np.array([0.6, 0.2, 0.2]))))[0]
    turn = 360 * min(abs(after - strong), 1 - abs(after - strong))
    assert turn < 3


def test_a_warm_white_balance_turns_no_hue() -> None:
    """A gain for each channel, as of a CDL's slope: it tints, and the tint is found as such."""
    warm = Lut3D(Lut3D.identity(33).table * [1.0, 0.97, 0.9])
    codes = {e.code for e in inspect(warm, source_curve="BT.1886", source_gamut="BT.709").findings}
    assert "tint" in codes
    assert "hue_shift" not in codes


REPAIRED = (
    "matrix, curve, matrix in signal",
    "hue twist",
    pytest.param("vibrance", marks=pytest.mark.slow),
    "split toning",
    "density look",
)


@pytest.mark.parametrize("family", REPAIRED)
def test_repair_never_leaves_a_look_worse(family: str) -> None:
    """By folds and noise as `inspect` measures them, and greys stay to the last bit."""
    before = case(family, 0).lut
    made = repair(before, bounds=Bounds(most=64))
    assert isinstance(made.lut, Lut3D)
    first, then = (Health(Subject(lut)).examined for lut in (before, made.lut))
    assert first.folds is not None
    assert then.folds is not None
    assert then.folds.share <= first.folds.share + 1e-9
    assert then.folds.worst.value <= first.folds.worst.value + 0.05
    assert then.noise <= first.noise + 0.05
    diagonal = np.arange(made.lut.size)
    moved = (
        made.lut.table[diagonal, diagonal, diagonal] - before.table[diagonal, diagonal, diagonal]
    )
    assert np.abs(moved).max() == 0
    assert np.abs(made.lut.table - before.table).max() <= 64 / 1023 + 1e-9
