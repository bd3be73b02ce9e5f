"""Capture: known LUTs in simulated boxes, and how near the recovered LUT comes.

The box: the LUT, scaled by 2 %, noise of one 8-bit code, 8 bits, JPEG of quality
90 (Pillow's scaling and JPEG). Judged with colour-science's ΔE 2000.
"""

from __future__ import annotations

import io

import colour
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from lutbench import LutbenchError
from lutbench.fitting.patches import fit_patches
from lutbench.media.chart.layout import draw_chart
from lutbench.media.chart.picture import read_chart
from lutbench.model.catalogue import open_catalogue
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.gamuts import ACES_AP1, BT709, BT2020, conversion
from lutbench.model.grade import Cdl
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.transforms import Clamp, Transform
from lutbench.tables.lut import Lut3D, lattice
from lutbench.tables.nodes import sample

Array = NDArray[np.float64]
CURVES = open_catalogue(user=False)
BOXES: dict[str, Transform] = {
    "grade": Cdl((1.1, 1.0, 0.9), (-0.05, 0.0, 0.02), (1.2, 1.0, 0.9), 1.3),
    "log, shoulder and toe": Decode(CURVES.curve("Cineon"))
    | conversion(BT2020, BT709)
    | ToneCurve(white=5.0, toe=0.5)
    | Clamp()
    | Encode(CURVES.curve("sRGB")),
    "log, all clipped hard": Decode(CURVES.curve("ACEScct"))
    | conversion(ACES_AP1, BT709)
    | Clamp()
    | Encode(CURVES.curve("BT.1886")),
}


def through_box(picture: Array, lut: Lut3D, scale: float = 0.98) -> Array:
    """8-bit, JPEG 90 with Pillow's default chroma, scaled, with noise of one code."""
    shown = np.asarray(lut.apply(picture), dtype=np.float32)
    size = (round(picture.shape[1] * scale), round(picture.shape[0] * scale))
    planes = [Image.fromarray(np.ascontiguousarray(shown[..., c])) for c in range(3)]
    small = np.stack(
        [np.asarray(each.resize(size, Image.Resampling.LANCZOS)) for each in planes], -1
    )
    noise = np.random.default_rng(1).normal(0, 1.0, small.shape)
    codes = np.clip(np.round(small * 255 + noise), 0, 255).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=90)
    return np.asarray(Image.open(file), dtype=np.float64) / 255


def delta_e(first: Array, second: Array) -> Array:
    def lab(signal: Array) -> Array:
        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
        return np.asarray(colour.XYZ_to_Lab(np.clip(signal, 0, 1) ** 2.4 @ BT709.to_xyz.T, white))

    return np.asarray(colour.delta_E(lab(first), lab(second), method="CIE 2000"))


@pytest.mark.parametrize("name", list(BOXES))
def test_lut_of_a_simulated_box(name: str) -> None:
    lut = sample(BOXES[name] | Clamp(), 33)
    sent = draw_chart(21, 1920, 1080).signal().astype(np.float64)
    reading = read_chart(through_box(sent, lut))
    fit = fit_patches(reading.inputs, reading.outputs, 33, uncertainty=reading.uncertainty / 255)
    points = np.random.default_rng(3).random((8000, 3))
    off = delta_e(np.asarray(fit.lut.apply(points)), np.asarray(lut.apply(points)))
    assert off.mean() < 1.0
    # What is told of the error holds what there is: it has the patches' noise on top.
    codes = np.abs(fit.lut.apply(points) - lut.apply(points)) * 1023
    assert codes.mean() < 1.1 * fit.held_out.mean
    assert fit.lut.table.min() >= 0
    assert fit.lut.table.max() <= 1


def test_without_noise_the_nodes_come_back() -> None:
    lut = sample(BOXES["grade"], 17)
    nodes = lattice(17).reshape(-1, 3)
    fit = fit_patches(nodes, np.asarray(lut.apply(nodes)), 17, smoothness=1e-11)
    np.testing.assert_allclose(fit.lut.table, lut.table, atol=1e-3)


def test_smoothing_takes_noise_off() -> None:
    # Straight, so that the pull to straightness does no harm and noise alone is left.
    truth = Lut3D(0.1 + lattice(17) @ [[0.7, 0.1, 0.0], [0.1, 0.6, 0.1], [0.0, 0.1, 0.7]])
    nodes = lattice(17).reshape(-1, 3)
    random = np.random.default_rng(0)
    sigma = 2 / 255
    outputs = truth.apply(nodes) + random.normal(0, sigma, nodes.shape)
    fit = fit_patches(nodes, outputs, 17, uncertainty=sigma)
    off = fit.lut.table - truth.table
    assert off.std() < 0.3 * sigma
    # The standard error told is of the size of the one there is.
    assert fit.node_error.median / 1023 == pytest.approx(off.std(), rel=0.4)


def test_a_box_that_is_no_smooth_lut_is_named() -> None:
    nodes = lattice(9).reshape(-1, 3)
    outputs = np.random.default_rng(0).random(nodes.shape)
    assert any("not a LUT" in note for note in fit_patches(nodes, outputs, 9).notes)


def test_too_few_patches_are_refused() -> None:
    with pytest.raises(LutbenchError, match="too few"):
        fit_patches(np.zeros((5, 3)), np.zeros((5, 3)))
