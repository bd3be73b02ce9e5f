"""Recipes: what they say, what they build, and what they refuse."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import lutbench
from lutbench.errors import DefinitionError, LutbenchError
from lutbench.formats.registry import open_lut
from lutbench.model.conversion import Conversion
from lutbench.model.curves.hdr import PqDisplay
from lutbench.model.false_colour import FalseColour
from lutbench.model.tone.eetf import Eetf
from lutbench.recipes.make import build, build_recipe, make, measured, quick_job
from lutbench.recipes.schema import read_recipe, recipe_from_text
from lutbench.recipes.settings import Settings
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D

HEAD = """
title = "Day one"
[source]
curve = "ACEScct"
gamut = "ACEScg"
[target]
curve = "BT.1886"
gamut = "BT.709"
"""


def one(text: str) -> object:
    return recipe_from_text(HEAD + text).jobs[0]


def test_a_key_of_one_lut_at_the_top() -> None:
    with pytest.raises(LutbenchError, match=r"'kind' is not for all .*: kind in a \[\[lut\]\]"):
        recipe_from_text(f'kind = "curve"\n{HEAD}[[lut]]\nname = "a"')


def test_the_public_build_is_the_conversion() -> None:
    lut = lutbench.build("acescct", "bt.1886", source_gamut="acescg", target_gamut="bt.709", size=9)
    assert isinstance(lut, Lut3D)
    job = quick_job(
        Settings(
            source_curve="ACEScct",
            target_curve="BT.1886",
            source_gamut="ACEScg",
            target_gamut="BT.709",
            size=9,
        )
    )
    assert np.array_equal(lut.table, job.transform().apply(lut.nodes))
    assert lut.title == "ACEScct to BT.1886, ACES AP1 to BT.709"


def test_what_a_kind_needs() -> None:
    assert build("ACEScct", "BT.709", kind="curve", size=5).size == 5
    assert isinstance(build("ACEScct", "BT.709", kind="curve", dimensions=1, size=99), Lut1D)
    build("ACEScct", source_gamut="ACEScg", target_gamut="BT.709", kind="gamut", size=5)
    with pytest.raises(LutbenchError, match="a combined LUT needs a source gamut"):
        build("ACEScct", "BT.709")
    with pytest.raises(LutbenchError, match="no tone is named 'soft'; accepted: clip, shoulder"):
        build("ACEScct", "BT.709", kind="curve", tone="soft")


def test_a_table_in_a_lut_is_laid_over_the_one_at_the_top() -> None:
    job = one('[[lut]]\nname = "a"\ntarget = { range = "legal" }\nexposure = 1.5\n')
    task = job.task  # type: ignore[attr-defined]
    assert (task.target.curve.name, task.target.range, task.exposure) == ("BT.1886", "legal", 1.5)
    assert job.title == "Day one a"  # type: ignore[attr-defined]


def test_an_exposure_ladder_is_a_lut_a_step() -> None:
    recipe = recipe_from_text(HEAD + '[[lut]]\nname = "a"\nexposure_ladder = [-2, -0.5, 0, 1]\n')
    assert [job.name for job in recipe.jobs] == ["a_m2", "a_m0_5", "a_p0", "a_p1"]
    plain = recipe_from_text(HEAD + '[[lut]]\nname = "a"\n').jobs[0].transform()
    one_up = recipe.jobs[3].transform()
    rgb = np.random.default_rng(0).uniform(0.2, 0.5, (20, 3))
    curve = recipe.catalogue.curve("ACEScct")
    brighter = curve.encode(2 * curve.decode(rgb))
    assert one_up.apply(rgb) == pytest.approx(plain.apply(brighter), abs=1e-12)


def test_everything_a_recipe_can_say() -> None:
    job = one(
        """
