"""The limits of what is read, one test a sentence; titles and names that are code for somebody."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from lutbench.cli.main import main
from lutbench.errors import LutbenchError
from lutbench.formats.clf_write import format_clf
from lutbench.formats.cube_write import format_cube, write_cube
from lutbench.formats.registry import parse_lut
from lutbench.recipes.make import build_recipe
from lutbench.recipes.schema import recipe_from_text
from lutbench.tables.lut import Lut1D, Lut3D

TITLE = "<script>alert(1)</script>"
ROW = b"0 0 0\n"


def told(data: bytes, name: str = "a.cube") -> str:
    """What the reader says of a file that it refuses."""
    with pytest.raises(LutbenchError) as caught:
        parse_lut(data, name)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("size", ["-1", "0", "1", "257", "65537", "99999999999", "3.0", "1e1", ""])
def test_a_3d_size_is_2_to_256_and_refused_before_anything_is_allocated(size: str) -> None:
    # Eight rows would be a LUT of 2, which is told.
    assert "2 to 256" in told(f"LUT_3D_SIZE {size}\n".encode() + ROW * 7)


@pytest.mark.parametrize("size", ["0", "1", "65537", "4294967296"])
def test_a_1d_size_is_2_to_65536(size: str) -> None:
    assert "2 to 65536" in told(f"LUT_1D_SIZE {size}\n".encode() + ROW * 2)


def test_the_ends_of_the_sizes_are_read() -> None:
    for lut in (Lut3D.identity(2), Lut1D(np.linspace([0.0] * 3, [1.0] * 3, 65536))):
        found = parse_lut(format_cube(lut, None), "a.cube").lut
        assert isinstance(found, type(lut))
        assert np.array_equal(found.table, lut.table)


def test_a_count_that_does_not_fit_the_size() -> None:
    for rows in (7, 9):
        said = told(b"LUT_3D_SIZE 2\n" + ROW * rows)
        assert "8" in said
    # A file that promises much and holds nothing: no memory is taken for the promise.
    assert "16777216" in told(b"LUT_3D_SIZE 256\n" + ROW).replace(" ", "").replace(",", "")


@pytest.mark.parametrize("word", ["nan", "inf", "-inf", "1e999", "-1e400", "NaN", "1.#IND"])
def test_numbers_that_are_not_finite(word: str) -> None:
    said = told(b"LUT_3D_SIZE 2\n" + ROW * 7 + f"0 0 {word}\n".encode())
    assert said.startswith("a.cube:9")


@pytest.mark.parametrize("domain", ["0 0 0 1 1 0", "0 0 0 0 0 0", "1 1 1 0 0 0"])
def test_a_domain_from_high_to_low(domain: str) -> None:
    low, high = domain[:5], domain[6:]
    data = f"LUT_3D_SIZE 2\nDOMAIN_MIN {low}\nDOMAIN_MAX {high}\n".encode() + ROW * 8
    assert "DOMAIN" in told(data).upper()


def test_a_line_over_4_kib() -> None:
    for line in (b"#" * 4097, b"TITLE " + b'"' + b"x" * 5000 + b'"', b"0 " * 3000):
        assert "4096" in told(line + b"\nLUT_3D_SIZE 2\n" + ROW * 8)


BILLION = b"""<?xml version="1.0"?>
<!DOCTYPE ProcessList [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">
<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>
<ProcessList id="x" compCLFversion="3"><Description>&c;</Description></ProcessList>"""
OUTSIDE = b"""<?xml version="1.0"?>
<!DOCTYPE ColorCorrection [<!ENTITY x SYSTEM "file:///etc/passwd">]>
<ColorCorrection id="&x;"/>"""
NETWORK = b"""<!DOCTYPE ColorCorrection SYSTEM "http://127.0.0.1:9/a.dtd"><ColorCorrection/>"""


@pytest.mark.parametrize("data", [BILLION, OUTSIDE, NETWORK])
def test_xml_that_brings_entities_or_looks_elsewhere(data: bytes) -> None:
    assert "has a document type, which is not read" in told(data, "a.clf")
    # Nor in another encoding, in which the search would not find it.
    text = data.decode()
    assert "UTF-16" in told(text.encode("utf-16"), "a.clf") or "binary" in told(
        text.encode("utf-16"), "a.clf"
    )
    for name in ("utf-7", "cp037", "utf-32"):
        told(f'<?xml version="1.0" encoding="{name}"?>'.encode() + data, "a.clf")


def test_an_entity_that_is_not_declared_is_refused() -> None:
    data = format_clf(Lut3D.identity(2), title="Day")[0].replace(b"Day", b"&day;")
    assert "well-formed" in told(data, "a.clf")


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    """A LUT whose title, comments and file name are code for a page, a terminal, a shell."""
    path = tmp_path / "<img src=x onerror=alert(2)>[bold red]'$(id).cube"
    table = Lut3D.identity(5).table ** 1.3
    lut = Lut3D(table, title=TITLE + "[bold red]", comments=("</pre><script>alert(3)</script>",))
    write_cube(lut, path)
    return path


# The page of `inspect` has a test of its own.
CALLS = [
    "compare LUT PLAIN --page OUT.html",
    "levels --curve BT.709 --lut LUT --card OUT.html",
    "sheet LUT STILL OUT.png",
    "convert LUT OUT.clf",
    "identify LUT",
    "rework resample LUT 3 -o OUT.cube",
]


@pytest.mark.parametrize("call", CALLS)
def test_titles_and_names_stay_text(
    call: str,
    hostile: Path,
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from lutbench.media.still.still import Still, write_still

    # Short names: a table folds long ones, and other columns come between.
    monkeypatch.chdir(tmp_path)

    write_cube(Lut3D.identity(5, title="Plain"), tmp_path / "plain.cube")
    write_still(Still(np.zeros((8, 8, 3), np.uint8), ("R", "G", "B"), "8"), tmp_path / "s.png")
    names = {"LUT": hostile.name, "PLAIN": "plain.cube", "STILL": "s.png"}
    args = [names.get(word, word.replace("OUT", "out")) for word in call.split()]
    with pytest.raises(SystemExit) as end:
        main(args)
    out, err = capfd.readouterr()
    assert end.value.code == 0, err
    if "OUT.html" in call:
        page = (tmp_path / "out.html").read_text("utf-8")
        scripts = re.findall(r"<script[^>]*>(.{0,20})", page)
        assert not [each for each in scripts if "alert" in each]
        assert "<img src=x" not in page
        assert "&lt;script&gt;alert(1)" in page or "&lt;img src=x" in page
    if out.strip() and hostile.name[:10] in out:
        # Square brackets are no markup of the terminal's.
        # A table may fold the name over lines.
        assert "[boldred]" in re.sub(r"\s+", "", out)


def test_control_characters_of_a_file_do_not_reach_the_terminal(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "day.cube"
    data = format_cube(Lut3D.identity(5, title="Day"))
    path.write_bytes(
        data.replace(b"Day", b"Day\x1b]0;owned\x07\x1b[2J").replace(b"\n", b"\n# \x1b[31m\n", 1)
    )
    for call in (["inspect"], ["identify"], ["inspect", "--json"]):
        with pytest.raises(SystemExit):
            main([*call, str(path)])
        out, err = capfd.readouterr()
        assert "\x1b" not in out + err, call
        assert "\x07" not in out + err, call


@pytest.mark.parametrize("name", ["../out", "/tmp/lutbench-out", "a/../../out", "a\\u0000b"])
def test_a_name_of_a_recipe_stays_in_the_folder(name: str, tmp_path: Path) -> None:
    recipe = recipe_from_text(
        'size = 2\nsource = { curve = "BT.709", gamut = "BT.709" }\n'
        'target = { curve = "sRGB", gamut = "BT.709" }\n'
        f'[[lut]]\nname = "{name}"\n'
    )
    with pytest.raises(LutbenchError, match="is outside the output folder"):
        build_recipe(recipe, tmp_path / "out")
    assert [each.name for each in tmp_path.rglob("*.cube")] == []
