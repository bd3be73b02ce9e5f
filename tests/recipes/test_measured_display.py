"""LUTs for a display as it was measured: in recipes, from options, and the patches of `chart`.

What the display shows is a simulated display's own formula; what is asked of it is computed by
colour-science (Recommendations ITU-R BT.1886 and BT.2100).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest
from simulated_displays import ADDITIVE, write_readings

import lutbench
from lutbench.cli.main import main
from lutbench.display.patches import patch_set
from lutbench.errors import LutbenchError
from lutbench.formats.cube_write import write_cube
from lutbench.recipes.make import make
from lutbench.recipes.schema import LutJob, read_recipe

DISPLAY = ADDITIVE["gamma 2.2"]
RECIPE = """
[target]
curve = "BT.1886"
gamut = "BT.709"
measured = "measured.csv"

[[lut]]
name = "alone"
source = { curve = "BT.1886", gamut = "BT.709" }

[[lut]]
name = "view"
source = { curve = "ACEScct", gamut = "ACEScg" }
tone = { method = "shoulder" }

[[lut]]
name = "hlg"
source = { curve = "BT.2100 HLG", gamut = "BT.709" }
target = { curve = "BT.2100 HLG" }
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recipe beside a meter's readings."""
    place = tmp_path_factory.mktemp("measured")
    shown = patch_set("short")
    write_readings(place / "measured.csv", shown, DISPLAY.xyz(shown.signal))
    (place / "day.toml").write_text(RECIPE, encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def jobs(folder: Path) -> dict[str, LutJob]:
    return {each.name: each for each in read_recipe(folder / "day.toml").jobs}


def seen(shown: np.ndarray, wanted: np.ndarray, white: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    xy = colour.XYZ_to_xy(white)
    labs = [colour.XYZ_to_Lab(each / white[1], xy) for each in (shown, wanted)]
    return np.asarray(colour.delta_E(*labs, method="CIE 2000"))


def test_a_calibration_alone_shows_what_bt_1886_asks_for(jobs: dict[str, LutJob]) -> None:
    signal = np.random.default_rng(2).uniform(0.1, 1, (500, 3))
    shown = DISPLAY.xyz(make(jobs["alone"]).apply(signal))
    target = jobs["alone"].display.target  # type: ignore[union-attr]
    light = colour.models.eotf_BT1886(signal, target.black, target.peak)
    matrix = colour.RGB_COLOURSPACES["ITU-R BT.709"].matrix_RGB_to_XYZ
    wanted = light @ matrix.T
    assert seen(shown, wanted, matrix.sum(axis=1) * target.peak).mean() < 0.5


def test_behind_a_view_it_is_the_view_and_then_the_calibration(jobs: dict[str, LutJob]) -> None:
    job = jobs["view"]
    assert job.display is not None
    signal = np.random.default_rng(3).uniform(0.2, 0.7, (50, 3))
    view = job.task.pipeline().apply(signal)  # type: ignore[union-attr]
    assert job.transform().apply(signal) == pytest.approx(job.display.step.apply(view), abs=1e-12)
    comments = " ".join(make(job).comments)
    assert "measured display: measured.csv (sha256 " in comments
    assert "calibrated to white" in comments


def test_hlg_on_a_measured_display_has_its_peak_s_system_gamma(jobs: dict[str, LutJob]) -> None:
    job = jobs["hlg"]
    target = job.display.target  # type: ignore[union-attr]
    level = np.linspace(0.3, 1, 15)
    shown = DISPLAY.xyz(job.transform().apply(np.repeat(level[:, None], 3, 1)))[:, 1]
    wanted = [
        colour.models.eotf_BT2100_HLG(
            np.full(3, each), target.black, target.peak, method="ITU-R BT.2100-2"
        )[1]
        for each in level.tolist()
    ]
    # Under 400 cd/m² colour-science takes the gamma of note 5e, the Recommendation 5f.
    gamma = (1.2 + 0.42 * np.log10(target.peak / 1000)) / (
        1.2 * 1.111 ** np.log2(target.peak / 1000)
    )
    relative = (np.array(wanted) / target.peak) ** (1 / gamma)
    assert shown == pytest.approx(target.peak * relative, rel=0.02)


def test_the_report_sees_through_the_display(folder: Path, tmp_path: Path, capsys: Any) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["build", str(folder / "day.toml"), "-o", str(tmp_path), "--json"])
    assert not ended.value.code
    made = {each["name"]: each for each in json.loads(capsys.readouterr().out)["luts"]}
    assert made["alone"]["accuracy"]["sets"]["chart"]["delta_e_2000"]["p99"] < 0.3
    assert made["hlg"]["accuracy"]["measure"] == "delta_e_itp"


def test_from_options_it_is_the_same(folder: Path, jobs: dict[str, LutJob]) -> None:
    built = lutbench.build(
        "ACEScct",
        "BT.1886",
        source_gamut="ACEScg",
        target_gamut="BT.709",
        tone="shoulder",
        measured_display=str(folder / "measured.csv"),
    )
    assert built == make(jobs["view"])


def test_levels_are_what_the_display_shows(
    folder: Path, jobs: dict[str, LutJob], tmp_path: Path, capsys: Any
) -> None:
    """cd/m² by the simulated display's own formula; of a file alone they cannot be told."""
    with pytest.raises(SystemExit) as ended:
        main(["levels", f"{folder / 'day.toml'}#view", "--json"])
    assert ended.value.code == 0
    told = {each["label"]: each for each in json.loads(capsys.readouterr().out)["levels"]}
    lut = make(jobs["view"])
    for label, light in (("mid grey", 0.18), ("white card", 0.9)):
        codes = lut.apply([float(colour.models.log_encoding_ACEScct(light))] * 3)
        shown = DISPLAY.xyz(codes)[1]
        # The fitted model is within a tenth of ΔE of the display: under 1 % of its light.
        assert told[label]["luminance"] == pytest.approx(shown, rel=0.01)
    write_cube(lut, tmp_path / "view.cube")
    for options, status, words in (
        ([], 0, "it gives that display's own code values"),
        (["--display-peak", "100"], 2, "the code values of a measured display"),
    ):
        with pytest.raises(SystemExit) as ended:
            main(["levels", str(tmp_path / "view.cube"), *options])
        assert ended.value.code == status
        assert words in capsys.readouterr().err


def test_what_cannot_be_is_refused(folder: Path, tmp_path: Path) -> None:
    for old, new, message in (
        ('"measured.csv"', '"../measured.csv"', "outside the folder"),
        ('"measured.csv"', '"no.csv"', "no.csv"),
        ('curve = "BT.1886"\ngamut', 'curve = "ACEScct"\ngamut', "is not a curve for displays"),
        ("source = { curve", 'source = { measured = "a", curve', "'measured' is not known"),
    ):
        (folder / "other.toml").write_text(RECIPE.replace(old, new), encoding="utf-8")
        with pytest.raises(LutbenchError, match=message):
            read_recipe(folder / "other.toml")
    with pytest.raises(LutbenchError, match="no option is named 'measured_display'"):
        lutbench.build("BT.1886, BT.709 to BT.1886, BT.709; measured_display=m.csv")


def test_chart_draws_the_patches(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from lutbench.display.measurements import read_measurements

    out = tmp_path / "shown"
    with pytest.raises(SystemExit) as ended:
        main(["chart", str(out), "--patches", "short", "--frame", "96x64", "--json"])
    assert not ended.value.code
    assert json.loads(capsys.readouterr().out)["stills"] == 73
    text = (out / "patches.csv").read_text(encoding="utf-8").replace(",,,", ",1,1,1")
    (out / "filled.csv").write_text(text, encoding="utf-8")
    read = read_measurements(out / "filled.csv")
    # Half a code of ten bits.
    assert read.signal == pytest.approx(patch_set("short").signal, abs=0.5 / 1023)
