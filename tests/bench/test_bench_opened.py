"""What is dropped on the page: .cube files read as the library does, pictures at their depth."""

from __future__ import annotations

import io
import zlib
from base64 import b64encode
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lutbench.bench.contents import BenchSet, Item
from lutbench.bench.stills import BenchStill, png_of_codes
from lutbench.errors import LutbenchError
from lutbench.formats.cube import parse_cube
from lutbench.formats.cube_write import format_cube
from lutbench.media.still.still import Still, write_still
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Encoding
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, lattice

pytestmark = pytest.mark.browser

KNOWN = open_catalogue(user=False)
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACES AP1"))
ROWS = b"0 0 0\n1 0 0\n0 1 0\n1 1 0\n0 0 1\n1 0 1\n0 1 1\n1 1 1\n"
HEAD = b"LUT_3D_SIZE 2\n"

CUBES = {
    "plain": HEAD + ROWS,
    "title": b'TITLE "A day"\n' + HEAD + ROWS,
    "no quotes": b"TITLE A day\n" + HEAD + ROWS,
    "CRLF": (HEAD + ROWS).replace(b"\n", b"\r\n"),
    "CR": (HEAD + ROWS).replace(b"\n", b"\r"),
    "BOM": b"\xef\xbb\xbf" + HEAD + ROWS,
    "UTF-16": b"\xff\xfe" + HEAD,
    "empty": b"",
    "blank": b" \n\t\n",
    "null": HEAD + b"0 0 \0\n",
    "tabs": HEAD + ROWS.replace(b" ", b"\t"),
    "lower case": HEAD.lower() + ROWS,
    "comments": b"# a\n" + HEAD + b"\n# b\n" + ROWS[:12] + b"# c\n\n" + ROWS[12:],
    "exponents": HEAD + ROWS.replace(b"1", b"1.0e0"),
    "domain": b"DOMAIN_MIN -0.5 0 0\nDOMAIN_MAX 2 1 1.5\n" + HEAD + ROWS,
    "domain upside down": b"DOMAIN_MIN 1 0 0\nDOMAIN_MAX 1 1 1\n" + HEAD + ROWS,
    "range": b"LUT_3D_INPUT_RANGE -1 2\n" + HEAD + ROWS,
    "range and domain differ": b"LUT_3D_INPUT_RANGE 0 2\nDOMAIN_MAX 1 1 1\n" + HEAD + ROWS,
    "1D": b"LUT_1D_SIZE 3\n0 0 0\n.5 .25 .1\n1 1 1\n",
    "shaper": b"LUT_1D_SIZE 2\nLUT_3D_SIZE 2\nLUT_1D_INPUT_RANGE 0 4\n0 0 0\n1 1 1\n" + ROWS,
    "no size": ROWS,
    "size 1": b"LUT_3D_SIZE 1\n0 0 0\n",
    "size 257": b"LUT_3D_SIZE 257\n" + ROWS,
    "size twice": HEAD + b"LUT_3D_SIZE 3\n" + ROWS,
    "too few": HEAD + ROWS[:-6],
    "too many": HEAD + ROWS + b"0 0 0\n",
    "no rows": HEAD,
    "two numbers": HEAD + b"0 0\n" + ROWS[6:],
    "words": HEAD + b"0 0 x\n" + ROWS[6:],
    "commas": HEAD + b"0,5 0 0\n" + ROWS[6:],
    "NaN": HEAD + b"nan 0 0\n" + ROWS[6:],
    "infinite": HEAD + b"0 inf 0\n" + ROWS[6:],
    "too large": HEAD + b"1e39 0 0\n" + ROWS[6:],
    "keyword late": HEAD + ROWS[:6] + b"DOMAIN_MIN 0 0 0\n" + ROWS[6:],
    "unknown keyword": b"SOMETHING 1\n" + HEAD + ROWS,
    "no keyword": b"<html>\n" + HEAD + ROWS,
    "long line": b"# " + b"x" * 5000 + b"\n" + HEAD + ROWS,
    "underscores": HEAD + b"1_0 0 0\n" + ROWS[6:],
    "form feed": HEAD + b"0\x0c0 0\n" + ROWS[6:],
    "not UTF-8": b'TITLE "\xff\xe9"\n' + HEAD + ROWS,
    "huge count": b"LUT_3D_SIZE 256\n" + ROWS,
    "script": b'TITLE "</script><img src=x onerror=alert(1)>"\n' + HEAD + ROWS,
}

READ = """(texts) => texts.map((text) => {
  const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const plain = (table) => table && {...table, values: [...table.values]};
  try {
    const {lut, title} = lutbench.parseCube(bytes, "f.cube");
    return {curve: plain(lut.curve), lattice: plain(lut.lattice), title};
  } catch (thrown) {
    return {error: thrown.message};
  }
})"""


