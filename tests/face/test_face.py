"""The face: what stands at the top, what each function takes, and what each result can do."""

from __future__ import annotations

import dataclasses
import inspect as python
import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import matplotlib.pyplot as plt
import numpy as np
import pytest

import lutbench as lb
from lutbench.results import Result

WORDS = "ACEScct, ACEScg to BT.1886, BT.709"
FUNCTIONS = [
    name for name in lb.__all__ if not name.startswith("_") and python.isfunction(getattr(lb, name))
]


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("face") / "day.cube"
    lb.build(WORDS, size=17).save(path)
    return path


def test_dir_is_the_table_of_contents() -> None:
    found = subprocess.run(
        [sys.executable, "-c", "import lutbench; print(*dir(lutbench))"],
        capture_output=True,
        text=True,
    ).stdout.split()
    assert [name for name in found if not name.startswith("__")] == sorted(
        name for name in lb.__all__ if not name.startswith("__")
    )
    for name in lb.__all__:
        assert getattr(lb, name) is not None


@pytest.mark.parametrize("name", FUNCTIONS)
def test_public_functions_say_what_they_take_give_and_raise(name: str) -> None:
    function = getattr(lb, name)
    text = python.getdoc(function) or ""
    for section in ("Parameters", "Returns", "Raises"):
        if section == "Returns" and python.signature(function).return_annotation == "None":
            continue
        assert f"\n{section}\n{'-' * len(section)}\n" in text, section
    told = text.split("Parameters\n")[1].split("\nRaises\n")[0]
    for parameter in python.signature(function).parameters.values():
        if parameter.kind is not parameter.VAR_KEYWORD:
            assert parameter.name in told, parameter.name


def damaged(lut: Any) -> lb.Lut3D:
    table = np.array(lut.table)
    table[3, 9, 5, 1] += 0.04  # some 40 10-bit codes; repair moves a node by at most 64
    return lb.Lut3D(table)


def suite(day: Path) -> Path:
    path = day.with_name("day.lutbench.toml")
    path.write_text(
        f'[[check]]\nname = "a"\nkind = "reference"\nlut = "{day.name}"\nexact = "{WORDS}"\n'
    )
    return path


def pair(lut: Any) -> tuple[Any, Any]:
    from skimage import data

    still = data.astronaut()[100:228, 100:228] / 255 * 0.7
    return still, lut.apply(still)


def returned(lut: Any) -> Any:
    from lutbench.media.chart.layout import draw_chart
    from lutbench.media.still.still import apply_to_still

    return apply_to_still(lut, draw_chart(9, 640, 480)).signal()


def chart() -> tuple[Any, ...]:
    """The measured 24-patch chart as two cameras recorded it, one of them a stop darker."""
    from lutbench.measure.samples import chart_light

    catalogue = lb.open_catalogue(user=False)
    ends = lb.Encoding(catalogue.curve("ACEScct"), catalogue.gamut("ACEScg"))
    light = chart_light(ends.gamut)
    return ends.curve.encode(light / 2), ends.curve.encode(light), ends, ends


def results(day: Path) -> dict[str, Any]:
    lut = lb.open_lut(day)
    return {
        "inspect": lb.inspect(day, source_curve="ACEScct"),
        "identify": lb.identify(lut),
        "split": lb.split(lut),
        "compare": lb.compare(day, WORDS, colours=["chart"]),
        "levels": lb.levels("ACEScct", day),
        "chain": lb.chain(day, day),
        "invert": lb.invert(lb.sample("linear to gamma 2.4; kind=curve", 9)),
        "resample": lb.resample(day, 9, "linear"),
        "blend": lb.blend(day, lut, 0.5),
        "strength": lb.strength(day, 0.5, base=WORDS),
        "neutral": lb.neutral(day, size=64),
        "change_range": lb.change_range(day, target_range="legal"),
        "repair": lb.repair(damaged(lut)),
        "verify": lb.verify(suite(day)),
        "learn": lb.learn(*pair(lut), size=5),
        "capture": lb.capture(returned(lut), size=5),
        "match": lb.match(*chart()),
    }


@pytest.fixture(scope="module")
def given(day: Path) -> dict[str, Any]:
    return results(day)


RESULTS = (
    *("inspect", "identify", "split", "compare", "levels", "chain", "invert", "resample", "blend"),
    *("strength", "neutral", "change_range"),
    *("repair", "verify", "learn", "capture", "match"),
)


def every_result(kind: type) -> list[type]:
    return [each for sub in kind.__subclasses__() for each in (sub, *every_result(sub))]


