"""What a tone curve acts on, against colour-science and formulas of the Report; LUTs made so."""

from __future__ import annotations

import colour
import numpy as np
import open_world
import pytest
from open_world.case import PARTS
from open_world_score import score

from lutbench.identification import identify
from lutbench.identification.carriers import (
    Carrier,
    Intensity,
    SoftMaximum,
    by_proportion,
    in_bt2020,
)
from lutbench.model.catalogue import open_catalogue
from lutbench.model.gamuts import BT709, BT2020
from lutbench.model.tone.bt2446 import Bt2446A

GAMUTS = (("BT.2020", BT2020), ("BT.709", BT709))
LIGHT = np.random.default_rng(5).uniform(0.02, 0.9, (200, 3))
"""Inside BT.709, and so inside BT.2020."""


@pytest.mark.parametrize("carrier", [*by_proportion(GAMUTS), *in_bt2020(GAMUTS)])
def test_a_carrier_is_undone(carrier: Carrier) -> None:
    value = carrier.value(LIGHT)
    after = value / (value + 0.8)
    moved = carrier.moved(LIGHT, value, after)
    kept = ((moved > 1e-4) & (moved < 0.999)).all(axis=-1)
    assert kept.sum() > 50
    # A few roots and powers of numbers near one, in float64.
    assert np.abs(carrier.value_after(moved[kept]) - after[kept]).max() < 1e-9
    back = carrier.undone(moved[kept], value[kept], after[kept])
    told = np.isfinite(back)
    assert told.mean() > 0.9
    assert np.abs(back - LIGHT[kept])[told].max() < 1e-8


@pytest.mark.parametrize("power", [4.0, 5.0])
def test_a_soft_maximum_is_the_power_mean_of_the_channels(power: float) -> None:
    norm = np.linalg.norm(LIGHT, power, axis=-1) * 3 ** (-1 / power)
    np.testing.assert_allclose(SoftMaximum(power).value(LIGHT), norm, rtol=1e-12)


@pytest.mark.parametrize("scaled", [True, False])
def test_intensity_is_that_of_colour_science(scaled: bool) -> None:
    carrier = next(c for c in in_bt2020(GAMUTS) if isinstance(c, Intensity) and c.scaled == scaled)
    before = np.asarray(colour.RGB_to_ICtCp(LIGHT * 203))
    value = colour.models.eotf_ST2084(before[:, 0]) / 203
    # Constants of colour-science have as many digits as BT.2100 gives them.
    assert np.abs(carrier.value(LIGHT) - value).max() < 1e-6
    after = colour.models.eotf_inverse_ST2084(0.5 * value * 203)
    ratio = (np.minimum(before[:, 0], after) / np.maximum(before[:, 0], after))[:, None]
    chroma = before[:, 1:] * (ratio if scaled else 1)
    wanted = colour.ICtCp_to_RGB(np.concatenate([after[:, None], chroma], axis=-1)) / 203
    assert np.abs(carrier.moved(LIGHT, value, 0.5 * value) - wanted).max() < 1e-6


def test_luma_is_that_of_the_tone_mapper() -> None:
    """Which tests/model compare with the Report step by step."""
    carrier = in_bt2020(GAMUTS[:1])[-1]
    mapper = Bt2446A(1000.0, 100.0)
    value = carrier.value(LIGHT)
    grey = np.repeat(value[:, None], 3, axis=1) * 1000
    after = mapper.apply(grey)[:, 0] / 100
    wanted = np.clip(mapper.apply(LIGHT * 1000) / 100, 0, 1)
    assert np.abs(carrier.moved(LIGHT, value, after) - wanted).max() < 1e-9


@pytest.mark.parametrize(
    ("family", "seed"),
    [
        ("tone on I of ICtCp", 9000),
        ("BT.2446 method A", 9000),
        ("split toning", 9000),
        ("monochrome", 9004),
        ("monochrome", 9005),
        ("smoothed", 9001),
        pytest.param("tone on the largest channel", 12000, marks=pytest.mark.slow),
        pytest.param("highlights desaturated towards white", 12002, marks=pytest.mark.slow),
        pytest.param("hue twist", 12002, marks=pytest.mark.slow),
        pytest.param("vibrance", 12006, marks=pytest.mark.slow),
    ],
)
def test_the_names_are_told(family: str, seed: int) -> None:
    case = open_world.case(family, seed)
    found = identify(case.lut, catalogue=open_catalogue(user=False))
    outcome = score(case, found.to_data())
    told = {part: outcome.parts[part] for part in PARTS if part in outcome.parts}
    assert len(told) >= 4
    assert set(told.values()) == {"right"}, told
    smooth = any("smoothed" in note for note in found.notes)
    assert smooth == (family == "smoothed")


def test_a_fit_that_ends_without_saturation_is_a_monochrome_one() -> None:
    """A CDL fitted to this LUT ends at a saturation of 0, which no inverse undoes."""
    case = open_world.case("monochrome", 3701)
    found = identify(case.lut, catalogue=open_catalogue(user=False))
    assert "wrong" not in score(case, found.to_data()).parts.values()
