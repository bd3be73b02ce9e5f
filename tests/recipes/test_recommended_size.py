"""The size that `build` recommends, and the measure in which it says so.

ΔE 2000 (CIE 142-2001) where a picture of standard range comes out, ΔE ITP (Recommendation
ITU-R BT.2124) for HDR and log: what the table shows is what decides.
"""

from __future__ import annotations

import json
from pathlib import Path

import colour
import numpy as np
import pytest
from click.testing import CliRunner

from lutbench.cli.main import group
from lutbench.formats.registry import open_lut
from lutbench.measure.samples import chart_patches
from lutbench.model.catalogue import open_catalogue
from lutbench.model.encoding import Encoding
from lutbench.recipes.make import DELTA_E_LIMIT, USUAL_SIZES, quick_job
from lutbench.recipes.settings import Settings

KNOWN = open_catalogue(user=False)
SETTINGS = {
    "delta_e_2000": Settings(
        source_curve="ACEScct", source_gamut="ACEScg", target_curve="BT.1886", target_gamut="BT.709"
    ),
    "delta_e_itp": Settings(
        source_curve="ACEScct",
        source_gamut="ACEScg",
        target_curve="ST 2084",
        target_gamut="BT.2020",
    ),
}


def built(folder: Path, settings: Settings, *more: str) -> str:
    words = [f"--{name.replace('_', '-')}={value}" for name, value in settings.items()]
    told = CliRunner().invoke(group, ["build", *words, "-o", str(folder / "m.cube"), *more])
    assert told.exit_code == 0, told.output
    return told.output


@pytest.mark.parametrize("measure", SETTINGS)
def test_the_table_shows_the_measure_that_decides(measure: str, tmp_path: Path) -> None:
    settings = SETTINGS[measure]
    found = {}
    # Of the two, HDR is where the measures part; one size is enough for the other.
    for size in USUAL_SIZES if measure == "delta_e_itp" else (33,):
        data = json.loads(built(tmp_path, settings, f"--size={size}", "--json", "--force"))
        (found[size],) = data["luts"]
        assert found[size]["accuracy"]["measure"] == measure
    good = [
        size
        for size, each in found.items()
        if all(
            each["accuracy"]["sets"][name][measure]["p99"] <= DELTA_E_LIMIT
            for name in ("chart", "neutral")
        )
    ]
    if len(found) == len(USUAL_SIZES):
        assert {each["recommended_size"] for each in found.values()} == {min(good, default=None)}
    row = next(
        line for line in built(tmp_path, settings, "--force").splitlines() if "m.cube" in line
    )
    sets = found[33]["accuracy"]["sets"]
    shown = [f"{sets[name][measure]['p99']:.3f}" for name in ("chart", "neutral", "all")]
    assert row.split()[3:7] == [{"delta_e_2000": "2000", "delta_e_itp": "ITP"}[measure], *shown]


def test_the_error_of_an_hdr_lut_is_that_of_colour_science(tmp_path: Path) -> None:
    """ΔE ITP on the chart, of the pictures that PQ shows on a display: cd/m² by ST 2084."""
    settings = SETTINGS["delta_e_itp"]
    told = json.loads(built(tmp_path, settings, "--json"))["luts"][0]["accuracy"]["sets"]["chart"]
    lut, job = open_lut(tmp_path / "m.cube"), quick_job(settings)
    patches = chart_patches(Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACEScg"))).signals
    itp = [
        colour.RGB_to_ICtCp(
            colour.models.eotf_ST2084(each.apply(patches), 10000), method="ITU-R BT.2100-2 PQ"
        )
        for each in (lut, job.transform())
    ]
    expected = np.percentile(colour.difference.delta_E_ITP(*itp), 99)
    # The file has six decimals; ICtCp's matrices are the same whole numbers over 4096.
    assert told["delta_e_itp"]["p99"] == pytest.approx(expected, abs=0.01)