def test_every_function_that_finds_something_is_here(given: dict[str, Any]) -> None:
    """By what they are annotated to return, now that all are imported: none goes untested."""
    kinds = {each.__name__ for each in every_result(Result)}
    finds = {
        name for name in FUNCTIONS if python.signature(getattr(lb, name)).return_annotation in kinds
    }
    assert finds == set(RESULTS) == set(given)


@pytest.mark.parametrize("name", RESULTS)
def test_results(given: dict[str, Any], name: str) -> None:
    found = given[name]
    assert isinstance(found, Result)
    assert dataclasses.is_dataclass(found)
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.anything = 1
    assert len(repr(found)) < 200
    assert "\n" not in repr(found)
    assert repr(found).startswith(type(found).__name__)
    assert found._repr_html_().startswith("<table>")
    json.dumps(found.to_dict())
    figure, ax = plt.subplots()
    try:
        if name == "verify":
            with pytest.raises(lb.LutbenchError, match="has no plot"):
                found.plot(ax)
        else:
            assert found.plot(ax) is ax
            assert ax.lines or ax.patches
            assert ax.get_ylabel()
            plt.sca(ax)
            assert found.plot() is ax  # the current axes, as pyplot's own functions
        with pytest.raises(lb.LutbenchError):
            found.plot("axes")
    finally:
        plt.close(figure)


def test_a_lut_is_drawn_on_the_current_axes_where_none_are_named(day: Path) -> None:
    _, current = plt.subplots()  # whatever else this process has drawn before
    try:
        ax = lb.open_lut(day).plot()
        assert ax is current
        assert len(ax.lines) == 1  # neutral all along
    finally:
        plt.close("all")


def test_words_paths_and_luts_are_taken_alike(day: Path) -> None:
    lut = lb.open_lut(day)
    for form in (lut, day, str(day), lb.chain(day).lut):
        assert lb.inspect(form).kind == "combined"
        np.testing.assert_array_equal(lb.apply(form, [0.4, 0.4, 0.4]), lut.apply([0.4] * 3))
    exact = lb.apply(WORDS, [0.4, 0.5, 0.6])
    np.testing.assert_allclose(exact, lut.apply([0.4, 0.5, 0.6]), atol=0.01)
    assert lb.build(WORDS, size=17) == lb.sample(WORDS, 17)
    source = lb.Encoding.named("ACEScct", "ACEScg")
    conversion = lb.Conversion(source, lb.Encoding.named("BT.1886", "BT.709"))
    assert lb.sample(conversion, 17) == lb.build(WORDS, size=17)
    said, named = (lb.compare(form, lut, colours=["chart"]) for form in (conversion, WORDS))
    assert said.overall == named.overall
    assert said.source == named.source
    assert (
        lb.compare(WORDS, WORDS + "; exposure=1", colours=["neutral"]).source.curve.name
        == "ACEScct"
    )


def test_streams_and_bytes(day: Path) -> None:
    lut = lb.open_lut(day)
    with open(day, "rb") as stream:
        assert lb.open_lut(stream) == lut
    assert lb.open_lut(io.BytesIO(day.read_bytes())) == lut
    with pytest.raises(lb.LutbenchError, match="stream of text"), open(day) as text:
        lb.open_lut(text)  # type: ignore[arg-type]
    line = [sys.executable, "-m", "lutbench", "inspect", "-", "--json"]
    found = subprocess.run(line, input=day.read_bytes(), capture_output=True)
    assert json.loads(found.stdout)["kind"] == "combined"


@pytest.mark.parametrize("suffix", [".cube", ".clf"])
def test_save(tmp_path: Path, suffix: str) -> None:
    lut = lb.build(WORDS, size=9)
    path = tmp_path / f"a{suffix}"
    lut.save(path)
    np.testing.assert_allclose(np.asarray(lb.open_lut(path)), lut.table, atol=1e-6)
    with pytest.raises(lb.LutbenchError, match="exists"):
        lut.save(path)
    lut.save(path, force=True)
    for bad in (None, 3, tmp_path / "a.unknown", tmp_path / "no" / "a.cube"):
        with pytest.raises(lb.LutbenchError):
            lut.save(bad)


def test_inverse_of_a_lattice() -> None:
    lut = lb.sample("linear to gamma 2.4; kind=curve", 17)
    back = lut.inverse()
    colours = np.random.default_rng(0).uniform(0.2, 0.9, (100, 3))
    np.testing.assert_allclose(back.apply(lut.apply(colours)), colours, atol=0.01)
    with pytest.raises(lb.NotInvertibleError):
        lb.Lut3D(np.full((5, 5, 5, 3), 0.5)).inverse()


