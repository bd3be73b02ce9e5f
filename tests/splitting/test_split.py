"""Split: the parts are what they say, and chained again they give the LUT back."""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import pytest
from identification_cases import Case, build, sigmoid
from own_recipe_forms import given_back

import lutbench
from lutbench.cli.main import main
from lutbench.errors import LutbenchError
from lutbench.formats.cdl import read_corrections
from lutbench.formats.cube_write import write_cube
from lutbench.formats.registry import open_lut
from lutbench.model.catalogue import Catalogue
from lutbench.model.grade import Cdl
from lutbench.recipes.make import make
from lutbench.recipes.schema import read_recipe, recipe_from_text
from lutbench.splitting.recipe import RECIPE, TONE, recipe_files, recipe_text
from lutbench.splitting.split import Split, split
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, lattice

NAMES = {"source_gamut": "ACEScg", "target_gamut": "BT.709"}
CDL = Cdl((1.04, 1.0, 0.97), (0.01, 0.0, -0.005), (0.95, 1.0, 1.05), 0.85)
SIX_DECIMALS = 5e-7


def made(kind: str = "combined", target: str = "BT.1886", **more: object) -> Lut3D:
    lut = lutbench.build("ACEScct", target, kind=kind, **(NAMES | more))  # type: ignore[arg-type]
    assert isinstance(lut, Lut3D)
    return lut


@pytest.fixture(scope="module")
def combined() -> Lut3D:
    return made()


@pytest.fixture(scope="module")
def parts(combined: Lut3D) -> Split:
    return split(combined)


@pytest.fixture(scope="module")
def graded() -> Lut3D:
    """Under a CDL, to sRGB: to a pure power an exposure would be the same as a slope."""
    return Lut3D(np.round(CDL.apply(made(target="sRGB").table), 6))


@pytest.fixture(scope="module")
def graded_parts(graded: Lut3D) -> Split:
    return split(graded)


@pytest.fixture(scope="module")
def toned() -> Lut3D:
    """A LUT with an S curve that has no name, by colour-science's own conversions."""
    return Lut3D(
        build(Case("combined", "ACEScct", "ACEScg", "sRGB", "ITU-R BT.709", tone="sigmoid"))
    )


@pytest.fixture(scope="module")
def toned_parts(toned: Lut3D) -> Split:
    return split(toned)


def test_the_parts_of_a_combined_lut(parts: Split) -> None:
    signal = np.linspace(0, 1, 200)
    grey = np.repeat(signal[:, None], 3, axis=1)
    # The gamut part leaves greys alone; the curve part is colour-science's own tone.
    assert parts.gamut.apply(grey) == pytest.approx(grey, abs=1e-9)
    tone = np.clip(
        colour.models.eotf_inverse_BT1886(
            np.maximum(colour.log_decoding(signal, function="ACEScct"), 0)
        ),
        0,
        1,
    )
    # 4096 rows joined by straight lines, at the steepest part near black
    assert parts.curve_1d.apply(grey)[:, 0] == pytest.approx(tone, abs=2e-3)
    assert not parts.identification.look.present
    assert parts.look.apply(lattice(9)) == pytest.approx(lattice(9), abs=1e-9)
    assert parts.cdl is None


def test_chained_again_on_the_nodes_and_between(combined: Lut3D, parts: Split) -> None:
    # On the nodes nothing is interpolated but the curve, whose rows are within a 20th of a code.
    assert parts.error["nodes"]["code_10bit"].p95 < 0.1
    again = np.asarray(parts.chained().apply(combined.nodes))
    assert np.percentile(np.abs(again - combined.table), 95) * 1023 < 0.1
    # Between them the chain interpolates before the curve, the LUT after it: never more
    # apart, on the whole, than the LUT is from what it stands for.
    for name in ("chart", "neutral", "random"):
        again_off, own = (each[name]["code_10bit"].mean for each in (parts.error, parts.own_error))
        # the rows of the curve part add a 20th of a code at most
        assert again_off <= own + 0.05


