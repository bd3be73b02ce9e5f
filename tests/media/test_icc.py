"""Our ICC profiles as an independent colour engine reads them: LittleCMS, through Pillow."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import colour
import numpy as np
import pytest
from PIL import Image, ImageCms

from lutbench.media.still.icc import profile_of
from lutbench.media.still.still import Still, read_still, write_still
from lutbench.media.tags import ColourTags
from lutbench.model.gamuts import BT709, BT2020, P3_D65, Gamut

NAMES = {BT709: "ITU-R BT.709", BT2020: "ITU-R BT.2020", P3_D65: "P3-D65"}
DECODE = {
    "BT.1886": lambda signal: signal**2.4,
    "linear": lambda signal: signal,
    "sRGB": colour.models.eotf_sRGB,
}


@pytest.mark.parametrize("gamut", NAMES, ids=lambda gamut: gamut.name)
@pytest.mark.parametrize("curve", DECODE)
def test_lab_of_colours_as_colour_science(gamut: Gamut, curve: str) -> None:
    codes = np.random.default_rng(5).integers(0, 256, (1, 500, 3)).astype(np.uint8)
    data = profile_of(gamut, curve)
    assert data is not None
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(data)),
        ImageCms.createProfile("LAB"),
        "RGB",
        "LAB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        ImageCms.Flags.NOOPTIMIZE,
    )
    lab = np.asarray(ImageCms.applyTransform(Image.fromarray(codes), transform)).astype(float)
    lab = np.stack(
        [
            lab[..., 0] / 2.55,
            *(np.float64(lab[..., c].astype(np.uint8).astype(np.int8)) for c in (1, 2)),
        ],
        -1,
    )
    space = colour.RGB_COLOURSPACES[NAMES[gamut]]
    xyz = colour.RGB_to_XYZ(DECODE[curve](codes / 255), space)
    d50 = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"])
    d65 = colour.xy_to_XYZ(space.whitepoint)
    adapted = colour.chromatic_adaptation(xyz, d65, d50, method="Von Kries", transform="Bradford")
    want = colour.XYZ_to_Lab(adapted, colour.XYZ_to_xy(d50))
    inside = (np.abs(want[..., 1:]) < 127).all(axis=-1)  # what 8-bit Lab can hold
    # 8-bit Lab: half a unit of a* and b*, half of 1/2.55 of L*, and the engine's own rounding.
    assert np.abs(lab - want)[inside].max() < 1.2


def test_the_same_colour_gives_the_same_bytes() -> None:
    assert profile_of(BT709, "sRGB") == profile_of(BT709, "sRGB")
    assert profile_of(BT2020, "BT.2100 PQ") is None


@pytest.mark.parametrize("suffix", [".png", ".jpg", ".tif"])
def test_files_carry_the_profile_of_their_target(tmp_path: Path, suffix: str) -> None:
    still = Still(np.full((8, 8, 3), 90, np.uint8), ("R", "G", "B"), "8")
    path = tmp_path / f"out{suffix}"
    write_still(still, path, tags=ColourTags("P3-D65", "BT.1886"))
    with Image.open(path) as picture:
        assert picture.info["icc_profile"] == profile_of(P3_D65, "BT.1886")
        name = ImageCms.getProfileDescription(
            ImageCms.ImageCmsProfile(io.BytesIO(picture.info["icc_profile"]))
        )
    assert name.strip() == "P3-D65, BT.1886"
    # And it is stale after the next LUT.
    write_still(read_still(path), tmp_path / f"next{suffix}")
    with Image.open(tmp_path / f"next{suffix}") as picture:
        assert "icc_profile" not in picture.info


@pytest.mark.parametrize("gamut", ["P3-D65", "BT.2020", "BT.709"])
def test_a_png_with_the_curve_of_srgb_says_its_own_primaries(gamut: str, tmp_path: Path) -> None:
    """Pillow reads the file: a profile for wider gamuts, the sRGB chunk for sRGB alone."""
    still = Still(np.full((4, 4, 3), 128, np.uint8), ("R", "G", "B"), "8")
    path = tmp_path / "a.png"
    write_still(still, path, tags=ColourTags(gamut, "sRGB"))
    with Image.open(path) as read:
        profile, chunk = read.info.get("icc_profile"), read.info.get("srgb")
    if gamut == "BT.709":
        assert chunk is not None
        assert profile is None
    else:
        assert chunk is None
        name = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile)))
        assert name.strip() == f"{gamut}, sRGB"


# ICC.1:2022, 7.2: the header by its offsets. The white of the connection space stands there
# as F6D6h, 10000h, D32Dh (7.2.16), and again in the tag wtpt.
D50_FIXED = (0xF6D6, 0x10000, 0xD32D)


def tags_of(data: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", data, 128)
    entries = [struct.unpack_from(">4sII", data, 132 + 12 * each) for each in range(count)]
    return {name: data[place : place + length] for name, place, length in entries}


def test_the_header_by_the_specification() -> None:
    data = profile_of(BT709, "sRGB")
    assert data is not None
    assert struct.unpack_from(">I", data, 0) == (len(data),)
    assert data[4:8] == bytes(4)
    assert data[8:12] == bytes([4, 0x40, 0, 0])  # version 4.4.0.0
    assert (data[12:16], data[16:20], data[20:24]) == (b"mntr", b"RGB ", b"XYZ ")
    assert struct.unpack_from(">6H", data, 24) == (2000, 1, 1, 0, 0, 0)  # no time of making
    assert data[36:40] == b"acsp"
    assert data[40:64] == bytes(24)
    assert struct.unpack_from(">I", data, 64) == (1,)  # media-relative colorimetric
    assert struct.unpack_from(">3I", data, 68) == D50_FIXED
    assert data[80:128] == bytes(48)


def test_tags_by_the_specification() -> None:
    data = profile_of(BT709, "sRGB")
    assert data is not None
    tags = tags_of(data)
    assert tags[b"wtpt"] == b"XYZ " + bytes(4) + struct.pack(">3I", *D50_FIXED)
    assert tags[b"rTRC"] == tags[b"gTRC"] == tags[b"bTRC"]
    # IEC 61966-2-1, decoding: ((V + 0.055) / 1.055)^2.4 from 0.04045 up, else V / 12.92.
    published = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    fixed = [round(each * 65536) for each in published]
    assert tags[b"rTRC"] == b"para" + struct.pack(">IHH5i", 0, 3, 0, *fixed)
    white = np.frombuffer(tags[b"chad"][8:], ">i4").reshape(3, 3) / 65536 @ BT709.to_xyz @ [1, 1, 1]
    np.testing.assert_allclose(white, np.array(D50_FIXED) / 65536, atol=3 / 65536)
    total = sum(np.frombuffer(tags[c + b"XYZ"][8:], ">i4") for c in (b"r", b"g", b"b"))
    np.testing.assert_allclose(total, D50_FIXED, atol=3)
    # multiLocalizedUnicodeType (10.15): one record of twelve bytes, English, its text from 28 on.
    text = "BT.709, sRGB"
    head = struct.unpack_from(">4sIIIHHII", tags[b"desc"])
    assert head == (b"mluc", 0, 1, 12, 0x656E, 0x5553, 2 * len(text), 28)
    assert tags[b"desc"][28:].decode("utf-16-be") == text


@pytest.mark.parametrize(("curve", "gamma"), [("linear", 1.0), ("BT.1886", 2.4), ("BT.709", 2.4)])
def test_powers_by_the_specification(curve: str, gamma: float) -> None:
    """parametricCurveType (10.18), function type 0: one parameter."""
    data = profile_of(BT709, curve)
    assert data is not None
    assert tags_of(data)[b"gTRC"] == b"para" + struct.pack(">IHHi", 0, 0, 0, round(gamma * 65536))
