"""The pictures that LUTs are looked at with, and the legend of false colour."""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import pytest

import lutbench
from lutbench.media.legend import write_legend
from lutbench.media.still.still import read_still
from lutbench.media.subjects import (
    chart_picture,
    photograph,
    photograph_light,
    recorded,
    still_of,
)
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.false_colour import FalseColour, default_bands

KNOWN = Catalogue()
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACEScg"))


def test_subjects_are_recorded_as_colour_science_would() -> None:
    light = photograph_light()[::40, ::40]
    linear = colour.RGB_to_RGB(
        light, "ITU-R BT.709", "ACEScg", chromatic_adaptation_transform="Bradford"
    )
    expected = np.clip(colour.log_encoding(linear, function="ACEScct"), 0, 1)
    # float32 out, six-digit matrices in colour-science
    assert recorded(light, SOURCE) == pytest.approx(expected, abs=2e-6)


def test_the_photographs_highlights_are_opened_and_its_greys_left() -> None:
    shown = colour.cctf_decoding(photograph().astype(np.float64), function="sRGB")
    light = photograph_light()
    assert light.max() == pytest.approx(4.0, abs=0.1)
    luminance = shown @ [0.2126, 0.7152, 0.0722]  # Recommendation ITU-R BT.709-6, item 3.2
    greys = (luminance > 0.15) & (luminance < 0.2)
    assert greys.sum() > 100
    assert light[greys] == pytest.approx(shown[greys], rel=0.025)


def test_the_photograph_keeps_its_colours_when_it_is_opened_up() -> None:
    """Chromaticities by colour-science: before and after alike, in the strongest colours too."""
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    shown = colour.cctf_decoding(photograph().astype(np.float64), function="sRGB")[::7, ::7]
    opened = photograph_light()[::7, ::7]
    seen = shown.max(axis=-1) > 0.05
    before, after = (
        colour.XYZ_to_xy(colour.RGB_to_XYZ(light[seen], space)) for light in (shown, opened)
    )
    assert np.abs(after - before).max() < 1e-5  # float32 in the picture


def test_the_chart_holds_every_patch_as_recorded() -> None:
    picture = chart_picture(SOURCE).reshape(-1, 3)
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    light = colour.XYZ_to_RGB(xyz, "ACEScg", chart.illuminant, "Bradford")
    for patch in colour.log_encoding(light, function="ACEScct"):
        # float32 pixels; the chart goes by way of BT.709 here
        assert (np.abs(picture - patch).max(axis=1) < 1e-5).sum() >= 44 * 44
    assert still_of(chart_picture(None)).pixels.dtype == np.uint16


def test_the_legend_is_a_picture_of_every_band(tmp_path: Path) -> None:
    task = FalseColour(SOURCE.curve, SOURCE.gamut, default_bands(6.0))
    write_legend(task, tmp_path / "legend.png", "A <title>")
    pixels = read_still(tmp_path / "legend.png").signal().reshape(-1, 3)
    for band in task.bands:
        same = np.abs(pixels - band.signal).max(axis=1) < 1 / 255
        assert same.sum() > 1000, band
    with pytest.raises(lutbench.LutbenchError, match="exists"):
        write_legend(task, tmp_path / "legend.png", "again")