[[lut]]
name = "all"
size = 17
interpolation = "trilinear"
decimals = 9
exposure = -1
clamp = false
white_balance = { kelvin = 3200, tint = 4, balanced_for = 5600 }
tone = { method = "shoulder", contrast = 1.2, grey_out = 0.17, white = 7, toe = 0.4 }
gamut = { method = "compress", adaptation = "CAT16", power = 1.1, limits = [1.2, 1.3, 1.4] }
look = { saturation = 1.1, place = "light", cdl = { slope = [1.1, 1, 1], saturation = 0.9 } }
"""
    )
    task = job.task  # type: ignore[attr-defined]
    assert isinstance(task, Conversion)
    assert (task.adaptation, task.compression.limits) == ("cat16", (1.2, 1.3, 1.4))
    assert (task.tone.contrast, task.tone.white, task.clamp) == (1.2, 7.0, False)
    # On light the CDL does not clamp unless told to.
    assert [step.kind for step in task.grade] == ["cdl", "saturation"]
    assert (task.grade_place, task.grade[0].clamp) == ("light", False)
    assert task.white_balance.array[0, 0] < 1 < task.white_balance.array[2, 2]
    # The Transform itself and the LUT agree on the nodes.
    lut = make(job)  # type: ignore[arg-type]
    assert np.array_equal(lut.table, job.transform().apply(lut.nodes))  # type: ignore[attr-defined]
    hdr = 'source = { curve = "PQ" }\ntone = { method = "eetf", source_peak = 1000 }\n'
    eetf = one('[[lut]]\nname = "e"\n' + hdr)
    assert isinstance(eetf.task.tone, Eetf)  # type: ignore[attr-defined]
    white = one('[[lut]]\nname = "w"\ntarget = { curve = "ST 2084", white = 100 }\n')
    assert white.task.target.curve == PqDisplay(white=100.0)  # type: ignore[attr-defined]
    black = one('[[lut]]\nname = "b"\ntarget = { black = 0.001 }\n')
    # BT.1886, annex 1: signal 0 gives the black level of the display.
    assert black.task.target.curve.decode(0.0) == pytest.approx(0.001)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("target", "words"),
    [
        ('curve = "BT.709", black = 0.001', "'BT.709' has no black level"),
        ('curve = "BT.1886", white = 100', "'BT.1886' has no white level"),
        ('curve = "ACEScct", display_peak = 600', "a display has no meaning for the curve"),
        (
            'curve = "sRGB", display_peak = 100, display_black = 0.1',
            "the curve 'sRGB' has no black level",
        ),
    ],
)
def test_a_level_that_means_nothing_to_the_curve(target: str, words: str) -> None:
    with pytest.raises(LutbenchError, match=words):
        one(f'[[lut]]\nname = "a"\ntarget = {{ {target} }}\n')


def test_a_shaper_is_exact_on_its_nodes_and_takes_scene_linear_light() -> None:
    job = one(
        """
