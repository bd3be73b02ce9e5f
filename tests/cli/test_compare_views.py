"""``lutbench compare --as-views``: the figures of `views_apart`, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from lutbench.cli.main import main
from lutbench.measure.views import look_apart
from lutbench.model.conversion import Conversion
from lutbench.recipes.schema import read_recipe

SDR = "ACEScct, ACEScg to BT.1886, BT.709; tone=shoulder grey_out=0.1266 contrast=1.3"
HDR = "ACEScct, ACEScg to BT.2100 PQ, BT.2020; tone=shoulder"


VIEWS = """
source = { curve = "ACEScct", gamut = "ACEScg" }
look = { place = "before", cdl = { slope = [1.1, 1.0, 0.92], saturation = 1.15 } }
size = 17

[[lut]]
name = "sdr"
target = { curve = "BT.1886", gamut = "BT.709" }
tone = { method = "shoulder", grey_out = 0.1266, contrast = 1.3 }

[[lut]]
name = "hdr"
target = { curve = "BT.2100 PQ", gamut = "BT.2020" }
tone = { method = "shoulder" }
"""


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["compare", *arguments])
    return int(ended.value.code or 0)


def test_it_says_what_the_views_show(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SDR, HDR, "--as-views", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    grey = next(each for each in found["patches"] if each["name"] == "mid grey (18 %)")
    # Report ITU-R BT.2408, table 1: mid grey of PQ at 26 cd/m² (38 %), rounded.
    assert grey["luminance"] == pytest.approx([26, 26], rel=0.015)
    assert grey["delta_e_itp"] < 0.5
    assert len(found["patches"]) == 25
    assert found["look"] is None
    assert run(SDR, HDR, "--as-views") == 0
    assert "mid grey (18 %)" in capsys.readouterr().out


def test_it_says_how_far_a_look_parts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The figures of `look_apart` (tests/measure/test_views.py), of two LUTs of one recipe."""
    recipe = tmp_path / "views.toml"
    recipe.write_text(VIEWS, encoding="utf-8")
    sides = f"{recipe}#sdr", f"{recipe}#hdr"
    assert run(*sides, "--as-views", "--json") == 0
    look = json.loads(capsys.readouterr().out)["look"]
    sdr, hdr = (job.task for job in read_recipe(recipe).jobs)
    assert isinstance(sdr, Conversion)
    assert isinstance(hdr, Conversion)
    assert look == json.loads(json.dumps(look_apart(sdr, hdr).to_data()))
    assert 0 < look["share"] < 0.5
    assert run(*sides, "--as-views") == 0
    assert f"which is {100 * look['share']:.0f} %" in " ".join(capsys.readouterr().out.split())


def test_what_checks_nothing_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SDR, HDR, "--as-views", "--limit-delta-e", "1") == 2
    assert "--limit-delta-e cannot be given" in capsys.readouterr().err
    assert run(SDR, "ACEScct, ACEScg to ACEScct, ACEScg", "--as-views") == 2
    assert "is not the curve of a display" in capsys.readouterr().err