def test_names() -> None:
    assert {"ACEScct", "BT.1886"} <= set(lb.curves())
    assert {"BT.709", "P3-D65"} <= set(lb.gamuts())
    curve = lb.open_catalogue().curve("ACEScct")
    assert isinstance(curve, lb.Curve)
    assert isinstance(lb.Cdl().inverse(), lb.Transform)


def test_hald(tmp_path: Path) -> None:
    """A Hald image of level n is n³ square, red fastest, then green (as in common use)."""
    lb.write_hald(None, tmp_path / "identity.png", level=4)
    from PIL import Image

    pixels = np.asarray(Image.open(tmp_path / "identity.png"))
    assert pixels.shape[:2] == (64, 64)
    flat = pixels.reshape(-1, 3).astype(float) / np.iinfo(pixels.dtype).max
    index = np.arange(64 * 64)
    steps = np.stack([index % 16, index // 16 % 16, index // 256], axis=1) / 15
    np.testing.assert_allclose(flat, steps, atol=1 / 255)
    lut = lb.build(WORDS, size=16)
    lb.write_hald(lut, tmp_path / "lut.tif", level=4)
    np.testing.assert_allclose(lb.read_hald(tmp_path / "lut.tif").table, lut.table, atol=1e-5)
    with pytest.raises(lb.LutbenchError, match="level"):
        lb.write_hald(None, tmp_path / "b.png", level=1)
    with pytest.raises(lb.LutbenchError, match="JPEG"):
        lb.write_hald(None, tmp_path / "b.jpg")
    lb.write_hald(None, tmp_path / "c.png", level=2)
    Image.open(tmp_path / "c.png").resize((9, 8)).save(tmp_path / "d.png")
    with pytest.raises(lb.LutbenchError, match="not a Hald image"):
        lb.read_hald(tmp_path / "d.png")


def test_cdls_of_an_edl(tmp_path: Path) -> None:
    (tmp_path / "a.edl").write_text(
        "TITLE: SALT ROAD\n\n"
        "001  A001C003 V     C        01:00:00:00 01:00:04:00 00:00:00:00 00:00:04:00\n"
        "* FROM CLIP NAME: DUNE\n"
        "* ASC_SOP (1.1 1.0 0.9)(0.01 -0.02 0)(1 1 1.2)\n* ASC_SAT 0.9\n"
        "002  A002C001 V     C        01:00:00:00 01:00:04:00 00:00:04:00 00:00:08:00\n"
        "003  A002C002 V     C        01:00:00:00 01:00:04:00 00:00:04:00 00:00:08:00\n"
        "* asc_sop: (1, 1, 1) (0 0 0) (1 1 1)\n"
    )
    found = lb.cdls_of_edl(tmp_path / "a.edl")
    assert found == {
        "001 A001C003": lb.Cdl((1.1, 1.0, 0.9), (0.01, -0.02, 0.0), (1.0, 1.0, 1.2), 0.9),
        "003 A002C002": lb.Cdl(),
    }
    for text, what in (
        ("001 A V C\n", "no CDL"),
        ("* ASC_SOP (1 1)(0 0 0)(1 1 1)\n", "a.edl:1"),
    ):
        (tmp_path / "a.edl").write_text(text)
        with pytest.raises(lb.LutbenchError, match=what):
            lb.cdls_of_edl(tmp_path / "a.edl")


def test_other_libraries() -> None:
    import colour
    from PIL import Image

    lut = lb.build(WORDS, size=9)
    theirs = lb.to_colour(lut)
    colours = np.random.default_rng(1).random((50, 3))
    trilinear = lut.apply(colours, "trilinear")
    np.testing.assert_allclose(theirs.apply(colours), trilinear, atol=1e-7)
    assert lb.from_colour(theirs) == lut
    curve = lb.build("ACEScct", "BT.1886", kind="curve", dimensions=1, size=64)
    assert lb.from_colour(lb.to_colour(curve)) == curve
    assert lb.from_colour(colour.LUT1D([0, 0.5, 1])).title == ""  # theirs is a number for each
    codes = np.random.default_rng(2).integers(0, 256, (8, 8, 3), np.uint8)
    words = f"{WORDS}; size=9"
    assert lb.from_colour(lb.to_colour(words)) == lut
    assert lb.to_pillow(words).table == lb.to_pillow(lut).table
    shown = np.asarray(Image.fromarray(codes).filter(lb.to_pillow(lut)))
    assert np.abs(shown.astype(int) - lut.apply(codes, "trilinear")).max() <= 1
    for function in (lb.to_colour, lb.from_colour, lb.to_pillow):
        with pytest.raises(lb.LutbenchError):
            function("a LUT")


def test_names_in_every_form_find_their_entry() -> None:
    assert lb.gamuts()["acescg"].name == lb.gamuts()["ACES AP1"].name
    assert lb.curves()["acesCCT"] == lb.curves()["ACEScct"]
    with pytest.raises(lb.LutbenchError, match="ACEScct"):
        lb.curves()["ACESct"]
    assert "acescct" not in lb.curves()  # as a dict, it holds each entry once


def test_encodings_in_words(day: Path) -> None:
    curve, gamut = lb.curves()["ACEScct"].curve, lb.gamuts()["ACEScg"].gamut
    assert curve is not None
    assert gamut is not None
    end = lb.Encoding(curve, gamut)
    told = lb.compare(day, day, source="ACEScct, ACEScg", colours=["chart"])
    assert told.overall == lb.compare(day, day, source=end, colours=["chart"]).overall
    source, target, first, second = chart()
    words = lb.match(source, target, "ACEScct, ACEScg", "acescct, acescg")
    assert words.to_dict() == lb.match(source, target, first, second).to_dict()
    with pytest.raises(lb.LutbenchError, match="source: 'ACEScct' is not an encoding"):
        lb.compare(day, day, source="ACEScct")
    assert lb.identify(day, source_curve=curve, source_gamut=gamut).best is not None


def test_settings_that_do_not_exist_are_named() -> None:
    for wrong in ({"nodes": 5}, {"sizes": 5}):
        with pytest.raises(lb.LutbenchError, match="no option is named"):
            lb.build(WORDS, **wrong)  # type: ignore[call-arg]
    with pytest.raises(lb.LutbenchError, match="is not a pipeline"):
        lb.build("ACEScct, ACEScg -> BT.1886, BT.709")


def test_identity() -> None:
    colours = np.random.default_rng(0).random((9, 3))
    for lut in (lb.Lut1D.identity(), lb.Lut1D.identity(2), lb.Lut3D.identity(2)):
        np.testing.assert_allclose(lut.apply(colours), colours, atol=1e-12)
    with pytest.raises(lb.LutbenchError):
        lb.Lut1D.identity(10**30)


PRINTED = """
import sys, numpy as np, lutbench as lb
before = np.get_printoptions()
lut = lb.build("ACEScct, ACEScg to BT.1886, BT.709", size=3)
lut.save(sys.argv[1])
lb.to_colour(lut)
lb.open_catalogue(user=False).curves()
assert "colour" in sys.modules
assert np.get_printoptions() == before, np.get_printoptions()
"""


def test_what_numpy_prints_stays_the_users(tmp_path: Path) -> None:
    """colour-science sets numpy's print options for the whole process when it is imported."""
    line = [sys.executable, "-c", PRINTED, str(tmp_path / "a.clf")]
    found = subprocess.run(line, capture_output=True, text=True)
    assert (found.returncode, found.stderr) == (0, "")


def test_others_packages_are_imported_in_one_place() -> None:
    import ast

    package = Path(lb.__file__).parent
    for path in package.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                assert not {each.name for each in node.names} & {"colour", "colour_clf_io"}, path


def test_an_encoding_is_made_from_names_or_entries() -> None:
    named = lb.Encoding.named("acescct", "acescg")
    assert (named.curve.name, named.gamut.name, named.range) == ("ACEScct", "ACES AP1", "full")
    assert lb.Encoding.named(lb.curves()["ACEScct"], lb.gamuts()["ACEScg"]) == named
    assert lb.Encoding.named("ACEScct", "ACEScg", range="legal").range == "legal"
    with pytest.raises(lb.LutbenchError, match="gamut: no gamut is named 'none'"):
        lb.Encoding.named("ACEScct", "none")
    with pytest.raises(lb.LutbenchError, match="is not a name of a curve"):
        lb.Encoding.named(lb.gamuts()["ACEScg"], "ACEScg")
    with pytest.raises(lb.LutbenchError, match="is not a catalogue"):
        lb.Encoding.named("ACEScct", "ACEScg", catalogue=3)  # type: ignore[arg-type]


def test_an_entry_stands_for_its_name() -> None:
    settings: dict[str, Any] = {"kind": "curve", "size": 5}
    entry: Any = lb.curves()["ACEScct"]
    assert lb.build(entry, "BT.1886", **settings) == lb.build("ACEScct", "BT.1886", **settings)


def test_levels_refuses_what_it_would_not_use() -> None:
    with pytest.raises(lb.LutbenchError, match="target_curve: no display is named"):
        lb.levels("ACEScct", WORDS, target_curve="BT.1886")


def test_a_curve_without_a_formula_is_refused() -> None:
    with pytest.raises(lb.LutbenchError, match=r"accepted: one of the catalogue"):
        lb.Curve("ACEScct")