[[lut]]
name = "linear_in"
source = { curve = "linear" }
shaper = { curve = "ACEScct", low = -0.01, high = 16, size = 8192 }
"""
    )
    lut = make(job)  # type: ignore[arg-type]
    assert isinstance(lut, ShaperLut3D)
    assert lut.domain.tolist() == [[-0.01] * 3, [16.0] * 3]
    light = np.random.default_rng(1).uniform(0.01, 1.0, (500, 3))
    exact = job.transform().apply(light)  # type: ignore[attr-defined]
    plain = Lut3D(
        job.transform().apply(Lut3D(np.zeros((33,) * 3 + (3,)), [-0.01, 16]).nodes), [-0.01, 16]
    )  # type: ignore[attr-defined]
    shaped, unshaped = (np.abs(each.apply(light) - exact).mean() for each in (lut, plain))
    assert shaped < unshaped / 5


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "has 0 tables"),
        ('[[lut]]\nname = "a"\nsiez = 3', "key 'siez' is not known; accepted: size"),
        # Told even where a key that is missing would be told first.
        ('[[lut]]\nname = "a"\nsource = {}\nkint = "curve"', "key 'kint' is not known; .*: kind"),
        ('[[lut]]\nname = "a"\nsize = 1', r"lut 1, size: .*2 to 256"),
        ('[[lut]]\nname = "a"\nsize = 1.5', "is not a whole number"),
        ('[[lut]]\nname = "a"\nkind = "both"', "combined, curve, gamut, false_colour"),
        ('[[lut]]\nname = "a"\ntarget = { curve = "BT.1866" }', r"target, curve: .*BT\.1886"),
        ('[[lut]]\nname = "a"\ntarget = { range = "video" }', "accepted: full, legal"),
        ('[[lut]]\nname = "a"\nkind = "gamut"\ntone = { method = "shoulder" }', "has no tone"),
        ('[[lut]]\nname = "a"\ntone = { contrast = 0 }', r"lut 1, tone: contrast 0"),
        ('[[lut]]\nname = "a"\ndimensions = 1', "kind curve"),
        ('[[lut]]\nname = "a"\nlook = { cdl = { slope = [1, 1] } }', "not a list of numbers"),
        ('[[lut]]\nname = "a"\nlook = { cdl = { power = [0, 1, 1] } }', "CDL|look"),
        ('[[lut]]\nname = "a"\n[[lut]]\nname = "A"', "two LUTs are named"),
        ('[[lut]]\nname = ""', "is not a name"),
        ("[[lut]]\n", r"lut 1, name: is missing"),
        ('[[lut]]\nname = "a"\nwhite_balance = { kelvin = 20 }', "1667 to 25000"),
        ('[[lut]]\nname = "a"\nshaper = { curve = "ACEScct", low = 2 }', "low < high"),
        (
            '[[lut]]\nname = "a"\nkind = "false_colour"\n'
            '[[lut.bands]]\nlow = 1\nhigh = 0\ncolour = "blue"',
            "no width",
        ),
        (
            '[[lut]]\nname = "a"\nkind = "false_colour"\nbands = [{ colour = "puce" }]',
            "is not a colour",
        ),
        (
            '[profile]\nsizes = [17, 33]\n[[lut]]\nname = "a"\nkind = "false_colour"\n'
            'bands = [{ low = -0.1, high = 0.1, colour = "orange", label = "card" }]',
            "size 129, which the narrow band 'card' needs",
        ),
        ('[profile]\nsizes = [17]\n[[lut]]\nname = "a"', "the profile refuses size 33"),
        ('[profile]\nname_length = 8\n[[lut]]\nname = "a_long_name"', "refuses the file name"),
        ('[profile]\nname_characters = "A-Z"\n[[lut]]\nname = "a"', "refuses the file name"),
        ('[profile]\nrange = "legal"\n[[lut]]\nname = "a"', "refuses full range"),
    ],
)
def test_what_is_refused(text: str, words: str) -> None:
    with pytest.raises(LutbenchError, match=words) as caught:
        recipe_from_text(HEAD + text)
    assert str(caught.value).startswith("recipe")


def test_a_profile_cuts_titles() -> None:
    recipe = recipe_from_text(
        HEAD + '[profile]\ntitle_length = 10\n[[lut]]\nname = "a_very_long_name"\n'
    )
    assert recipe.jobs[0].title == "Day one a"


@pytest.mark.parametrize("key", ["title_length", "name_length"])
def test_a_negative_length_is_refused(key: str) -> None:
    with pytest.raises(DefinitionError, match=f"{key}: -1 is not a number of characters"):
        recipe_from_text(HEAD + f'[profile]\n{key} = -1\n[[lut]]\nname = "a"\n')


@pytest.mark.parametrize("pattern", ["{name}_{sign}", "{name}_{stops}", "rung"])
def test_a_ladder_pattern_that_gives_two_luts_one_name_is_named(pattern: str) -> None:
    text = f'{HEAD}[profile]\nladder = "{pattern}"\n[[lut]]\nname = "view"\n'
    with pytest.raises(LutbenchError, match=r"\[profile\] ladder .* one name") as refused:
        recipe_from_text(text + "exposure_ladder = [-1, 0, 1, 2]\n")
    assert "exposure_ladder" in str(refused.value)
    assert "{stops}" in str(refused.value)
    assert len(recipe_from_text(text + "exposure_ladder = [1]\n").jobs) == 1


def test_a_profile_keeps_what_tells_a_ladder_apart() -> None:
    recipe = recipe_from_text(
        HEAD + '[profile]\ntitle_length = 8\ntitle_cut = "start"\nname_case = "upper"\n'
        'ladder = "{name}{sign}{stops}"\ntitle = "{set} {lut} {exposure}"\n'
        '[[lut]]\nname = "view"\nexposure_ladder = [-1, 0.5]\n'
    )
    assert [job.name for job in recipe.jobs] == ["VIEWM1", "VIEWP0_5"]
    assert [job.title for job in recipe.jobs] == ["view -1", "iew +0.5"]


@pytest.mark.parametrize("size", [9, 17, 33])
def test_bands_narrower_than_nodes_are_refused(size: int) -> None:
    """Half a stop of ACEScct is 0.5 / 17.52 of the signal (S-2016-001): 37 nodes along an edge."""
    with pytest.raises(DefinitionError, match=r"size 37 or more"):
        one(f'[[lut]]\nname = "f"\nkind = "false_colour"\nsize = {size}\n')
    assert one('[[lut]]\nname = "f"\nkind = "false_colour"\n').size == 65  # type: ignore[attr-defined]


@pytest.mark.parametrize("pattern", ["{lut", "{day}", "lut}"])
def test_a_pattern_has_known_fields(pattern: str) -> None:
    with pytest.raises(DefinitionError, match="is not a pattern"):
        recipe_from_text(HEAD + f'[profile]\ntitle = "{pattern}"\n[[lut]]\nname = "a"\n')


def test_the_same_recipe_gives_the_same_bytes(tmp_path: Path) -> None:
    text = (
        HEAD
        + '[[lut]]\nname = "a"\nsize = 9\n[[lut]]\nname = "f/b"\nkind = "false_colour"\nsize = 37\n'
    )
    file = tmp_path / "day.toml"
    file.write_text(text)
    for folder in ("one", "two"):
        build_recipe(read_recipe(file), tmp_path / folder)
    written = sorted(path for path in (tmp_path / "one").rglob("*") if path.is_file())
    assert [path.name for path in written] == ["a.cube", "b.cube", "b_legend.png"]
    for path in written:
        twin = tmp_path / "two" / path.relative_to(tmp_path / "one")
        assert path.read_bytes() == twin.read_bytes()
    lut = open_lut(tmp_path / "one" / "a.cube")
    digest = read_recipe(file).digest
    assert f"recipe sha256: {digest}" in lut.comments
    # Layout does not count, content does.
    file.write_text("# a comment\n" + text)
    assert read_recipe(file).digest == digest
    file.write_text(text.replace("size = 9", "size = 8"))
    assert read_recipe(file).digest != digest


def test_nothing_is_replaced_or_written_outside(tmp_path: Path) -> None:
    file = tmp_path / "day.toml"
    file.write_text(HEAD + '[[lut]]\nname = "a"\nsize = 3\n[[lut]]\nname = "b"\nsize = 3\n')
    out = tmp_path / "out"
    out.mkdir()
    (out / "b.cube").write_text("mine")
    with pytest.raises(LutbenchError, match="exists and was not changed"):
        build_recipe(read_recipe(file), out)
    assert (out / "b.cube").read_text() == "mine"
    assert not (out / "a.cube").exists()
    build_recipe(read_recipe(file), out, force=True)
    assert open_lut(out / "b.cube").size == 3
    for name in ("../a", "/tmp/a", "b/../../a"):
        file.write_text(HEAD + f'[[lut]]\nname = "{name}"\nsize = 3\n')
        with pytest.raises(LutbenchError, match="is outside the output folder"):
            build_recipe(read_recipe(file), tmp_path / "more")


def test_false_colour_paints_its_bands() -> None:
    """Nodes by an independent count: decode and weights by colour-science."""
    import colour

    job = one('[[lut]]\nname = "f"\nkind = "false_colour"\nsize = 65\n')
    task = job.task  # type: ignore[attr-defined]
    assert isinstance(task, FalseColour)
    lut = make(job)  # type: ignore[arg-type]
    light = colour.log_decoding(lut.nodes, function="ACEScct")
    weights = colour.RGB_COLOURSPACES["ACEScg"].matrix_RGB_to_XYZ[1]
    stops = np.log2(np.maximum(light @ weights, 1e-30) / 0.18)
    seen = set()
    # Where any channel is at the highest code it clips, whatever luminance says.
    clips = (lut.nodes == 1).any(axis=-1)
    assert (lut.table[clips] == next(b for b in task.bands if b.clips).signal).all()
    for band in task.bands:
        inside = ~clips & (stops > band.low + 1e-6) & (stops < band.high - 1e-6)
        if inside.any():
            seen.add(band.colour)
            assert lut.table[inside] == pytest.approx(
                np.broadcast_to(band.signal, (inside.sum(), 3)), abs=1e-12
            )
    assert len(seen) >= 4
    outside = ~clips
    for band in task.bands:
        outside &= (stops < band.low - 1e-6) | (stops > band.high + 1e-6)
    assert np.ptp(lut.table[outside], axis=-1) == pytest.approx(0, abs=1e-12)


def test_the_accuracy_report_by_brute_force() -> None:
    """The report's figures, found again patch by patch with colour-science."""
    import colour

    job = quick_job(
        Settings(
            source_curve="ACEScct",
            target_curve="sRGB",
            source_gamut="ACEScg",
            target_gamut="BT.709",
            size=17,
        )
    )
    lut = make(job)
    report = measured(job, lut)
    assert report.accuracy is not None
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    matrix = colour.matrix_RGB_to_RGB(
        colour.RGB_COLOURSPACES["ACEScg"],
        colour.RGB_COLOURSPACES["ITU-R BT.709"],
        chromatic_adaptation_transform="Bradford",
    )
    light = colour.XYZ_to_RGB(xyz, "ACEScg", chart.illuminant, "Bradford")
    worst: list[float] = []
    for stops in range(-3, 4):
        signal = np.clip(colour.log_encoding(light * 2.0**stops, function="ACEScct"), 0, 1)
        linear = colour.algebra.vecmul(matrix, colour.log_decoding(signal, function="ACEScct"))
        exact = np.clip(colour.models.eotf_inverse_sRGB(linear), 0, 1)
        through = lut.apply(signal)
        labs = [
            colour.XYZ_to_Lab(
                colour.algebra.vecmul(
                    colour.normalised_primary_matrix(
                        colour.RGB_COLOURSPACES["ITU-R BT.709"].primaries, np.array([0.3127, 0.329])
                    ),
                    colour.models.eotf_sRGB(each),
                ),
                np.array([0.3127, 0.3290]),
            )
            for each in (exact, through)
        ]
        worst += colour.delta_E(*labs, method="CIE 2000").tolist()
    spread = report.accuracy.sets["chart"]["delta_e_2000"]
    # The chart's own patches are rounded to 8 decimals in both.
    assert spread.mean == pytest.approx(np.mean(worst), rel=2e-3)
    assert spread.max == pytest.approx(np.max(worst), rel=2e-3)