@pytest.fixture(scope="module")
def page(opened: Any) -> Any:
    item = Item("in the set", "a LUT", Lut3D.identity(2), SOURCE)
    grey = BenchStill("grey", "a test", png_of_codes(np.full((8, 8, 3), 30000, np.uint16)))
    return opened(BenchSet("Test", (item,), SOURCE, "in a test", stills=(grey,)))


def same_as_the_library(page: Any, files: list[bytes], *, places: bool) -> int:
    """Hold the page's reading of files against the library's; how many were taken.

    With `places` both name the same line of a fault; the library knows more about files
    that are damaged in several ways.
    """
    got = page.view.evaluate(READ, [b64encode(each).decode("ascii") for each in files])
    taken = 0
    for data, found in zip(files, got, strict=True):
        wanted = read(data)
        if isinstance(wanted, LutbenchError):
            assert "error" in found, (data[:200], str(wanted))
            assert not places or place(found["error"]) == place(str(wanted)), str(wanted)
            continue
        assert "error" not in found, (data[:200], found)
        taken += 1
        check_table(found, wanted.lut)
        # JavaScript's text holds what Python's does: UTF-16 against code points.
        assert found["title"] == wanted.title
    return taken


def read(data: bytes) -> Any:
    """What the library reads, or its error."""
    try:
        return parse_cube(data, "f.cube")
    except LutbenchError as error:
        return error


def place(message: str) -> str:
    """File and line of an error."""
    return message.split(": ")[0]


def check_table(found: dict[str, Any], lut: Any) -> None:
    parts = {"curve": None, "lattice": None}
    if isinstance(lut, ShaperLut3D):
        parts = {"curve": lut.shaper, "lattice": lut.lut}
    else:
        parts["curve" if isinstance(lut, Lut1D) else "lattice"] = lut
    for name, table in parts.items():
        if table is None:
            assert found[name] is None
            continue
        assert found[name]["size"] == table.size
        assert [found[name]["low"], found[name]["high"]] == table.domain.tolist()
        values = np.array(found[name]["values"])
        np.testing.assert_array_equal(values, table.table.astype(np.float32).ravel())


def test_cubes_are_read_as_the_library_reads_them(page: Any) -> None:
    assert same_as_the_library(page, list(CUBES.values()), places=True) >= 18


@pytest.mark.slow
def test_mutated_cubes_are_read_as_the_library_reads_them(page: Any) -> None:
    """The fuzzer's own edits of valid files."""
    rng = np.random.default_rng(11)
    tokens = [
        b"nan",
        b"1e999",
        b"-0",
        b"\0",
        b"#",
        b'"',
        b"LUT_3D_SIZE 2\n",
        b"\r",
        b"0 0 0\n",
        b",",
    ]
    whole = [each for each in CUBES.values() if not isinstance(read(each), LutbenchError)]
    taken = 0
    for _ in range(20):
        files = []
        for _ in range(50):
            data = bytearray(whole[rng.integers(len(whole))])
            for _ in range(rng.integers(1, 4)):
                at = int(rng.integers(0, len(data) + 1))
                what = rng.integers(3)
                if what == 0:
                    data[at:at] = tokens[rng.integers(len(tokens))]
                elif what == 1:
                    del data[at : at + int(rng.integers(1, 12))]
                elif at < len(data):
                    data[at] = int(rng.integers(256))
            files.append(bytes(data))
        taken += same_as_the_library(page, files, places=False)
    assert taken > 30


def test_a_dropped_cube_is_looked_through(page: Any) -> None:
    lut = Lut3D(1 - lattice(9), title="upside down")
    assert page.drop("turned.cube", format_cube(lut)) == ""
    turned = page.pixels()
    page.set(lut="")
    assert np.abs(turned - (255 - page.pixels())).max() <= 1


def test_a_bad_cube_gets_one_line(page: Any) -> None:
    message = page.drop("bad.cube", CUBES["words"])
    assert message == "bad.cube:2: '0 0 x' is not a row; accepted: three finite numbers"
    assert page.drop("in the set", b"x") != ""
    page.view.wait_for_selector(".message:not([hidden])")


