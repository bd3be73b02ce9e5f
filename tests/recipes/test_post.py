"""Post: the CLF and the CDL of a set give the picture of the set, read back by other libraries.

The CLF is read by colour-clf-io (through `open_lut`); CDL values are held against the text of the
recipe; the LUT's own error is bounded by what `build` measured.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lutbench.cli.main import main
from lutbench.formats.registry import open_lut
from lutbench.recipes.schema import read_recipe
from lutbench.recipes.subjects import recipe_job

RECIPE = """
[source]
curve = "ACEScct"
gamut = "ACES AP1"
[target]
curve = "BT.1886"
gamut = "BT.709"
[[lut]]
name = "plain"
size = 33
tone = { method = "shoulder" }
[[lut]]
name = "warm"
size = 17
look = { cdl = { slope = [1.05, 1.0, 0.95], power = [0.9, 1.0, 1.1], saturation = 0.8 } }
[[lut]]
name = "first"
size = 17
look = { place = "before", cdl = { offset = [0.02, 0.0, 0.0] } }
[[lut]]
name = "faces"
kind = "false_colour"
"""


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([*map(str, args)])
    return int(ended.value.code or 0)


@pytest.fixture(scope="module")
def post(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("set")
    (folder / "day.toml").write_text(RECIPE, encoding="utf-8")
    assert run("build", folder / "day.toml", "-o", folder, "--post", "--json") == 0
    return folder


def test_the_clf_is_the_exact_transform(post: Path) -> None:
    colours = np.random.default_rng(8).random((500, 3))
    recipe = read_recipe(post / "day.toml")
    for name in ("plain", "warm", "first"):
        exact = recipe_job(recipe, name, "").transform().apply(colours)
        read = open_lut(post / "post" / f"{name}.clf").apply(colours)
        # A CLF's operators are within a fiftieth of a 10-bit code each, sampled tone within a
        # code; powers near black are steep, so few values may be further off.
        off = np.abs(np.asarray(read) - exact) * 1023
        assert np.quantile(off, 0.99) < 1


def test_the_cdl_is_the_recipe_s_and_chains_with_the_conversion(post: Path) -> None:
    text = (post / "post" / "warm.cdl").read_text(encoding="utf-8")
    numbers = re.search(r"<Slope>([^<]+)</Slope>", text)
    assert numbers is not None
    assert [float(each) for each in numbers[1].split()] == [1.05, 1.0, 0.95]
    colours = np.random.default_rng(9).random((500, 3))
    for name, order in (
        ("warm", ("warm_no_look.clf", "warm.cdl")),
        ("first", ("first.cdl", "first_no_look.clf")),
    ):
        values = colours
        for file in order:
            values = np.asarray(open_lut(post / "post" / file).apply(values))
        whole = np.asarray(open_lut(post / "post" / f"{name}.clf").apply(colours))
        np.testing.assert_allclose(values, whole, atol=1e-4)


def test_the_proof_names_every_file_by_its_checksum(post: Path) -> None:
    import hashlib

    page = (post / "post" / "proof.html").read_text(encoding="utf-8")
    for file in (post / "plain.cube", post / "post" / "plain.clf", post / "post" / "warm.cdl"):
        assert hashlib.sha256(file.read_bytes()).hexdigest() in page
    assert not (post / "post" / "plain.cdl").exists()
    assert "faces" not in page
    assert "the difference is invisible" in page


def test_what_is_not_for_post_is_refused(tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "faces.toml").write_text(
        'source = { curve = "ACEScct", gamut = "ACES AP1" }\n[[lut]]\nname = "faces"\n'
        'kind = "false_colour"\n',
        encoding="utf-8",
    )
    assert run("build", tmp_path / "faces.toml", "-o", tmp_path, "--post") == 2
    assert "no LUT of the recipe is for post" in capsys.readouterr().err
    assert run("build", "--post", "-o", tmp_path / "x.cube") == 2
    assert "come from a recipe" in capsys.readouterr().err


def test_a_dithered_still_has_no_bands_and_the_right_mean(tmp_path: Path) -> None:
    """A run of two 8-bit codes over 600 pixels: rounding makes three flat bands, dither none."""
    import OpenImageIO as oiio

    from lutbench.formats.cube_write import write_cube
    from lutbench.media.still.still import read_still
    from lutbench.tables.lut import Lut3D

    write_cube(Lut3D.identity(5), tmp_path / "same.cube")
    run_of = np.repeat(np.linspace(0.5, 0.5 + 2 / 255, 600)[None, :, None], 64, axis=0)
    picture = np.ascontiguousarray(np.repeat(run_of, 3, axis=2), dtype=np.float32)
    writer = oiio.ImageOutput.create(str(tmp_path / "in.exr"))
    assert writer.open(str(tmp_path / "in.exr"), oiio.ImageSpec(600, 64, 3, oiio.FLOAT))
    writer.write_image(picture)
    writer.close()
    args = ("apply", tmp_path / "same.cube", tmp_path / "in.exr")
    assert run(*args, tmp_path / "plain.png", "--depth", 8) == 0
    for name in ("a.png", "a.png"):
        assert run(*args, tmp_path / name, "--depth", 8, "--dither", "--force") == 0
    plain, dithered = (
        read_still(tmp_path / name).pixels.astype(float) for name in ("plain.png", "a.png")
    )
    wanted = picture * 255
    assert np.unique(plain).size <= 4
    # The mean of a column of 64 rows and 3 channels: a triangular dither has a variance of
    # 1/6 + 1/12 code at most, so 4 standard errors are 4 · sqrt(1/4 / 192) = 0.15 code.
    columns = dithered.mean(axis=(0, 2)) - wanted.mean(axis=(0, 2))
    assert np.abs(columns).max() < 0.15 * 1.25
    assert np.abs(plain.mean(axis=(0, 2)) - wanted.mean(axis=(0, 2))).max() > 0.4
    assert run(*args, tmp_path / "b.png", "--dither") == 2


@pytest.mark.slow
def test_the_report_lists_the_files(post: Path, capsys: Any) -> None:
    assert run("build", post / "day.toml", "-o", post, "--post", "--json", "--force") == 0
    data = json.loads(capsys.readouterr().out)
    warm = next(each for each in data["post"] if each["name"] == "warm")
    assert [Path(each["file"]).name for each in warm["files"]] == [
        "warm.cube", "warm.clf", "warm_no_look.clf", "warm.cdl",
    ]  # fmt: skip
    assert all(len(each["sha256"]) == 64 for each in warm["files"])
