"""What `build` can make is recognised with its numbers, and nothing else is taken for it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import open_world
import pytest
from identification_cases import Case, build

import lutbench
from lutbench.formats.cube import parse_cube
from lutbench.formats.cube_write import format_cube
from lutbench.identification.result import Identification
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.transforms import Transform
from lutbench.recipes.make import make
from lutbench.recipes.schema import read_recipe, recipe_from_text
from lutbench.splitting.recipe import RECIPE, recipe_files
from lutbench.tables.lut import Lut3D

ENDS = """
[source]
curve = "ACEScct"
gamut = "ACES AP1"
range = "full"
[target]
curve = "BT.1886"
gamut = "BT.709"
range = "full"
"""


def made(text: str) -> Transform:
    """The LUT of a recipe as a stranger has it: six decimals, no comments."""
    lut = make(recipe_from_text(f"{text}\n{ENDS}\n[[lut]]\nname = 'x'\nsize = 33").jobs[0])
    file = parse_cube(format_cube(lut), "own").lut
    assert isinstance(file, Lut3D)
    return Lut3D(file.table)


def shown_by(text: str) -> Identification:
    return lutbench.identify(made(text), catalogue=Catalogue())


def test_a_shoulder_comes_back_with_its_settings() -> None:
    found = shown_by("exposure = 0.7\n[tone]\nmethod='shoulder'\ncontrast=1.15\ntoe=0.4")
    assert found.confidence == "high"
    assert found.best is not None
    assert (found.best.source.curve, found.best.target.curve) == ("ACEScct", "BT.1886")
    assert found.best.exposure_stops == pytest.approx(0.7)
    assert found.best.hypothesis is not None
    task = found.best.hypothesis.built
    assert task is not None
    tone = task.tone
    assert (tone.contrast, tone.toe, tone.on) == (1.15, 0.4, "channels")  # type: ignore[union-attr]
    assert "with the tone method shoulder (contrast 1.15" in found.explanation
    assert found.tone is not None
    assert not found.tone.plain


def test_a_tone_on_luminance_is_told_from_one_on_each_channel() -> None:
    found = shown_by("[tone]\nmethod='shoulder'\ncontrast=1.1\non='luminance'\nblend=0.3")
    assert "on luminance, blend 0.3" in found.explanation


def test_the_demo_look_over_tone_and_compression_comes_back() -> None:
    folder = Path(__file__).resolve().parents[2] / "luts_demo"
    job = next(
        job
        for job in read_recipe(folder / "salt_road.toml").jobs
        if job.name == "viewing_warm_look"
    )
    known = open_catalogue(folder / "tarn.toml", user=False)
    found = lutbench.identify(parse_cube(format_cube(make(job)), "look").lut, catalogue=known)
    assert found.confidence == "high"
    assert found.look.cdl is not None
    np.testing.assert_allclose(found.look.cdl.slope, (1.03, 1.0, 0.96), rtol=0.01)


def test_split_gives_the_recipe_back_and_it_builds_the_lut(tmp_path: Path) -> None:
    lut = made("[gamut]\nmethod='compress'\nlimits=[1.4, 1.3, 1.2]\n[tone]\nmethod='shoulder'")
    texts = recipe_files(lutbench.split(lut, catalogue=Catalogue()), "lut", Catalogue())
    assert "limits = [1.4, 1.3, 1.2]" in texts[RECIPE]
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    again = make(read_recipe(tmp_path / RECIPE).jobs[0])
    assert isinstance(again, Lut3D)
    # Six decimals round either way; the numbers are given to four.
    assert np.abs(again.table - np.asarray(lut.table)).max() < 2e-6  # type: ignore[attr-defined]


HDR = (
    ("PQ to HLG, HLG to PQ", 710, "the light of an HLG display of 600 cd/m²"),
    ("BT.2446 method C", 710, "with the tone method bt2446-c (crosstalk 0.1)"),
)


@pytest.mark.parametrize(("family", "seed", "said"), HDR)
def test_what_weighs_channels_by_bt_2020_tells_it(family: str, seed: int, said: str) -> None:
    # Recommendation ITU-R BT.2100-2, table 5 (OOTF), and Report ITU-R BT.2446-1, method C, as
    # tests/cases/open_world has them.
    found = lutbench.identify(open_world.case(family, seed).lut, catalogue=Catalogue())
    assert found.confidence == "high"
    assert found.best is not None
    assert (found.best.source.curve, found.best.source.gamut) == ("BT.2100 PQ", "BT.2020")
    assert said in found.explanation


def test_a_tone_curve_of_another_formula_is_not_taken_for_one_of_these() -> None:
    case = Case("combined", "ACEScct", "ACEScg", "ITU-R BT.1886", "ITU-R BT.709", 17)
    for tone in ("shoulder", "sigmoid"):
        lut = Lut3D(build(Case(**{**vars(case), "tone": tone})))
        best = lutbench.identify(lut, catalogue=Catalogue()).best
        assert best is not None
        assert best.hypothesis is not None
        assert best.hypothesis.built is None