def still_bytes(tmp_path: Path, codes: Any, channels: tuple[str, ...], suffix: str) -> bytes:
    path = tmp_path / f"still{suffix}"
    depth = "16" if codes.dtype == np.uint16 else "8"
    write_still(Still(np.ascontiguousarray(codes), channels, depth), path)
    return path.read_bytes()


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("channels", [("R", "G", "B"), ("R", "G", "B", "A")])
def test_a_dropped_png_keeps_its_depth(
    page: Any, tmp_path: Path, dtype: Any, channels: tuple[str, ...]
) -> None:
    peak = np.iinfo(dtype).max
    codes = np.random.default_rng(2).integers(0, peak, (7, 9, len(channels)), endpoint=True)
    codes = codes.astype(dtype)
    codes[:3] = np.linspace(0, peak, 9).astype(dtype)[None, :, None]  # smooth, for the filters
    name = f"{dtype.__name__}{len(channels)}.png"
    assert page.drop(name, still_bytes(tmp_path, codes, channels, ".png")) == ""
    page.set(lut="", x=-1)
    got = page.view.evaluate("(name) => [...lutbench.bench.pictures.get(name).pixels]", name)
    values = np.array(got).reshape(7, 9, 4)[..., :3]
    np.testing.assert_allclose(values, codes[..., :3] / peak, rtol=0, atol=1e-7)


def test_pngs_of_other_kinds(page: Any) -> None:
    """Grey, palette and interlaced ones, as Pillow writes them."""
    image = pytest.importorskip("PIL.Image")
    codes = np.random.default_rng(3).integers(0, 256, (6, 5), dtype=np.uint8)
    for mode in ("L", "LA", "P", "1"):
        made = image.fromarray(codes).convert("RGB").convert(mode)
        data = io.BytesIO()
        made.save(data, "PNG")
        assert page.drop(f"{mode}.png", data.getvalue()) == ""
        wanted = (
            np.asarray(made.convert("RGBA").convert("RGB")) if mode != "LA" else codes[..., None]
        )
        got = page.view.evaluate("(n) => [...lutbench.bench.pictures.get(n).pixels]", f"{mode}.png")
        values = 255 * np.array(got).reshape(6, 5, 4)[..., :3]
        np.testing.assert_allclose(values, np.broadcast_to(wanted, values.shape), atol=1e-3)


def test_a_dropped_jpeg_is_taken(page: Any, tmp_path: Path) -> None:
    codes = np.full((16, 24, 3), 128, np.uint8)
    assert page.drop("flat.jpg", still_bytes(tmp_path, codes, ("R", "G", "B"), ".jpg")) == ""
    page.set(lut="")
    assert np.abs(page.pixels() - 128).max() <= 1


def chunk(name: bytes, body: bytes) -> bytes:
    size, crc = len(body).to_bytes(4, "big"), zlib.crc32(name + body).to_bytes(4, "big")
    return size + name + body + crc


def png(width: int, height: int, raw: bytes) -> bytes:
    header = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([16, 2, 0, 0, 0])
    parts = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(raw)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


HOSTILE_PICTURES = {
    "no picture": b"hello",
    "only a signature": b"\x89PNG\r\n\x1a\n",
    "vast": png(60000, 60000, b""),
    "no pixels": png(0, 5, b""),
    "cut off": png(4, 4, bytes(25)),
    "more than it says": png(1, 1, bytes(4_000_000)),
    "wrong filter": png(1, 1, b"\x09" + bytes(6)),
    "damaged": png(4, 4, bytes(100)).replace(b"IDATx", b"IDATy"),
    "page": b"<html><script>alert(1)</script>",
    "drawing": b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
}


@pytest.mark.parametrize("name", list(HOSTILE_PICTURES))
def test_hostile_pictures_get_one_line(page: Any, name: str) -> None:
    message = page.drop(f"{name}.png", HOSTILE_PICTURES[name])
    assert message.startswith(f"{name}.png: ")
    assert "\n" not in message
    assert page.said == []
    assert page.asked == [page.address]


def test_an_ordinary_picture_stands_in_for_log(page: Any, tmp_path: Path) -> None:
    codes = np.full((8, 8, 3), 118, np.uint8)
    page.drop("ordinary.png", still_bytes(tmp_path, codes, ("R", "G", "B"), ".png"))
    page.set(lut="")
    page.view.evaluate("lutbench.bench.setOrdinary(true)")
    # sRGB 118 is linear 0.1812 (IEC 61966-2-1): nearly mid grey.
    light = ((118 / 255 + 0.055) / 1.055) ** 2.4
    # Between the nodes of the lattice of 33 the log curve is off by 0.3 codes of 8 bit here.
    assert np.abs(page.pixels() - 255 * float(SOURCE.curve.encode(light))).max() <= 1
    page.wait("document.body.innerText.includes('stand-in for log')")


@pytest.mark.slow
def test_the_camera_stands_in_for_log(page: Any) -> None:
    """A made-up camera of the browser's."""
    page.view.evaluate("lutbench.bench.startCamera()")
    page.wait("lutbench.bench.camera !== null || lutbench.bench.message")
    if page.view.evaluate("lutbench.bench.camera === null"):
        pytest.skip("this browser offers no camera to a file")
    page.wait("document.querySelector('p.caption').textContent.includes('camera')")
    assert page.pixels().std() > 1
    page.view.evaluate("lutbench.bench.stopCamera(); lutbench.bench.tell()")
