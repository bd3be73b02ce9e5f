"""Shapers that are laid out for a LUT: ten stops under grey to six over it, within half a code.

The greys are those of colour-science's own functions (BT.1886, BT.709, ST 2084, HLG).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import colour
import numpy as np
import pytest

from lutbench.errors import LutbenchError
from lutbench.formats.clf_write import format_clf
from lutbench.formats.cube_write import write_cube
from lutbench.formats.registry import open_lut
from lutbench.measure.delta_e import view_of
from lutbench.measure.difference import measure
from lutbench.model.transforms import Array
from lutbench.recipes.make import make, measured
from lutbench.recipes.post import write_post
from lutbench.recipes.schema import LutJob, recipe_from_text
from lutbench.tables.lut import ShaperLut3D
from lutbench.tables.nodes import greys

STOPS = np.linspace(-10, 6, 1000)
LIGHT = 0.18 * 2.0**STOPS


def hlg(light: Array) -> Array:
    """Scene light with white at 75 % (BT.2408), held to the signal."""
    scale = float(colour.models.oetf_inverse_BT2100_HLG(0.75))
    return np.asarray(np.minimum(colour.models.oetf_BT2100_HLG(light * scale), 1))


def pq(light: Array) -> Array:
    """Scene light with white at 203 cd/m² of display light."""
    scale = colour.models.ootf_inverse_BT2100_PQ(203)
    return np.asarray(colour.models.oetf_BT2100_PQ(light * scale))


TARGETS: dict[str, Callable[[Array], Array]] = {
    "BT.1886": lambda light: colour.models.eotf_inverse_BT1886(np.minimum(light, 1)),
    "BT.709": lambda light: colour.models.oetf_BT709(np.minimum(light, 1)),
    "BT.2100 HLG": hlg,
    "BT.2100 PQ": pq,
}


def job(target: str = "BT.1886", gamut: str = "BT.709", size: int = 65, more: str = "") -> LutJob:
    text = f"""
