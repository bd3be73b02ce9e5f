"""Sets for a bench: from recipes, folders and files; packed within the error that is stated."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from base64 import b64decode
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from lutbench.bench.contents import BenchSet, Packer
from lutbench.bench.gather import KnownEnds, Order, gather
from lutbench.bench.packing import FINE_ENOUGH_CODES, packed, packed_lut
from lutbench.bench.stills import HEIGHT_PX, WIDTH_PX, grey_ramp, still_of_file, two_skins
from lutbench.cli.bench import command
from lutbench.errors import LutbenchError
from lutbench.exposure.levels import levels
from lutbench.formats.cube_write import write_cube
from lutbench.formats.registry import open_lut
from lutbench.inspection.inspection import inspect
from lutbench.measure.samples import chart24, chart_light
from lutbench.media.still.still import Still, read_still, write_still
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.gamuts import BT709
from lutbench.recipes.make import build
from lutbench.resources import demo_files
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D

KNOWN = open_catalogue(user=False)
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACES AP1"))
ENDS = {"source_gamut": "ACES AP1", "target_gamut": "BT.709"}
WEB = Path(__file__).parents[2] / "lutbench/bench"


def unpacked(data: dict[str, Any]) -> Any:
    raw = b64decode(data["data"])
    if data["packing"] == "f32":
        return np.frombuffer(raw, "<f4").astype(float)
    return data["low"] + np.frombuffer(raw, "<u2") / 65535 * (data["high"] - data["low"])


@pytest.mark.parametrize("high", [1.0, 1.2, 50.0, 65504.0])
def test_packing_is_within_the_error_it_states(high: float) -> None:
    values = np.random.default_rng(1).uniform(-0.05, high, 5000)
    found = packed(values)
    off = np.abs(unpacked(found.to_data()) - values).max()
    assert off <= found.error * (1 + 1e-6)
    assert (found.packing == "u16") == (1023 * (high + 0.05) / 65535 / 2 <= FINE_ENOUGH_CODES)


def test_a_level_table_is_packed_exactly() -> None:
    found = packed(np.full((2, 2), 0.3))
    np.testing.assert_array_equal(unpacked(found.to_data()), 0.3)


def test_all_kinds_of_luts_are_packed() -> None:
    curve = Lut1D(np.linspace(0, 1, 7)[:, None].repeat(3, 1))
    cube = Lut3D.identity(3)
    parts = [packed_lut(each) for each in (curve, cube, ShaperLut3D(curve, cube))]
    assert [(bool(p.curve), bool(p.lattice)) for p in parts] == [
        (True, False),
        (False, True),
        (True, True),
    ]
    values = unpacked(parts[1].lattice["table"]).reshape(3, 3, 3, 3)  # type: ignore[index]
    np.testing.assert_allclose(values, cube.table, atol=parts[1].error / 1023)


@pytest.fixture(scope="module")
def demo() -> dict[str, Any]:
    with demo_files() as folder:
        return Packer().data(gather(Order(folder / "salt_road.toml"))[0])


def test_a_recipe_brings_its_luts_ladder_false_colour_and_stills(demo: dict[str, Any]) -> None:
    assert demo["title"] == "Salt Road"
    assert [each["name"] for each in demo["stills"]] == [
        "photograph", "two skins", "chart", "grey ramp",
    ]  # fmt: skip
    by_name = {each["name"]: each for each in demo["luts"]}
    assert "exposure_bands" not in by_name
    assert len(demo["false_colour"]["bands"]) == 5
    rungs = {n: e["exposure"] for n, e in by_name.items() if e["ladder"] == 0}
    assert rungs == {"viewing": 0.0} | {
        f"ladder/viewing_{mark}": stops
        for mark, stops in zip(("m2", "m1", "p0", "p1", "p2"), (-2, -1, 0, 1, 2), strict=True)
    }
    assert by_name["viewing_legal"]["target_range"] == "legal"
    assert by_name["hdr_pq"]["view"] in demo["views"]
    assert all(each["packing_error"] <= FINE_ENOUGH_CODES for each in demo["luts"])


def test_the_result_objects_are_those_of_inspect_and_levels(tmp_path: Path) -> None:
    lut = build("ACEScct", "BT.1886", **ENDS, size=9)
    write_cube(lut, tmp_path / "day.cube", decimals=None)
    ends = KnownEnds(SOURCE.curve, SOURCE.gamut)
    data = Packer().data(gather(Order(tmp_path / "day.cube", ends))[0])
    entry = data["luts"][0]
    found = inspect(open_lut(tmp_path / "day.cube"), source_curve=SOURCE.curve,
                    source_gamut=SOURCE.gamut)  # fmt: skip
    wanted = found.to_data() | {"file": "day.cube"}
    # What the file says of itself, and its digest, are told apart by where it was opened.
    own = ("comments", "written")
    assert {k: v for k, v in entry["inspection"].items() if k not in own} == {
        k: v for k, v in wanted.items() if k not in own
    }
    assert entry["levels"] == levels(SOURCE.curve, lut, lut_name="day.cube").to_data()
    assert data["sources"][0]["levels"] == levels(SOURCE.curve).to_data()


def test_the_curve_in_the_page_is_the_librarys() -> None:
    data = Packer().data(BenchSet("t", (), SOURCE, "told"))
    light = unpacked(data["sources"][0]["light"]["table"])
    values = np.random.default_rng(3).random(2000)
    got = np.interp(values, np.linspace(0, 1, len(light)), light)
    np.testing.assert_allclose(got, SOURCE.curve.decode(values), rtol=2e-6, atol=2e-6)


def test_a_folder_names_what_it_leaves_out(tmp_path: Path) -> None:
    write_cube(Lut3D.identity(3), tmp_path / "a.cube")
    (tmp_path / "sub").mkdir()
    write_cube(Lut3D.identity(2), tmp_path / "sub/b.cube")
    (tmp_path / "c.cube").write_text("LUT_3D_SIZE 1\n")
    bench = gather(Order(tmp_path, KnownEnds(SOURCE.curve)))[0]
    assert [item.name for item in bench.items] == ["a.cube", "sub/b.cube"]
    assert len(bench.notes) == 1
    assert "c.cube" in bench.notes[0]
    assert bench.source_from.endswith("the gamut is assumed")
    assert bench.false_colour is not None


def test_an_empty_folder_and_a_bad_file_get_one_line(tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match="holds no LUT"):
        gather(Order(tmp_path))
    (tmp_path / "c.cube").write_text("LUT_3D_SIZE 1\n")
    with pytest.raises(LutbenchError, match=r"c\.cube:1"):
        gather(Order(tmp_path / "c.cube"))


def test_a_source_is_identified_where_nobody_names_it(tmp_path: Path) -> None:
    write_cube(build("ACEScct", "BT.1886", **ENDS), tmp_path / "day.cube", decimals=9)
    bench = gather(Order(tmp_path / "day.cube", catalogue=KNOWN))[0]
    assert bench.source is not None
    assert bench.source.curve.name == "ACEScct"
    assert bench.source_from == "identified in day.cube, not given"
    write_cube(Lut3D.identity(5), tmp_path / "none.cube")
    plain = gather(Order(tmp_path / "none.cube", catalogue=KNOWN))[0]
    assert plain.source is None
    assert [each.name for each in plain.stills] == ["photograph", "chart"]


def test_skins_have_the_measured_colours() -> None:
    """Away from the sheen a form's light keeps the ratio of R G B of the patch."""
    picture, skins = two_skins(), dict(zip(chart24()[0], chart_light(BT709), strict=True))
    for x, name in ((0.42, "light skin"), (1.18, "dark skin")):
        pixel = picture[int(0.5 * HEIGHT_PX), int((x + 0.15) * HEIGHT_PX)]
        np.testing.assert_allclose(pixel / pixel[0], skins[name] / skins[name][0], rtol=0.01)
    card = picture[int(0.6 * HEIGHT_PX), WIDTH_PX // 2]
    np.testing.assert_allclose(card, 0.18)


def test_the_ramp_stands_on_whole_stops() -> None:
    steps = np.unique(np.log2(grey_ramp(SOURCE)[-1, :, 0] / 0.18).round(9))
    np.testing.assert_array_equal(steps, np.round(steps))
    assert steps[0] == -8


@pytest.mark.parametrize("suffix", [".tif", ".exr", ".dpx", ".png"])
def test_a_still_of_the_users_is_converted(tmp_path: Path, suffix: str) -> None:
    codes = np.random.default_rng(8).integers(0, 1024, (6, 8, 3))
    picture = Still((codes * 64).astype(np.uint16), ("R", "G", "B"), "16")
    write_still(picture, tmp_path / f"still{suffix}")
    found = still_of_file(tmp_path / f"still{suffix}")
    (tmp_path / "back.png").write_bytes(found.png)
    back = read_still(tmp_path / "back.png").pixels
    wanted = read_still(tmp_path / f"still{suffix}").signal() * 65535
    np.testing.assert_allclose(back, np.clip(wanted, 0, 65535), atol=0.51)
    assert "8 × 6" in found.note


def test_what_is_built_is_built_from_these_sources() -> None:
    """The digest at the head of what is kept: told without node."""
    digest = sha256()
    web = WEB / "web"
    files = {
        file.relative_to(web).as_posix(): file.read_bytes()
        for file in (web / "src").rglob("*")
        if file.is_file()
    }
    for name in sorted(files):
        digest.update(name.encode() + b"\0" + files[name] + b"\0")
    for name in ("bench.js", "bench.css"):
        head = (WEB / "built" / name).read_text(encoding="utf-8").splitlines()[0]
        assert head == f"/* sources sha256: {digest.hexdigest()} */", "npm run build"


@pytest.fixture
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write_cube(build("ACEScct", "BT.1886", **ENDS, size=5), tmp_path / "day.cube")
    return tmp_path


def test_the_command_writes_a_page(in_folder: Path) -> None:
    run = CliRunner().invoke(command, ["day.cube", "--source-curve", "ACEScct"])
    assert run.exit_code == 0, run.output
    assert re.match(r"bench\.html: 1 LUT, 4 stills, \d\.\d MB; LUTs packed within", run.output)
    assert (in_folder / "bench.html").stat().st_size > 100_000
    again = CliRunner().invoke(command, ["day.cube", "--source-curve", "ACEScct"])
    assert isinstance(again.exception, LutbenchError)
    told = CliRunner().invoke(
        command, ["day.cube", "--source-curve", "ACEScct", "--json", "--force", "-o", "b.html"]
    )
    report = json.loads(told.output)
    assert report["source"]["curve"] == "ACEScct"
    assert report["luts"][0]["packing_error"] < FINE_ENOUGH_CODES


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["none.cube"], "no such file"),
        (["day.cube", "-o", "bench.txt"], r"\.html"),
        (["r.toml", "--source-curve", "ACEScct"], "a recipe states"),
        (["day.cube", "--source-curve", "ACESsct"], "no curve is named"),
        (["day.cube", "--still", "none.tif"], "cannot read"),
    ],
)
def test_faults_get_one_line(in_folder: Path, arguments: list[str], says: str) -> None:
    (in_folder / "r.toml").write_text("")
    run = CliRunner().invoke(command, arguments)
    assert isinstance(run.exception, LutbenchError)
    assert re.search(says, str(run.exception))
    assert not (in_folder / "bench.html").exists()


@pytest.mark.slow
def test_the_build_gives_what_is_kept() -> None:
    """Types, lint and bundle, by node."""
    npm = shutil.which("npm")
    if npm is None or not (WEB / "web/node_modules").is_dir():
        pytest.skip("npm has not been run: `npm ci` in lutbench/bench/web")
    run = subprocess.run(
        [npm, "run", "check"], cwd=WEB / "web", capture_output=True, text=True, timeout=600
    )
    assert run.returncode == 0, run.stdout + run.stderr
