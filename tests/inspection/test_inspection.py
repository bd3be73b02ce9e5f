"""Facts about LUTs: kind, grey scale, stops, bit depth, hue."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from damage import clean

import lutbench
from lutbench.formats.cube_write import write_cube
from lutbench.inspection.hue import HUES, hue_shift
from lutbench.inspection.inspection import Inspection, inspect
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.grade import Cdl
from lutbench.tables.lut import Lut1D, Lut3D
from lutbench.tables.nodes import sample, sample_1d

KNOWN = open_catalogue(user=False)


def encoding(curve: str, gamut: str) -> Encoding:
    """An end of a conversion by name."""
    return Encoding(KNOWN.curve(curve), KNOWN.gamut(gamut))


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("log to video, clipped", "combined"),
        ("log to display, shoulder", "combined"),
        ("log curve only", "curve"),
        ("log gamut only", "gamut"),
    ],
)
def test_kind(name: str, kind: str) -> None:
    assert inspect(clean(name, 17)).kind == kind
    assert inspect(clean(name, 33)).kind == kind


def test_kind_of_1d_and_identity() -> None:
    curve = sample_1d(Conversion(encoding("ACEScct", "BT.709"), encoding("BT.1886", "BT.709"),
                                 kind="curve").pipeline())  # fmt: skip
    assert inspect(curve).kind == "curve"
    assert inspect(Lut3D.identity(9)).kind == "identity"
    assert inspect(Lut1D(np.array([[0.0] * 3, [1.0] * 3]))).kind == "identity"


def test_every_registered_gamut_only_lut_leaves_greys_alone() -> None:
    # Follows from matrices that keep white.
    for gamut in [entry.gamut for entry in KNOWN.gamuts() if entry.gamut][:12]:
        conversion = Conversion(
            Encoding(KNOWN.curve("ACEScct"), gamut), encoding("BT.709", "BT.709"), kind="gamut"
        )
        found = inspect(sample(conversion.pipeline(), 9))
        assert found.evidence.neutral_deviation < 1e-6, gamut.name


def test_grey_scale_of_a_known_conversion() -> None:
    found = inspect(clean("log to video, clipped", 65), source_curve="ACEScct")
    axis = found.neutral
    # Academy S-2016-001: black at 0.0729, light 1.0 at 0.5548; BT.709: mid grey at 40.9 %.
    assert found.mid_grey_in == pytest.approx(0.413588402, abs=1e-9)
    assert found.mid_grey_out == pytest.approx(0.409, abs=0.001)
    assert axis.clip_low is not None
    assert axis.clip_high is not None
    # The clip lies between two nodes, a 64th apart.
    assert axis.clip_low.onset == pytest.approx(0.0729, abs=1 / 64)
    assert axis.clip_high.onset == pytest.approx(0.5548, abs=1 / 64)
    assert axis.fall[0] == 0


def test_levels_of_a_known_source_are_those_of_the_levels_command() -> None:
    from lutbench.exposure.levels import levels

    lut = clean("log to HLG")
    found = inspect(lut, source_curve="ACEScct")
    assert found.scene is not None
    assert found.to_data()["levels"] == levels(KNOWN.curve("ACEScct"), lut).to_data()["levels"]
    # Report ITU-R BT.2408, table 1: mid grey at 38 % of HLG, full white at 75 %.
    grey = found.scene.levels.at(0.18).after_lut
    white = found.scene.levels.at(1.0).after_lut
    assert grey is not None
    assert white is not None
    assert round(grey.percent) == 38
    assert round(white.percent) == 75


def test_levels_without_a_source_are_tenths_of_the_scale() -> None:
    rows = inspect(Lut3D.identity(17)).to_data()["levels"]
    assert [row["label"] for row in rows][:3] == ["0 %", "10 %", "20 %"]
    assert all(row["after_lut"]["signal"] == pytest.approx(row["signal"]) for row in rows)
    known = inspect(Lut3D.identity(17), source_curve="ACEScct").to_data()["levels"]
    assert set(rows[0]) == set(known[0])


def test_stops() -> None:
    """On a pure logarithm every stop gains the same; an identity keeps them all apart."""
    found = inspect(Lut3D.identity(33), source_curve="ACEScct")
    scene = found.scene
    assert scene is not None
    # Academy S-2016-001: a stop is 1/17.52 of signal above the toe.
    assert scene.contrast.before == pytest.approx(1 / 17.52, abs=1e-12)
    assert scene.contrast.after == pytest.approx(1 / 17.52, abs=1e-12)
    # It clips at 222.86: log2(222.86 / 0.18) = 10.27 stops; the last whole stop is 10.
    assert scene.separated.highest_stop == 11  # the stop in which it clips still moves
    assert scene.roll_off is None or scene.roll_off > 9


def test_roll_off_of_a_clip_is_at_the_clip() -> None:
    scene = inspect(clean("log to video, clipped", 65), source_curve="ACEScct").scene
    assert scene is not None
    # White at 1.0 is log2(1 / 0.18) = 2.47 stops; the reading is over half a stop.
    assert scene.roll_off == pytest.approx(2.47 - 0.5, abs=0.35)
    assert scene.separated.highest_stop == 3


def test_bit_depth_of_a_straight_line() -> None:
    line = Lut1D(np.array([[0.0] * 3, [2.0] * 3]))  # twice the signal
    for report in inspect(line).depth:
        step = report.step("steepest")
        assert step.step == pytest.approx(2 / (2**report.input_bits - 1))
        if report.input_bits == 8:
            assert step.after_8_bit == 2
            assert report.levels == 256
            assert report.levels_8_bit == 128 + 1  # even codes up to 254, then all at 255


def test_hue_of_an_identity_does_not_turn() -> None:
    source = encoding("BT.1886", "BT.709")
    found = hue_shift(Lut3D.identity(33), source, source)
    assert np.nanmax(np.abs(found.shifts)) < 0.05
    np.testing.assert_allclose(found.saturation, 1, atol=0.002)


def test_hue_against_colour_science() -> None:
    import colour

    source = encoding("sRGB", "BT.709")
    found = hue_shift(Lut3D.identity(65), source, source)
    light = colour.models.eotf_sRGB(found.outputs)
    rgb = colour.RGB_to_RGB(light, "ITU-R BT.709", "ITU-R BT.2020") * 203
    ictcp = colour.RGB_to_ICtCp(rgb, method="ITU-R BT.2100-2 PQ")
    np.testing.assert_allclose(found.after[..., 0], ictcp[..., 1] / 2, atol=2e-4)
    np.testing.assert_allclose(found.after[..., 1], ictcp[..., 2], atol=2e-4)
    # Each ramp keeps its hue all along before the LUT.
    angles = np.degrees(np.arctan2(found.before[..., 1], found.before[..., 0]))
    assert np.ptp(angles, axis=1).max() < 1e-6
    assert len(found.before) == len(HUES)


def test_a_hue_that_turns_is_found() -> None:
    source = encoding("BT.1886", "BT.709")
    turned = np.array([[0.7, 0.3, 0.0], [0.0, 0.7, 0.3], [0.3, 0.0, 0.7]])
    lut = Lut3D(Lut3D.identity(17).table @ turned.T)
    found = inspect(lut, source_curve="BT.1886", source_gamut="BT.709")
    assert found.hue is not None
    assert abs(found.hue.greatest()[0]) > 12
    assert "hue_shift" in [each.code for each in found.findings]
    assert hue_shift(lut, source, source).to_data()["ramps"][0]["hue"] == "red"


def test_a_transform_without_a_table_is_sampled() -> None:
    found = inspect(Cdl(slope=(1.2, 1.2, 1.2)))
    assert found.subject.type == "transform"
    assert found.kind == "curve"
    assert found.subject.size == 33


def test_json_of_a_file(tmp_path: Path) -> None:
    path = tmp_path / "day.cube"
    lut = clean("log to video, clipped", 17).with_title("<b>Day</b>")
    write_cube(lut, path)
    found = lutbench.inspect(path)
    assert isinstance(found, Inspection)
    data = json.loads(json.dumps(found.to_data()))
    for key in ("schema", "file", "kind", "size", "domain", "levels", "findings"):
        assert key in data
    assert data["title"] == "<b>Day</b>"
    assert data["size"] == 17
    assert data["domain"] == [[0, 0, 0], [1, 1, 1]]
    for finding in data["findings"]:
        assert {"code", "severity", "message", "value", "limit"} <= set(finding)


def test_a_verdict_is_two_sentences() -> None:
    for name in ("log to video, clipped", "log gamut only"):
        verdict = inspect(clean(name, 17)).verdict
        assert verdict.count(". ") == 1
        assert verdict.endswith("No defect was found.")
    swapped = Lut3D(clean("log gamut only", 17).table[..., ::-1].copy())
    assert "Do not use it: the channels are swapped" in inspect(swapped).verdict


@pytest.mark.parametrize("size", [2, 3, 4, 5])
def test_tiny_tables(size: int) -> None:
    assert inspect(Lut3D.identity(size), source_curve="ACEScct").to_data()["findings"] == []
    assert inspect(Lut3D(np.full((size, size, size, 3), 0.5))).worst == "error"
