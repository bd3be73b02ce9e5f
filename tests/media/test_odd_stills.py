"""Stills that are out of the ordinary: as other programs read them, or refused in one line.

The files are written, and what comes out is read, by OpenImageIO and Pillow. A picture goes
through the identity, so what another reader sees in it before and after is the same.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import OpenImageIO as oiio
import pytest
from PIL import Image

from lutbench.errors import LutbenchError
from lutbench.media.still.still import apply_to_still, read_still, write_still
from lutbench.tables.lut import Lut3D

RNG = np.random.default_rng(20261129)
CODES = RNG.integers(0, 256, (24, 40, 3), dtype=np.uint8)
LIGHT = RNG.random((24, 40, 3)).astype(np.float32)


def through_identity(path: Path) -> Path:
    out = path.with_name(f"out-{path.name}")
    write_still(apply_to_still(Lut3D.identity(5), read_still(path)), out)
    return out


def write(path: Path, pixels: np.ndarray[Any, Any], kind: str, names: list[str] | None = None,
          **place: int) -> Path:  # fmt: skip
    spec = oiio.ImageSpec(pixels.shape[1], pixels.shape[0], pixels.shape[2], kind)
    if names:
        spec.channelnames = names
    for name, value in place.items():
        setattr(spec, name, value)
    out = oiio.ImageOutput.create(str(path))
    assert out.open(str(path), spec), out.geterror()
    assert out.write_image(pixels), out.geterror()
    out.close()
    return path


@pytest.mark.parametrize(
    ("kind", "place"),
    {
        "data window": (
            "half",
            {"x": 5, "y": -3, "full_width": 64, "full_height": 48, "full_x": 0, "full_y": 0},
        ),
        "overscan": ("half", {"x": -8, "y": -8, "full_width": 24, "full_height": 8}),
        "tiles": ("float", {"tile_width": 16, "tile_height": 16}),
    }.values(),
    ids=["data window", "overscan", "tiles"],
)
def test_windows_and_tiles_of_openexr(tmp_path: Path, kind: str, place: dict[str, int]) -> None:
    source = write(tmp_path / "a.exr", LIGHT, kind, **place)
    before, after = oiio.ImageBuf(str(source)), oiio.ImageBuf(str(through_identity(source)))
    for name in ("x", "y", "width", "height", "full_x", "full_y", "full_width", "full_height"):
        assert getattr(after.spec(), name) == getattr(before.spec(), name), name
    # Float32 places in the lattice leave some 1e-7; half rounds the same number alike.
    assert np.abs(after.get_pixels() - before.get_pixels()).max() <= 2e-6


def test_channels_in_any_order_and_others_beside_them(tmp_path: Path) -> None:
    beside = np.concatenate([LIGHT[..., ::-1], 7 * LIGHT[..., :1] - 3], axis=-1)
    source = write(tmp_path / "a.exr", beside, "float", ["B", "G", "R", "depth"])
    after = oiio.ImageBuf(str(through_identity(source)))
    names = list(after.spec().channelnames)
    found = after.get_pixels()
    for index, name in enumerate(["B", "G", "R", "depth"]):
        assert np.abs(found[..., names.index(name)] - beside[..., index]).max() <= 2e-6, name


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
def test_a_turned_picture_stays_turned(tmp_path: Path, suffix: str) -> None:
    """Exif 2.32, tag 274: 6 says that the picture is shown turned clockwise by 90 degrees."""
    picture, path = Image.fromarray(CODES), tmp_path / f"a.{suffix}"
    turned = picture.getexif()
    turned[274] = 6
    settings = {"tiffinfo": {274: 6}} if suffix == "tif" else {"exif": turned}
    picture.save(path, **settings)
    with Image.open(path) as before, Image.open(through_identity(path)) as after:
        assert after.getexif()[274] == 6
        assert after.size == before.size


@pytest.mark.parametrize("mode", ["1", "L", "P", "LA"])
def test_grey_and_palettes_of_png(tmp_path: Path, mode: str) -> None:
    path = tmp_path / "a.png"
    Image.fromarray(CODES).convert(mode).save(path)
    with Image.open(path) as before, Image.open(through_identity(path)) as after:
        wanted = np.asarray(before.convert("RGB"))
        assert (np.asarray(after.convert("RGB")) == wanted).all()


@pytest.mark.parametrize("width", [1, 3])
def test_one_pixel_and_one_column(tmp_path: Path, width: int) -> None:
    path = tmp_path / "a.png"
    Image.fromarray(CODES[:width, :1]).save(path)
    with Image.open(through_identity(path)) as after:
        assert (np.asarray(after) == CODES[:width, :1]).all()


def test_twelve_bits_and_tiles_of_tiff(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    spec = oiio.ImageSpec(40, 24, 3, "uint16")
    spec.attribute("oiio:BitsPerSample", 12)
    codes = RNG.integers(0, 4096, (24, 40, 3)).astype(np.uint16)
    words = codes << 4 | codes >> 8
    out = oiio.ImageOutput.create(str(path))
    assert out.open(str(path), spec)
    assert out.write_image(words)
    out.close()
    assert (read_still(path).pixels == codes).all()
    after = oiio.ImageBuf(str(through_identity(path)))
    assert after.spec().get_int_attribute("oiio:BitsPerSample") == 12
    assert (after.get_pixels(oiio.UINT16) >> 4 == codes).all()


@pytest.mark.parametrize(("mode", "suffix"), [("CMYK", "jpg"), ("CMYK", "tif"), ("LAB", "tif")])
def test_colours_that_are_not_rgb_are_refused(tmp_path: Path, mode: str, suffix: str) -> None:
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(CODES).convert(mode).save(path)
    with pytest.raises(LutbenchError, match=r"holds CM?.* colours; accepted: R G B"):
        read_still(path)


def test_two_pictures_in_a_file_are_refused(tmp_path: Path) -> None:
    path, spec = tmp_path / "a.exr", oiio.ImageSpec(40, 24, 3, "half")
    names = ("left", "right")
    parts = []
    for name in names:
        part = oiio.ImageSpec(spec)
        part.attribute("oiio:subimagename", name)
        parts.append(part)
    out = oiio.ImageOutput.create(str(path))
    assert out.open(str(path), tuple(parts))
    assert out.write_image(LIGHT)
    assert out.open(str(path), parts[1], "AppendSubimage")
    assert out.write_image(LIGHT)
    out.close()
    with pytest.raises(LutbenchError, match="more than one picture"):
        read_still(path)


def test_an_animated_png_is_refused(tmp_path: Path) -> None:
    """An animation control chunk (acTL, PNG specification, third edition)."""
    path, frame = tmp_path / "a.png", Image.fromarray(CODES)
    frame.save(path, save_all=True, append_images=[frame.rotate(180)])
    with pytest.raises(LutbenchError, match="holds an animation; accepted: one picture"):
        read_still(path)


@pytest.mark.parametrize(
    "names",
    [["left.R", "left.G", "left.B", "right.R", "right.G", "right.B"], ["Y", "RY", "BY"]],
    ids=["layers", "luma and chroma"],
)
def test_no_r_g_b_in_one_layer_is_refused(tmp_path: Path, names: list[str]) -> None:
    pixels = np.concatenate([LIGHT, LIGHT], axis=-1)[..., : len(names)]
    path = write(tmp_path / "a.exr", pixels, "float", names)
    with pytest.raises(LutbenchError, match=r"the channels are .*; accepted: R, G, B in one layer"):
        read_still(path)