source = {{ curve = "linear", gamut = "ACEScg" }}
target = {{ curve = "{target}", gamut = "{gamut}" }}
[[lut]]
name = "linear"
size = {size}
{more or "shaper = { low = 0.0, high = 16.0 }"}
"""
    return recipe_from_text(text).jobs[0]


@pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning:colour")
@pytest.mark.parametrize("target", TARGETS)
def test_greys_of_sixteen_stops_are_within_half_a_code(target: str, tmp_path: Path) -> None:
    """Behind a log curve as shaper such greys were up to 18 codes off with as many nodes."""
    expected = TARGETS[target](LIGHT)
    asked = job(target, "BT.2020" if "2100" in target else "BT.709")
    lut = make(asked)
    assert isinstance(lut, ShaperLut3D)
    # BT.709's two parts do not meet exactly, HLG's constants have eight digits: under 0.02 codes.
    error = 1023 * np.abs(lut.apply(greys(LIGHT)) - expected[:, None]).max()
    assert error < 0.5
    if target != "BT.1886":
        return
    # So is the file, with the decimals that it is written with.
    write_cube(lut, tmp_path / "linear.cube", decimals=asked.decimals)
    again = open_lut(tmp_path / "linear.cube")
    assert isinstance(again, ShaperLut3D)
    assert (np.diff(again.shaper.table, axis=0) > 0).all()
    assert 1023 * np.abs(again.apply(greys(LIGHT)) - expected[:, None]).max() < 0.5
    # And the report says it, measured between the greys above.
    told = measured(asked, lut).greys_off
    assert told is not None
    assert told == pytest.approx(error, abs=0.1)


@pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning:colour")
@pytest.mark.parametrize("target", TARGETS)
def test_a_clf_holds_such_greys_up_to_any_light(target: str, tmp_path: Path) -> None:
    """Over half floats: at even rows up to 1000 they were 18 codes off, without rows 223."""
    more = 'gamut = { method = "compress" }\nshaper = { low = 0.0, high = 1000 }'
    size = 65 if target == "BT.2100 HLG" else 33  # with 33 HLG is 0.56 codes off at grey
    asked = job(target, "BT.2020" if "2100" in target else "BT.709", size, more)
    data, notes = format_clf(asked.transform(), size=size, domain=[[0.0] * 3, [1000.0] * 3])
    (tmp_path / "linear.clf").write_bytes(data)
    again = open_lut(tmp_path / "linear.clf")
    expected = TARGETS[target](LIGHT)
    assert 1023 * np.abs(again.apply(greys(LIGHT)) - expected[:, None]).max() < 0.5
    assert "behind a 1D LUT over half floats, for light of 0 to 1000" in notes[0]
    assert b'<LUT1D inBitDepth="16f" outBitDepth="32f" halfDomain="true"' in data
    assert b'<Array dim="65536 1">' in data


def test_a_domain_with_few_half_floats_is_sampled_as_it_is() -> None:
    asked = job(size=9, more='gamut = { method = "compress" }\nshaper = { high = 16.0 }')
    for domain in ([[0.0] * 3, [1e-7] * 3], [[1e5] * 3, [2e5] * 3]):
        data, notes = format_clf(asked.transform(), size=9, domain=domain)
        assert notes == ("sampled as a whole in a 3D LUT of size 9",)
        assert b"LUT1D" not in data


def test_the_clf_for_post_holds_what_its_shaper_spans(tmp_path: Path) -> None:
    """The LUT of the set and the file for post are one picture, also over diffuse white."""
    tone = 'gamut = { method = "compress" }\ntone = { method = "shoulder" }'
    asked = job(size=33, more=f"{tone}\nshaper = {{ low = 0.0, high = 16.0 }}")
    made = replace(measured(asked, make(asked)), path=tmp_path / "linear.cube")
    write_cube(made.lut, tmp_path / "linear.cube", decimals=asked.decimals)
    (post,) = write_post([made], tmp_path / "post")
    light = 0.18 * 2.0 ** np.random.default_rng(3).uniform(-6, 6, (2000, 3))
    view = view_of(asked.task.result)
    apart = measure(post.set_transform.apply(light), post.post_transform.apply(light), view)
    assert apart.spreads()[view.measure].p99 < 1.0


def test_colours_come_as_near_as_behind_a_log_curve() -> None:
    """Nodes are not taken from colours for the sake of greys."""
    tone = 'tone = { method = "shoulder" }'
    errors = []
    for shaper in ("low = 0.0", 'curve = "ACEScct"'):
        asked = job(size=33, more=f"{tone}\nshaper = {{ {shaper}, high = 16.0 }}")
        found = measured(asked, make(asked)).accuracy
        assert found is not None
        errors.append(found.error.p95)
    assert errors[0] < 1.1 * errors[1]


def test_a_row_lies_at_no_light_where_a_shaper_begins_under_it() -> None:
    asked = job(more="shaper = { low = -0.01, high = 16.0 }")
    lut = make(asked)
    assert isinstance(lut, ShaperLut3D)
    low, high = lut.domain[:, 0]
    step = (high - low) / 65535
    assert -0.01 - step < low <= -0.01
    assert high == 16.0
    assert abs(low / step - round(low / step)) < 1e-6
    told = measured(asked, lut).greys_off
    assert told is not None
    assert told < 0.5


def test_one_that_is_laid_out_over_a_log_recording() -> None:
    """Light of the recording decides where nodes lie, not its signal."""
    text = """
source = { curve = "ACEScct", gamut = "ACEScg", range = "legal" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "log"
shaper = {}
"""
    asked = recipe_from_text(text).jobs[0]
    lut = make(asked)
    signal = colour.models.log_encoding_ACEScct(0.18 * 2.0 ** np.linspace(-10, 6, 500))
    values = (64 + 876 * signal) / 1023
    expected = colour.models.eotf_inverse_BT1886(
        np.minimum(0.18 * 2.0 ** np.linspace(-10, 6, 500), 1)
    )
    # Rows are a 64th of a 10-bit code apart here, so the nodes alone tell how near they come.
    assert 1023 * np.abs(lut.apply(greys(values))[:, 1] - expected).max() < 1.0


@pytest.mark.parametrize("more", ["shaper = { low = 1, high = 0 }", "shaper = { size = 1 }"])
def test_a_shaper_out_of_limits_is_refused(more: str) -> None:
    with pytest.raises(LutbenchError, match="the shaper is out of range"):
        job(more=more)