def test_a_part_alone_is_the_lut_of_that_kind(combined: Lut3D, parts: Split) -> None:
    for kept, kind in (("gamut", "gamut"), ("curve", "curve")):
        alone = parts.kept({kept})  # type: ignore[arg-type]
        assert alone.table == pytest.approx(made(kind).table, abs=1e-6), kind
    assert parts.without_look().table == pytest.approx(combined.table, abs=1e-6)


@pytest.mark.slow
def test_a_cdl_comes_out_and_can_be_taken_away(graded_parts: Split) -> None:
    cdl = graded_parts.cdl
    assert cdl is not None
    # A code of 10 bits is 1e-3: no parameter may be off by as much.
    for key in ("slope", "offset", "power"):
        assert getattr(cdl, key) == pytest.approx(getattr(CDL, key), abs=1e-3), key
    assert cdl.saturation == pytest.approx(CDL.saturation, abs=1e-3)
    plain = graded_parts.without_look()
    assert np.percentile(np.abs(plain.table - made(target="sRGB").table), 95) * 1023 < 1.0
    assert graded_parts.error["nodes"]["code_10bit"].p95 < 1.0


@pytest.mark.slow
def test_curve_and_look_without_the_gamut(graded_parts: Split) -> None:
    wanted = CDL.apply(made("curve", "sRGB").table)
    off = np.abs(graded_parts.kept({"curve", "look"}).table - wanted) * 1023
    # The look is a lattice, straight between its nodes: nowhere a code and a half on average.
    assert np.median(off) < 1.5


def test_which_parts_can_be_kept(parts: Split) -> None:
    with pytest.raises(LutbenchError, match="no part is kept"):
        parts.kept(())
    with pytest.raises(LutbenchError, match="nothing is taken away"):
        parts.kept({"curve", "gamut", "look"})
    with pytest.raises(LutbenchError, match="no part is named 'tint'"):
        parts.kept({"tint"})  # type: ignore[arg-type]
    with pytest.raises(LutbenchError, match="does not fit the gamut alone"):
        parts.kept({"gamut", "look"})
    assert parts.kept({"look"}) is parts.look


def test_a_tone_curve_without_a_name(toned: Lut3D, toned_parts: Split, tmp_path: Path) -> None:
    signal = np.linspace(0.2, 0.75, 60)
    light = colour.log_decoding(signal, function="ACEScct")
    wanted = colour.models.eotf_inverse_sRGB(np.clip(sigmoid(light), 0, 1))
    grey = np.repeat(signal[:, None], 3, axis=1)
    assert toned_parts.curve_1d.apply(grey)[:, 1] == pytest.approx(wanted, abs=2 / 1023)
    texts = recipe_files(toned_parts, "unknown", Catalogue())
    assert TONE in texts
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (job,) = read_recipe(tmp_path / RECIPE).jobs
    again = make(job)
    assert again.table == pytest.approx(toned_parts.without_look().table, abs=1e-4)
    assert np.percentile(np.abs(again.table - toned.table), 95) * 1023 < 3


@pytest.mark.slow
def test_the_recipe_builds_the_nearest_clean_lut(
    combined: Lut3D, parts: Split, graded: Lut3D, graded_parts: Split
) -> None:
    again = make(recipe_from_text(recipe_text(parts, "clean")).jobs[0])
    assert again.table == pytest.approx(combined.table, abs=2e-6)
    clean, whole = recipe_from_text(recipe_text(graded_parts, "m")).jobs
    assert (clean.name, whole.name) == ("m_clean", "m_with_look")
    # A recipe clips after the look, so the two differ where the conversion alone clips.
    inside = made(target="sRGB").table
    inside = ((inside > 0) & (inside < 1)).all(axis=-1)
    off = np.abs(make(whole).table - graded.table)[inside]
    assert np.percentile(off, 95) * 1023 < 1.0


@pytest.mark.parametrize("kind", ["curve", "gamut"])
def test_a_kind_alone(kind: str) -> None:
    parts = split(made(kind))
    nodes = lattice(9)
    if kind == "curve":
        assert parts.gamut.apply(nodes) == pytest.approx(nodes, abs=1e-9)
    else:
        assert parts.curve_1d.apply(nodes) == pytest.approx(nodes, abs=1e-6)
    assert parts.error["nodes"]["code_10bit"].p95 < 0.1


