"""What a gamut-only LUT cuts off: the share against colour-science, and that it is told."""

from __future__ import annotations

import json
from pathlib import Path

import colour
import numpy as np
import pytest
from click.testing import CliRunner

import lutbench
from lutbench.cli.main import group
from lutbench.inspection.finding import Finding
from lutbench.inspection.registry import Health
from lutbench.inspection.subject import Subject
from lutbench.tables.lut import Lut3D

ENDS = {"source_gamut": "ACEScg", "target_gamut": "BT.709"}


def found_in(lut: object) -> Finding | None:
    every = Health(Subject(lut)).findings  # type: ignore[arg-type]
    return next((each for each in every if each.code == "clipped_colours"), None)


@pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning:colour")
def test_the_share_is_that_of_colour_science() -> None:
    """Of lattice colours a quarter of the scale apart: those that no ACEScct signal holds."""
    lut = lutbench.build("ACEScct", kind="gamut", **ENDS)  # type: ignore[arg-type]
    found = found_in(lut)
    assert found is not None
    axis = np.linspace(0, 1, 33)[1:-1]
    signal = np.stack(np.meshgrid(axis, axis, axis), axis=-1).reshape(-1, 3)
    signal = signal[np.ptp(signal, axis=1) >= 0.25 - 1e-9]
    light = colour.RGB_to_RGB(
        colour.models.log_decoding_ACEScct(signal), "ACEScg", "ITU-R BT.709", "Bradford"
    )
    out = colour.models.log_encoding_ACEScct(light)
    cut = ((out <= 0) | (out >= 1)).any(axis=1)
    # A node right at an end of the scale may fall on either side: a matrix of four decimals.
    assert found.value == pytest.approx(cut.mean(), abs=0.002)
    assert "of the saturated colours are clipped" in found.message
    assert found.place is not None
    shown = np.array(found.place.output)
    assert ((shown <= 1e-5) | (shown >= 1 - 1e-5)).any()


@pytest.mark.parametrize(
    "settings",
    [
        {**ENDS, "gamut": "compress"},
        {**ENDS, "gamut": "map"},
        {"source_gamut": "BT.709", "target_gamut": "ACEScg"},
        {"source_gamut": "BT.709", "target_gamut": "BT.2020"},
    ],
)
def test_a_gamut_that_is_compressed_or_has_room_cuts_little(settings: dict[str, str]) -> None:
    assert found_in(lutbench.build("ACEScct", kind="gamut", **settings)) is None  # type: ignore[arg-type]


def test_it_is_told_of_gamut_conversions_alone() -> None:
    """A conversion of tone and gamut clips by its nature: `clipped_highlights` speaks of it."""
    assert found_in(lutbench.build("ACEScct", "BT.1886", **ENDS)) is None  # type: ignore[arg-type]
    assert found_in(Lut3D.identity(33)) is None


def test_build_and_inspect_tell_the_shooter(tmp_path: Path) -> None:
    file = str(tmp_path / "gamut.cube")
    words = ["build", "--kind", "gamut", "--source-curve", "ACEScct", "--source-gamut", "ACEScg"]
    words += ["--target-gamut", "BT.709", "-o", file]
    told = CliRunner().invoke(group, words)
    assert "of the saturated colours are clipped" in " ".join(told.output.split())
    assert "do not judge LEDs" in " ".join(told.output.split()).replace("Do", "do")
    told = CliRunner().invoke(group, [*words, "--force", "--json"])
    data = json.loads(told.output)["luts"][0]["clipped_colours"]
    assert data["value"] > 0.9
    told = CliRunner().invoke(group, ["inspect", file])
    assert "not for" in told.output
    assert "LEDs and neon" in " ".join(told.output.split())
