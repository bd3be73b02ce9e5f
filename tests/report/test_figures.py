"""The figures of a report: what they draw is what the LUT does."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import colour
import numpy as np
import pytest

import lutbench
from lutbench.analysis.delta_e import lab_from_xyz
from lutbench.media.subjects import chart_picture, photograph, recorded, still_of
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.false_colour import FalseColour, default_bands
from lutbench.report.figures import Figure
from lutbench.report.figures.gamut import gamut_figure, spectral_locus
from lutbench.report.figures.hue import HUES, _apart, hue_figure, hue_ramps
from lutbench.report.figures.lattice import local_steps, slices_figure, steps_figure
from lutbench.report.figures.picture import picture_pair, waveform, waveform_figure
from lutbench.report.figures.tint import tint_figure
from lutbench.report.figures.tone import tone_figure
from lutbench.report.legend import write_legend
from lutbench.tables.lut import Lut3D, lattice

KNOWN = Catalogue()
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACEScg"))
TARGET = Encoding(KNOWN.curve("BT.1886"), KNOWN.gamut("BT.709"))


@pytest.fixture(scope="module")
def lut() -> Lut3D:
    built = lutbench.build(
        "ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", tone="shoulder", size=17
    )
    assert isinstance(built, Lut3D)
    return built


def figures(lut: Lut3D) -> list[Figure]:
    return [
        tone_figure(lut),
        tone_figure(lut, SOURCE),
        tint_figure(lut),
        hue_figure(lut, SOURCE, TARGET),
        gamut_figure([("source", SOURCE.gamut), ("target", TARGET.gamut)]),
        slices_figure(lut),
        steps_figure(lut, np.zeros((17,) * 3, dtype=bool)),
        waveform_figure("chart", "the chart", chart_picture(SOURCE, 4), chart_picture(TARGET, 4)),
    ]


def test_every_figure_is_small_well_formed_and_has_words(lut: Lut3D) -> None:
    for figure in figures(lut):
        root = ET.fromstring(figure.svg.replace("xlink:", ""))
        assert root.get("role") == "img"
        assert root.get("aria-label") == figure.alt
        assert len(figure.alt) > 30
        assert figure.caption
        assert len(figure.svg) < 200_000
        # Nothing is fetched: every address is inside the file.
        assert "http" not in figure.svg.replace("http://www.w3.org/", "")


def test_the_words_of_the_tone_figure_are_the_luts_levels(lut: Lut3D) -> None:
    signal = colour.log_encoding(np.array([0.18, 0.9]), function="ACEScct")
    grey, white = 100 * lut.apply(np.repeat(signal[:, None], 3, axis=1))[:, 1]
    assert f"mid grey comes out at {grey:.0f} %" in tone_figure(lut, SOURCE).alt
    assert f"white card at {white:.0f} %" in tone_figure(lut, SOURCE).alt


def test_the_tint_figure_names_the_worst_place() -> None:
    table = lattice(17)
    table[8, 8, 8, 0] += 10 / 1023
    figure = tint_figure(Lut3D(table))
    # Red 10 codes off its grey: 20/3 of a code from the mean of the three.
    assert "at most 6.7 10-bit codes, at 50 %" in figure.alt


def test_hue_ramps_have_one_hue_and_their_end_is_pure() -> None:
    ramps = hue_ramps()
    assert ramps.shape[0] == len(HUES)
    assert ramps.max() <= 1 + 1e-12
    # Constant hue in linear light: every step lies on the line from grey to the colour.
    for ramp in ramps:
        direction = ramp[-1] - ramp[0]
        cross = np.cross(ramp - ramp[0], direction)
        assert np.abs(cross).max() < 1e-12


def test_an_identity_seen_as_itself_turns_no_hue() -> None:
    figure = hue_figure(Lut3D(lattice(65)))
    # The lattice of an identity is exact; chroma stays to the rounding of percent.
    assert "R +0 %, Y +0 %, G +0 %, C +0 %, B +0 %, M +0 %" in figure.alt.replace("-0", "+0")


def test_lab_of_the_figures_is_colour_sciences() -> None:
    xyz = np.random.default_rng(3).random((50, 3))
    white = np.array([0.95047, 1.0, 1.08883])
    ours = lab_from_xyz(xyz, white)
    assert ours == pytest.approx(colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(white)), abs=1e-3)


def test_labels_are_set_apart_in_their_order() -> None:
    values = np.array([1.0, 1.1, -5.0, 1.2])
    places = _apart(values, 1.0)
    order = np.argsort(values)
    assert list(np.argsort(places)) == list(order)
    assert (np.diff(np.array(places)[order]) >= 1.0 - 1e-12).all()


def test_the_spectral_locus_is_the_standard_observers() -> None:
    # CIE 15: the x of 700 nm is 0.7347, y 0.2653 (CIE 1931 2° observer)
    assert spectral_locus()[-1] == pytest.approx([0.7347, 0.2653], abs=5e-5)


def test_local_steps_of_an_identity_are_one() -> None:
    assert local_steps(lattice(9)) == pytest.approx(np.ones((9, 9, 9)))
    table = lattice(9)
    table[4, 4, 4] += 0.25
    assert local_steps(table)[4, 4, 4] == pytest.approx(0.125 * 8 + 0.25 * 8)


def test_a_waveform_counts_every_column() -> None:
    picture = np.zeros((10, 240, 3))
    picture[:, 120:] = 0.5
    density = waveform(picture)
    rows = np.linspace(-0.05, 1.05, 129)
    black, half = (int(np.searchsorted(rows, value, "right")) - 1 for value in (0.0, 0.5))
    assert (density[black, :120] == 1).all()
    assert (density[half, 120:] == 1).all()
    assert density.sum() == 240


def test_subjects_are_recorded_as_colour_science_would() -> None:
    picture = photograph()[::40, ::40]
    light = colour.cctf_decoding(picture.astype(np.float64), function="sRGB")
    linear = colour.RGB_to_RGB(
        light, "ITU-R BT.709", "ACEScg", chromatic_adaptation_transform="Bradford"
    )
    expected = np.clip(colour.log_encoding(linear, function="ACEScct"), 0, 1)
    # float32 in, six-digit matrices in colour-science
    assert recorded(picture, SOURCE) == pytest.approx(expected, abs=2e-6)
    chart = chart_picture(SOURCE, 2)
    assert chart.shape == (8, 12, 3)
    assert still_of(chart).pixels.dtype == np.uint16


def test_picture_addresses_are_of_their_kind() -> None:
    before, after = picture_pair(np.zeros((4, 4, 3)), np.ones((4, 4, 3)), photographic=False)
    assert before.startswith("data:image/png;base64,")
    assert before != after


def test_the_legend_is_a_picture_of_every_band(tmp_path) -> None:  # type: ignore[no-untyped-def]
    from lutbench.media.stills import read_still

    task = FalseColour(SOURCE.curve, SOURCE.gamut, default_bands(6.0))
    write_legend(task, tmp_path / "legend.png", "A <title>")
    pixels = read_still(tmp_path / "legend.png").signal().reshape(-1, 3)
    for band in task.bands:
        same = np.abs(pixels - band.signal).max(axis=1) < 1 / 255
        assert same.sum() > 1000, band
    with pytest.raises(lutbench.LutbenchError, match="exists"):
        write_legend(task, tmp_path / "legend.png", "again")