RANGES = ("full", "legal")


@pytest.mark.parametrize(("source", "target"), [(s, t) for s in RANGES for t in RANGES])
def test_ranges_and_exposure(source: str, target: str) -> None:
    lut = made(source_range=source, target_range=target, exposure=0.5)
    parts = split(lut)
    task = parts.conversion
    assert (task.source.range, task.target.range) == (source, target)
    assert task.exposure == pytest.approx(0.5, abs=1e-3)
    assert parts.error["nodes"]["code_10bit"].p95 < 0.2
    gamut = made("gamut", source_range=source, target_range=source)
    assert parts.kept({"gamut"}).table == pytest.approx(gamut.table, abs=1e-6)


@pytest.mark.parametrize("rendering", ["BT.2100 PQ", "ST 2084", "BT.2100 HLG"])
def test_hdr_targets_keep_their_rendering(rendering: str) -> None:
    lut = lutbench.build("ACEScct", rendering, source_gamut="ACEScg", target_gamut="BT.2020")
    parts = split(lut)
    # PQ is one signal whichever light it is named by.
    told = parts.conversion.target.curve.name
    assert told == ("BT.2100 PQ" if rendering == "ST 2084" else rendering)
    assert parts.measure == "delta_e_itp"
    assert parts.error["nodes"]["code_10bit"].p95 < 0.2


def test_an_identity() -> None:
    parts = split(Lut3D.identity(17))
    nodes = lattice(9)
    assert np.asarray(parts.chained().apply(nodes)) == pytest.approx(nodes, abs=1e-9)
    assert parts.identification.kind == "identity"
    again = make(recipe_from_text(recipe_text(parts, "x")).jobs[0])
    assert again.table == pytest.approx(lattice(17), abs=SIX_DECIMALS * 2)


def test_a_1d_lut_stays_one() -> None:
    rows = np.linspace(0, 1, 1024)
    table = colour.models.eotf_inverse_sRGB(
        np.clip(colour.log_decoding(rows, function="ACEScct"), 0, 1)
    )
    lut = Lut1D(np.repeat(np.clip(table, 0, 1)[:, None], 3, axis=1))
    parts = split(lut)
    assert parts.error["neutral"]["code_10bit"].p95 < 0.5
    alone = parts.kept({"curve"})
    assert isinstance(alone, Lut1D)
    assert alone.size == 1024
    assert isinstance(parts.kept({"gamut"}), Lut3D)
    job = recipe_from_text(recipe_text(parts, "x")).jobs[0]
    assert (job.dimensions, job.size) == (1, 1024)


def test_a_shaper_and_a_domain_beyond_one() -> None:
    inputs = np.linspace(0, 8, 4096)
    with np.errstate(divide="ignore"):  # colour-science works out the logarithm of 0 too
        shaped = colour.log_encoding(inputs, function="ACEScct")
    shaped = (shaped - shaped[0]) / (shaped[-1] - shaped[0])
    shaper = Lut1D(np.repeat(shaped[:, None], 3, axis=1), np.array([[0.0] * 3, [8.0] * 3]))
    axis = np.interp(np.linspace(0, 1, 33), shaped, inputs)
    light = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    matrix = colour.matrix_RGB_to_RGB(
        colour.RGB_COLOURSPACES["ACEScg"], colour.RGB_COLOURSPACES["ITU-R BT.709"], "Bradford"
    )
    table = colour.models.eotf_inverse_sRGB(np.clip(light @ matrix.T, 0, 1))
    parts = split(ShaperLut3D(shaper, Lut3D(table)))
    kept = parts.without_look()
    assert isinstance(kept, ShaperLut3D)
    assert np.percentile(np.abs(kept.table - table), 95) * 1023 < 1.0
    assert "low = 0.0, high = 8.0" in recipe_text(parts, "x")


def test_what_no_conversion_explains_is_not_taken_apart() -> None:
    nodes = lattice(17)
    with pytest.raises(LutbenchError, match="no known conversion explains"):
        split(Lut3D(0.5 + 0.4 * np.sin(9 * nodes[..., ::-1] + nodes)))