def test_a_build_from_standards_does_not_load_colour_science(tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "from lutbench.cli.main import main\n"
        "try:\n"
        "    main(['build', '--source-curve', 'ACEScct', '--source-gamut', 'ACEScg',\n"
        "          '--target-curve', 'BT.1886', '--target-gamut', 'BT.709', '-o', 'a.cube'])\n"
        "except SystemExit as end:\n"
        "    assert end.code == 0, end.code\n"
        "assert 'colour' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], cwd=tmp_path, check=True, timeout=120)
    assert (tmp_path / "a.cube").is_file()


def test_a_rung_of_a_ladder_is_the_lut_of_that_exposure() -> None:
    """The shoulder is fitted to the exposure in both: the same stops give the same LUT."""
    text = '[[lut]]\nname = "a"\nsize = 9\ntone = { method = "shoulder" }\n'
    ladder = one(text + "exposure = 0.5\nexposure_ladder = [1.0]\n")
    plain = one(text + "exposure = 1.5\n")
    assert ladder.task == plain.task  # type: ignore[attr-defined]
    assert np.array_equal(make(ladder).table, make(plain).table)  # type: ignore[arg-type]


LINEAR = """
[source]
curve = "linear"
gamut = "BT.709"
[target]
curve = "BT.1886"
gamut = "BT.709"
[tone]
method = "shoulder"
[[lut]]
name = "linear"
size = 65
shaper = { curve = "ACEScct", low = 0.0, high = 16.0 }
"""


@pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning:colour")
def test_a_shaper_from_linear_light_is_measured_and_rolled_off_over_its_whole_range() -> None:
    job = recipe_from_text(LINEAR).jobs[0]
    assert isinstance(job.task, Conversion)
    # White is where the shaper's range ends, not where a signal of 1.0 would.
    assert job.task.tone.white == pytest.approx(np.log2(16 / 0.18))  # type: ignore[union-attr]
    lut = make(job)
    exact = job.transform()
    grey = np.repeat(0.18 * 2.0 ** np.linspace(-10, 6, 400)[:, None], 3, axis=1)
    error = 1023 * np.abs(lut.apply(grey) - exact.apply(grey)).max(axis=1)
    assert np.median(error) < 0.5
    made = measured(job, lut)
    assert made.accuracy is not None
    # The report looks at the same light, and not at the sixteenth of it under 1.0.
    worst = made.accuracy.sets["neutral"]["code_10bit"].max
    assert worst >= 0.5 * error.max()
    # The rows themselves, behind which the lattice lies: ACEScct by colour-science.
    import colour

    shaped = lut.shaper.apply(grey)[:, 1]  # type: ignore[attr-defined]
    ends = colour.log_encoding(np.array([0.0, 16.0]), function="ACEScct")
    expected = (colour.log_encoding(grey[:, 1], function="ACEScct") - ends[0]) / np.ptp(ends)
    assert 1023 * np.abs(shaped - expected).max() < 0.5


CORRECTIONS = """<?xml version="1.0" encoding="UTF-8"?>
<ColorCorrectionCollection xmlns="urn:ASC:CDL:v1.2">
  <ColorCorrection id="one"><SOPNode><Slope>1.1 1.0 0.9</Slope><Offset>0 0 0.02</Offset>
  <Power>1.0 1.1 1.0</Power></SOPNode><SatNode><Saturation>0.8</Saturation></SatNode>
  </ColorCorrection></ColorCorrectionCollection>
"""


@pytest.mark.parametrize("place", ["before", "light", "after"])
def test_a_look_may_be_a_file(tmp_path: Path, place: str) -> None:
    """A CDL, a CLF and a LUT beside the recipe do what their steps do at that place."""
    cdl = lutbench.Cdl((1.1, 1.0, 0.9), (0, 0, 0.02), (1.0, 1.1, 1.0), 0.8, clamp=place != "light")
    lut = lutbench.sample(lutbench.Cdl(slope=(0.9, 1.0, 1.1)), 17)
    (tmp_path / "looks.ccc").write_text(CORRECTIONS)
    lut.save(tmp_path / "look.cube")
    lut.save(tmp_path / "look.clf")
    end = 'source = { curve = "ACEScct", gamut = "ACEScg" }\n'
    end += 'target = { curve = "BT.1886", gamut = "BT.709" }\n'
    colours = np.random.default_rng(0).random((40, 3))
    digests = set()
    for name, look in (("looks.ccc#one", cdl), ("look.cube", lut), ("look.clf", lut)):
        text = f'{end}[look]\nplace = "{place}"\nfile = "{name}"\n[[lut]]\nname = "a"\nsize = 9\n'
        (tmp_path / "day.toml").write_text(text)
        recipe = read_recipe(tmp_path / "day.toml")
        digests.add(recipe.digest)
        task = recipe.jobs[0].task
        assert isinstance(task, Conversion)
        wanted = Conversion(task.source, task.target, grade=(look,), grade_place=place)  # type: ignore[arg-type]
        np.testing.assert_allclose(
            task.pipeline().apply(colours), wanted.pipeline().apply(colours), atol=1e-6
        )
        made = build_recipe(recipe, tmp_path / f"made_{len(digests)}")
        nodes = made[0].lut.table.reshape(-1, 3)
        exact = wanted.pipeline().apply(Lut3D.identity(9).table.reshape(-1, 3))
        np.testing.assert_allclose(nodes, exact, atol=1e-6)
    assert len(digests) == 3
    # Another grade in the file is another recipe.
    before = read_recipe(tmp_path / "day.toml").digest
    lutbench.sample(lutbench.Cdl(slope=(0.8, 1.0, 1.1)), 17).save(tmp_path / "look.clf", force=True)
    assert read_recipe(tmp_path / "day.toml").digest != before


def test_a_look_file_that_will_not_do(tmp_path: Path) -> None:
    (tmp_path / "day").mkdir()
    end = 'source = { curve = "ACEScct", gamut = "ACEScg" }\n'
    end += 'target = { curve = "BT.1886", gamut = "BT.709" }\n'
    (tmp_path / "outside.cube").write_text("LUT_3D_SIZE 2\n")
    (tmp_path / "day" / "broken.cube").write_text("LUT_3D_SIZE 2\n")
    (tmp_path / "day" / "looks.ccc").write_text(CORRECTIONS)
    for name, words in (
        ("gone.cube", "gone.cube"),
        ("../outside.cube", "outside the folder of the recipe"),
        ("broken.cube", "broken.cube"),
        ("looks.ccc#two", "two"),
    ):
        (tmp_path / "day" / "day.toml").write_text(
            f'{end}[look]\nfile = "{name}"\n[[lut]]\nname = "a"\n'
        )
        with pytest.raises(LutbenchError, match=words):
            read_recipe(tmp_path / "day" / "day.toml")