@pytest.fixture
def run(combined: Lut3D, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> object:
    monkeypatch.chdir(tmp_path)
    write_cube(combined, "m.cube")

    def call(*args: str) -> int:
        with pytest.raises(SystemExit) as end:
            main(["split", *args])
        return int(end.value.code or 0)

    return call


def test_the_command(combined: Lut3D, run: object, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("m.cube", "-o", "parts") == 0  # type: ignore[operator]
    told = capsys.readouterr().out
    assert "No look" in told
    assert "on the nodes" in told
    assert sorted(path.name for path in Path("parts").iterdir()) == [
        "clean.toml",
        "curve.cube",
        "curve_1d.cube",
        "gamut.cube",
        "look.cube",
    ]
    chain = [open_lut(f"parts/{name}.cube") for name in ("gamut", "curve_1d", "look")]
    again = chain[2].apply(chain[1].apply(chain[0].apply(combined.nodes)))
    assert np.percentile(np.abs(again - combined.table), 95) * 1023 < 0.2


def test_one_part_into_a_file(combined: Lut3D, run: object) -> None:
    assert run("m.cube", "-o", "g.cube", "--keep", "gamut") == 0  # type: ignore[operator]
    assert open_lut("g.cube").table == pytest.approx(made("gamut").table, abs=2e-6)  # type: ignore[attr-defined]
    assert run("m.cube", "-o", "c.cube", "--drop", "look", "--json") == 0  # type: ignore[operator]
    assert open_lut("c.cube").table == pytest.approx(combined.table, abs=2e-6)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "args",
    [
        ("-o", "x.cube", "--keep", "curve", "--drop", "look"),
        ("-o", "x.txt", "--keep", "curve"),
        ("-o", "x.cube", "--drop", "curve"),
        ("-o", "x.cube", "--keep", "curve", "--keep", "gamut", "--keep", "look"),
        ("-o", "m.cube"),
        ("-o", "m.cube", "--keep", "gamut"),
        ("-o", " "),
    ],
)
def test_wrong_arguments_write_nothing(run: object, args: tuple[str, ...]) -> None:
    before = Path("m.cube").read_bytes()
    assert run("m.cube", *args) == 2  # type: ignore[operator]
    assert [path.name for path in Path().iterdir()] == ["m.cube"]
    assert Path("m.cube").read_bytes() == before


def test_a_file_of_an_earlier_split_is_told(
    combined: Lut3D, run: object, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("parts").mkdir()
    Path("parts/look.cdl").write_text("of another LUT")
    assert run("m.cube", "-o", "parts") == 2  # type: ignore[operator]
    assert "look.cdl" in capsys.readouterr().err
    assert run("m.cube", "-o", "parts", "--force") == 0  # type: ignore[operator]
    assert "look.cdl is from an earlier split" in capsys.readouterr().out
    assert Path("parts/look.cdl").read_text() == "of another LUT"


def test_all_files_or_none(run: object) -> None:
    Path("parts").mkdir()
    Path("parts/look.cube").write_text("mine")
    assert run("m.cube", "-o", "parts") == 2  # type: ignore[operator]
    assert [path.name for path in Path("parts").iterdir()] == ["look.cube"]
    assert run("m.cube", "-o", "parts", "--force") == 0  # type: ignore[operator]
    assert Path("parts/look.cube").read_text() != "mine"


@pytest.mark.slow
def test_a_look_that_is_a_cdl_is_written_as_one(
    graded: Lut3D, run: object, capsys: pytest.CaptureFixture[str]
) -> None:
    write_cube(graded, "g.cube")
    assert run("g.cube", "-o", "parts") == 0  # type: ignore[operator]
    assert "The look is a CDL" in capsys.readouterr().out
    (read,) = read_corrections("parts/look.cdl")
    assert read.cdl.saturation == pytest.approx(CDL.saturation, abs=1e-3)


def test_a_sigmoid_comes_back_with_its_inset_and_outset() -> None:
    back = given_back("sigmoid with inset and outset", 0, Catalogue())
    assert not back.fault
    assert back.whole, back
