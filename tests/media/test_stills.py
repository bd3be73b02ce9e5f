"""Stills against independent readers: Pillow (PNG, TIFF, JPEG) and FFmpeg (DPX, OpenEXR)."""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio
import pytest
from numpy.typing import NDArray
from PIL import Image, TiffImagePlugin
from skimage import data

from lutbench import LutbenchError
from lutbench.media.still.checks import MEMORY_VARIABLE
from lutbench.media.still.formats import output_depth
from lutbench.media.still.still import (
    apply_to_still,
    read_still,
    write_still,
)
from lutbench.media.tags import ColourTags
from lutbench.model.transforms import Matrix
from lutbench.tables.lut import Lut3D

HALVING = Matrix(((0.5, 0, 0), (0, 0.5, 0), (0, 0, 0.5)))


@pytest.fixture(scope="module")
def photograph() -> NDArray[np.uint8]:
    """The coffee photograph that scikit-image carries, cut small."""
    return np.ascontiguousarray(data.coffee()[:120, :157])


def deep(photograph: NDArray[np.uint8], bits: int) -> NDArray[np.uint16]:
    """The photograph at more bits, its low bits filled with a pattern so that none may be lost."""
    codes = photograph.astype(np.uint32) * 2 ** (bits - 8)
    pattern = np.arange(codes.size, dtype=np.uint32).reshape(codes.shape) % 2 ** (bits - 8)
    return (codes + pattern).astype(np.uint16)


def write_raw(path: Path, pixels: NDArray[np.generic], kind: str, **attributes: object) -> None:
    """A file by OpenImageIO itself, with the attributes as given (``__`` for ``:``)."""
    height, width, channels = pixels.shape
    header = oiio.ImageSpec(width, height, channels, kind)
    names = attributes.pop("channelnames", None)
    if names is not None:
        header.channelnames = names
    for name, value in attributes.items():
        if isinstance(value, tuple) and len(value) == 2 and isinstance(value[0], str):
            header.attribute(name.replace("__", ":"), value[0], value[1])
        else:
            header.attribute(name.replace("__", ":"), value)
    writer = oiio.ImageOutput.create(str(path))
    assert writer.open(str(path), header), writer.geterror()
    assert writer.write_image(pixels), writer.geterror()
    assert writer.close()


def decoded(path: Path, form: str) -> NDArray[np.generic]:
    """The picture as FFmpeg reads it."""
    with av.open(str(path)) as container:
        frame = next(container.decode(video=0))
        assert frame.format.name == form, frame.format.name
        return frame.to_ndarray()


def test_png_8_and_16_bit_as_pillow_reads_them(
    tmp_path: Path, photograph: NDArray[np.uint8]
) -> None:
    Image.fromarray(photograph).save(tmp_path / "eight.png")
    still = read_still(tmp_path / "eight.png")
    assert (still.depth, still.channels) == ("8", ("R", "G", "B"))
    np.testing.assert_array_equal(still.pixels, photograph)
    write_still(apply_to_still(HALVING, still), tmp_path / "half.png")
    with Image.open(tmp_path / "half.png") as picture:
        # Rounding to nearest, halves up.
        np.testing.assert_array_equal(np.asarray(picture), np.floor(photograph / 2.0 + 0.5))


@pytest.mark.parametrize("bits", [10, 12, 16])
def test_dpx_as_ffmpeg_reads_it(tmp_path: Path, photograph: NDArray[np.uint8], bits: int) -> None:
    codes = deep(photograph, bits)
    path = tmp_path / "frame.dpx"
    still = _still_of(tmp_path, codes, bits)
    write_still(still, path)
    form = {10: "gbrp10le", 12: "gbrp12le", 16: "rgb48le"}[bits]
    assert path.read_bytes()[36:136].rstrip(b"\0") == b"frame.dpx"  # SMPTE ST 268: its own name
    got = decoded(path, form)
    np.testing.assert_array_equal(got, codes)
    again = read_still(path)
    assert again.depth == str(bits)
    np.testing.assert_array_equal(again.pixels, codes)


def _still_of(tmp_path: Path, codes: NDArray[np.uint16], bits: int):  # type: ignore[no-untyped-def]
    """A still at `bits`, through a 16-bit TIFF by Pillow-free means: OpenImageIO."""
    words = codes if bits == 16 else codes << (16 - bits) | codes >> (2 * bits - 16)
    write_raw(
        tmp_path / "start.tif",
        words,
        "uint16",
        **({"oiio__BitsPerSample": bits} if bits < 16 else {}),
    )
    still = read_still(tmp_path / "start.tif")
    assert still.depth == str(bits)
    np.testing.assert_array_equal(still.pixels, codes)
    return still


@pytest.mark.parametrize("width", [63, 64, 65, 66])
def test_the_last_sample_of_a_10_bit_dpx_line_with_alpha(tmp_path: Path, width: int) -> None:
    codes = np.random.default_rng(width).integers(0, 1024, (9, width, 4)).astype(np.uint16)
    words = codes << 6 | codes >> 4
    write_raw(
        tmp_path / "a.dpx", words, "uint16", oiio__BitsPerSample=10, oiio__UnassociatedAlpha=1
    )
    # The file itself, after SMPTE ST 268, 10 bit filled to 32-bit words, method A.
    raw = (tmp_path / "a.dpx").read_bytes()
    order = ">" if raw[:4] == b"SDPX" else "<"
    offset = struct.unpack(f"{order}I", raw[4:8])[0]
    packed = np.frombuffer(raw, f"{order}u4", offset=offset).reshape(9, -1)
    samples = np.stack([packed >> 22, packed >> 12 & 1023, packed >> 2 & 1023], axis=-1)
    samples = samples.reshape(9, -1)[:, : width * 4].reshape(codes.shape)
    np.testing.assert_array_equal(samples, codes)
    np.testing.assert_array_equal(read_still(tmp_path / "a.dpx").pixels, samples)


def test_exr_half_and_float_as_ffmpeg_reads_them(
    tmp_path: Path, photograph: NDArray[np.uint8]
) -> None:
    linear = (photograph.astype(np.float32) / 255) ** 2.4 * 8  # over 1, as scene light is
    write_raw(tmp_path / "in.exr", linear, "half", compression="zip")
    still = read_still(tmp_path / "in.exr")
    assert still.depth == "half"
    assert still.pixels.dtype == np.float16
    np.testing.assert_array_equal(still.pixels, linear.astype(np.float16))
    write_still(apply_to_still(HALVING, still), tmp_path / "out.exr")
    want = (linear.astype(np.float16).astype(np.float64) / 2).astype(np.float16)
    with av.open(str(tmp_path / "out.exr")) as container:
        frame = next(container.decode(video=0))
        assert frame.format.name == "gbrpf16le"
        for plane, channel in zip(frame.planes, (1, 2, 0), strict=True):
            lines = np.frombuffer(plane, np.float16).reshape(frame.height, -1)
            np.testing.assert_array_equal(lines[:, : frame.width], want[..., channel])
    write_still(still, tmp_path / "deep.exr", depth="float")
    assert read_still(tmp_path / "deep.exr").depth == "float"


def test_channels_beyond_r_g_b_go_through_untouched(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    names = ("R", "G", "B", "A", "Z", "mask.soft")
    pixels = rng.random((20, 30, 6)).astype(np.float32)
    pixels[..., 4] *= 1e4
    pixels[..., 3] = 1
    write_raw(tmp_path / "in.exr", pixels, "float", channelnames=names, compression="zip")
    still = apply_to_still(HALVING, read_still(tmp_path / "in.exr"))
    assert write_still(still, tmp_path / "out.exr") == []
    out = read_still(tmp_path / "out.exr")
    by_name = dict(zip(out.channels, np.moveaxis(out.pixels, -1, 0), strict=True))
    assert set(by_name) == set(names)
    for index, name in enumerate(names):
        want = pixels[..., index] * (0.5 if name in "RGB" else 1)
        np.testing.assert_array_equal(by_name[name], want)
    notes = write_still(still, tmp_path / "out.png")
    assert "Z" in notes[0]
    assert "mask.soft" in notes[0]


def test_a_layer_has_its_own_alpha(tmp_path: Path) -> None:
    """R, G, B of the only layer, divided by that layer's alpha and not by another's."""
    names = ("view.R", "view.G", "view.B", "view.A", "A")
    pixels = np.tile(np.array([0.2, 0.1, 0.05, 0.5, 0.25], np.float32), (4, 4, 1))
    write_raw(tmp_path / "in.exr", pixels, "float", channelnames=names)
    squared = Lut3D(Lut3D.identity(65).table ** 2)
    write_still(apply_to_still(squared, read_still(tmp_path / "in.exr")), tmp_path / "out.exr")
    out = read_still(tmp_path / "out.exr")
    got = {name: out.pixels[0, 0, index] for index, name in enumerate(out.channels)}
    want = [0.4**2 * 0.5, 0.2**2 * 0.5, 0.1**2 * 0.5, 0.5, 0.25]
    # A 65-node LUT of a square: a quarter of a cell squared, times alpha.
    np.testing.assert_allclose([got[name] for name in names], want, atol=(1 / 64) ** 2 / 4)


def test_half_colours_beside_a_float_depth_channel(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    pixels = rng.random((10, 12, 4)).astype(np.float16).astype(np.float32)
    pixels[..., 3] = rng.random((10, 12)).astype(np.float32) * 1e5
    header = oiio.ImageSpec(12, 10, 4, "float")
    header.channelnames = ("R", "G", "B", "Z")
    header.channelformats = (oiio.HALF, oiio.HALF, oiio.HALF, oiio.FLOAT)
    writer = oiio.ImageOutput.create(str(tmp_path / "in.exr"))
    assert writer.open(str(tmp_path / "in.exr"), header)
    assert writer.write_image(pixels)
    writer.close()
    write_still(read_still(tmp_path / "in.exr"), tmp_path / "out.exr")
    source = oiio.ImageInput.open(str(tmp_path / "out.exr"))
    assert [str(each) for each in source.spec().channelformats] == ["half"] * 3 + ["float"]
    np.testing.assert_array_equal(source.read_image(oiio.FLOAT), pixels)
    source.close()


def test_straight_alpha_and_premultiplied_alpha(tmp_path: Path) -> None:
    """Straight colours (PNG) go in as they are, premultiplied ones (OpenEXR) divided first."""
    squared = Lut3D(Lut3D.identity(65).table ** 2)
    colour, alpha = np.array([0.25, 0.5, 0.75]), 0.5
    straight = np.empty((4, 4, 4), np.uint16)
    straight[..., :3] = np.rint(colour * 65535)
    straight[..., 3] = round(alpha * 65535)
    write_raw(tmp_path / "in.png", straight, "uint16", oiio__UnassociatedAlpha=1)
    still = apply_to_still(squared, read_still(tmp_path / "in.png"))
    assert not still.premultiplied
    np.testing.assert_allclose(still.signal()[0, 0], colour**2, atol=1 / 65535 + 1e-6)
    assert (still.pixels[..., 3] == straight[..., 3]).all()
    # To OpenEXR, whose colours are premultiplied, and back.
    write_still(still, tmp_path / "out.exr", depth="float")
    premultiplied = read_still(tmp_path / "out.exr")
    assert premultiplied.premultiplied
    np.testing.assert_allclose(premultiplied.pixels[0, 0, :3], colour**2 * alpha, atol=2e-5)
    write_still(premultiplied, tmp_path / "back.png")
    np.testing.assert_allclose(
        read_still(tmp_path / "back.png").pixels.astype(int), still.pixels.astype(int), atol=1
    )
    # A premultiplied picture through the LUT: the colour is squared, not the product.
    edge = np.full((4, 4, 4), alpha, np.float32)
    edge[..., :3] = colour * alpha
    edge[0, 0] = (0.1, 0.2, 0.3, 0.0)  # light without cover, as a flame
    write_raw(tmp_path / "edge.exr", edge, "float")
    out = apply_to_still(squared, read_still(tmp_path / "edge.exr"))
    np.testing.assert_allclose(out.pixels[1, 1, :3], colour**2 * alpha, atol=2e-5)
    np.testing.assert_allclose(out.pixels[0, 0, :3], [0.01, 0.04, 0.09], atol=1e-4)


def test_metadata_stays_and_colour_tags_go(tmp_path: Path, photograph: NDArray[np.uint8]) -> None:
    from PIL import ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    info = TiffImagePlugin.ImageFileDirectory_v2()
    info[315] = "Salt Road unit"  # Artist
    info[270] = "slate 12"  # ImageDescription
    Image.fromarray(photograph).save(tmp_path / "in.tif", tiffinfo=info, icc_profile=profile)
    still = read_still(tmp_path / "in.tif")
    assert "ICCProfile" in still.metadata
    write_still(still, tmp_path / "out.tif")
    with Image.open(tmp_path / "out.tif") as picture:
        assert picture.tag_v2[315] == "Salt Road unit"
        assert picture.tag_v2[270] == "slate 12"
        assert "icc_profile" not in picture.info
        np.testing.assert_array_equal(np.asarray(picture), photograph)
    write_still(still, tmp_path / "out.png")
    with Image.open(tmp_path / "out.png") as picture:
        assert "icc_profile" not in picture.info
        assert "srgb" not in picture.info
        assert "gamma" not in picture.info
    write_still(still, tmp_path / "tagged.png", tags=ColourTags("BT.709", "sRGB"))
    with Image.open(tmp_path / "tagged.png") as picture:
        assert "srgb" in picture.info


def test_dpx_time_code_stays_and_its_transfer_code_goes(tmp_path: Path) -> None:
    codes = np.zeros((8, 9, 3), np.uint16)
    write_raw(
        tmp_path / "in.dpx",
        codes,
        "uint16",
        oiio__BitsPerSample=10,
        dpx__Transfer="Logarithmic",
        dpx__TimeCode="01:02:03:04",
        DocumentName="Salt Road",
    )
    still = read_still(tmp_path / "in.dpx")
    assert still.metadata["dpx:Transfer"] == "Logarithmic"
    write_still(still, tmp_path / "plain.dpx")
    out = read_still(tmp_path / "plain.dpx").metadata
    assert out["DocumentName"] == "Salt Road"
    assert out["dpx:TimeCode"] == still.metadata["dpx:TimeCode"] == "01:02:03:04"
    assert out["dpx:Transfer"] != "Logarithmic"
    write_still(still, tmp_path / "tagged.dpx", tags=ColourTags("bt.709", "BT.1886"))
    # SMPTE ST 268: bytes 801 and 802 of the header; 6 stands for BT.709.
    assert (tmp_path / "tagged.dpx").read_bytes()[801:803] == bytes([6, 6])


def test_the_target_is_tagged_in_png_and_exr(tmp_path: Path, photograph: NDArray[np.uint8]) -> None:
    write_raw(tmp_path / "in.png", photograph, "uint8")
    still = read_still(tmp_path / "in.png")
    write_still(still, tmp_path / "out.png", tags=ColourTags("BT.2020", "BT.2100 PQ"))
    raw = (tmp_path / "out.png").read_bytes()
    at = raw.index(b"cICP")
    # Code points of Recommendation ITU-T H.273; the chunk after the third edition of PNG.
    assert raw[at + 4 : at + 8] == bytes([9, 16, 0, 1])
    write_still(still, tmp_path / "out.exr", tags=ColourTags("P3-D65"))
    given = read_still(tmp_path / "out.exr").metadata["chromaticities"]
    np.testing.assert_allclose(
        given, (0.680, 0.320, 0.265, 0.690, 0.150, 0.060, 0.3127, 0.3290), atol=1e-6
    )
    with pytest.raises(LutbenchError, match=r"there is no tag for the gamut 'Tarn Wide'.*BT\.709"):
        ColourTags("Tarn Wide")


def test_a_grey_still_comes_as_three_channels(tmp_path: Path) -> None:
    ramp = np.arange(256, dtype=np.uint8).reshape(16, 16)
    Image.fromarray(ramp).save(tmp_path / "grey.png")
    still = read_still(tmp_path / "grey.png")
    assert still.channels == ("R", "G", "B")
    np.testing.assert_array_equal(still.pixels, np.repeat(ramp[..., None], 3, axis=2))


def test_output_depths() -> None:
    assert output_depth("8", "png") == "8"
    assert output_depth("12", "tiff") == "12"
    assert output_depth("12", "png") == "16"
    assert output_depth("float", "dpx") == "16"
    assert output_depth("16", "jpeg") == "8"
    assert output_depth("float", "openexr", "half") == "half"
    with pytest.raises(LutbenchError, match="png cannot hold a depth of 10; accepted: 8, 16"):
        output_depth("10", "png", "10")


def test_blocks_give_what_the_whole_gives(photograph: NDArray[np.uint8], tmp_path: Path) -> None:
    """A picture of several blocks, against the transform of the whole in float64."""
    large = np.tile(photograph, (6, 9, 1))
    write_raw(tmp_path / "large.png", large, "uint8")
    squared = Lut3D(Lut3D.identity(33).table ** 2)
    still = apply_to_still(squared, read_still(tmp_path / "large.png"))
    exact = squared.apply(large / 255.0) * 255
    assert np.abs(still.pixels - exact).max() <= 0.5 + 255 * 2e-6  # half a code and float32


def test_files_are_never_replaced_unasked(tmp_path: Path, photograph: NDArray[np.uint8]) -> None:
    write_raw(tmp_path / "in.png", photograph, "uint8")
    still = read_still(tmp_path / "in.png")
    (tmp_path / "out.png").write_bytes(b"mine")
    with pytest.raises(LutbenchError, match="force=True"):
        write_still(still, tmp_path / "out.png")
    assert (tmp_path / "out.png").read_bytes() == b"mine"
    write_still(still, tmp_path / "out.png", force=True)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["in.png", "out.png"]


def png_of(*chunks: tuple[bytes, bytes]) -> bytes:
    """A PNG of these chunks, their checksums right."""
    import zlib

    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    )


def png_header(width: int, height: int, *rest: int) -> tuple[bytes, bytes]:
    return b"IHDR", struct.pack(">IIBBBBB", width, height, *(rest or (8, 2, 0, 0, 0)))


PNG_PIXELS, PNG_END = (b"IDAT", zlib.compress(b"\0" * 64)), (b"IEND", b"")


def png_that_claims(width: int, height: int) -> bytes:
    """A PNG header of that size with next to nothing behind it."""
    return png_of(png_header(width, height), PNG_PIXELS, PNG_END)


@pytest.mark.parametrize(
    ("chunks", "words"),
    [
        ((PNG_PIXELS, png_header(4, 4), PNG_END), "begin with its only header"),
        ((png_header(4, 4), png_header(4, 4), PNG_PIXELS, PNG_END), "begin with its only header"),
        (((b"IHDR", b"\0" * 5), PNG_PIXELS, PNG_END), "header of the PNG file is not valid"),
        ((png_header(0, 4), PNG_PIXELS, PNG_END), "header of the PNG file is not valid"),
        ((png_header(4, 4, 3, 2, 0, 0, 0), PNG_PIXELS, PNG_END), "header of the PNG file"),
        ((png_header(4, 4), PNG_END), "holds no picture"),
        ((png_header(4, 4, 8, 3, 0, 0, 0), PNG_PIXELS, PNG_END), "holds no picture"),
        ((png_header(4, 4), PNG_PIXELS), "truncated"),
    ],
)
def test_a_png_of_wrong_structure_is_refused_by_us_alone(
    chunks: tuple[tuple[bytes, bytes], ...],
    words: str,
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
) -> None:
    """The image library prints lines of its own about such files when it is given one."""
    (tmp_path / "in.png").write_bytes(png_of(*chunks))
    with pytest.raises(LutbenchError, match=words):
        read_still(tmp_path / "in.png")
    assert capfd.readouterr() == ("", "")


def hostile_files(tmp_path: Path, photograph: NDArray[np.uint8]) -> dict[str, bytes]:
    """Headers that lie: absurd sizes, cut files, other contents."""
    for name in ("ok.dpx", "ok.exr", "ok.tif", "ok.jpg", "ok.png"):
        kind = "half" if name.endswith("exr") else "uint8"
        write_raw(tmp_path / name, photograph, kind)
    raw = {each.suffix: each.read_bytes() for each in tmp_path.glob("ok.*")}
    dpx = bytearray(raw[".dpx"])
    order = ">" if dpx[:4] == b"SDPX" else "<"
    struct.pack_into(f"{order}II", dpx, 772, 0xFFFFFF, 0xFFFFFF)
    jpeg = bytearray(raw[".jpg"])
    at = jpeg.index(b"\xff\xc0")
    struct.pack_into(">HH", jpeg, at + 5, 65500, 65500)
    exr = bytearray(raw[".exr"])
    for window in (b"dataWindow\0box2i\0", b"displayWindow\0box2i\0"):
        struct.pack_into("<iiii", exr, exr.index(window) + len(window) + 4, 0, 0, 2**30, 2**30)
    tiff = bytearray(raw[".tif"])
    offset = struct.unpack_from("<I", tiff, 4)[0]
    for entry in range(struct.unpack_from("<H", tiff, offset)[0]):
        at = offset + 2 + 12 * entry
        if struct.unpack_from("<H", tiff, at)[0] in (256, 257):
            struct.pack_into(
                "<HHII", tiff, at, struct.unpack_from("<H", tiff, at)[0], 4, 1, 900_000
            )
    return {
        "wide.png": png_that_claims(200_000, 200_000),
        "wide.dpx": bytes(dpx),
        "wide.jpg": bytes(jpeg),
        "wide.exr": bytes(exr),
        "wide.tif": bytes(tiff),
        "empty.png": b"",
        "text.exr": b"not a picture at all",
        **{f"cut{suffix}": body[: len(body) // 3] for suffix, body in raw.items()},
    }


def test_hostile_headers_are_refused_in_one_line(
    tmp_path: Path, photograph: NDArray[np.uint8]
) -> None:
    import resource

    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for name, body in hostile_files(tmp_path, photograph).items():
        (tmp_path / name).write_bytes(body)
        with pytest.raises(LutbenchError) as caught:
            read_still(tmp_path / name)
        assert "\n" not in str(caught.value)
        assert name in str(caught.value)
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown < 1 << 20  # KiB: under 1 GiB, the limit


def peak_of(call: Callable[[], object]) -> int:
    """The most memory that a call takes on top of what the process holds, in bytes."""

    def figure(name: str) -> int:
        lines = Path("/proc/self/status").read_text().splitlines()
        return next(int(line.split()[1]) << 10 for line in lines if line.startswith(name))

    try:
        Path("/proc/self/clear_refs").write_text("5")  # the peak starts anew
    except OSError:
        pytest.skip("this system does not tell the peak of a while")
    before = figure("VmRSS")
    call()
    return figure("VmHWM") - before


@pytest.mark.parametrize("suffix", [".png", ".jpg", ".tif", ".dpx"])
def test_a_picture_takes_its_pixels_and_little_more(suffix: str, tmp_path: Path) -> None:
    large = np.zeros((6000, 6000, 3), np.uint8)
    write_raw(tmp_path / f"large{suffix}", large, "uint8")
    # The bound that is held against the limit before a pixel is read.
    assert peak_of(lambda: read_still(tmp_path / f"large{suffix}")) < large.nbytes * 5 / 4 + (
        64 << 20
    )


def test_a_header_that_lies_costs_no_memory(tmp_path: Path, photograph: NDArray[np.uint8]) -> None:
    """A JPEG of a few KiB that claims 15900 x 15900 pixels: 723 MiB, which the limit allows."""
    write_raw(tmp_path / "in.jpg", photograph, "uint8")
    data = bytearray((tmp_path / "in.jpg").read_bytes())
    at = data.index(b"\xff\xc0") + 5
    data[at : at + 4] = struct.pack(">HH", 15900, 15900)
    (tmp_path / "in.jpg").write_bytes(data)

    def refused() -> None:
        with pytest.raises(LutbenchError, match="cannot be read: JPEG error"):
            read_still(tmp_path / "in.jpg")

    assert peak_of(refused) < 128 << 20


def test_what_the_library_holds_as_a_whole_is_counted(tmp_path: Path) -> None:
    """Pictures that come in passes, and one tile: refused where a plain one of the size is not."""
    large = Image.fromarray(np.zeros((3000, 3000, 3), np.uint8))  # 26 MiB
    limit = (64 + 34) << 20
    large.save(tmp_path / "plain.jpg")
    large.save(tmp_path / "plain.png")
    large.save(tmp_path / "passes.jpg", progressive=True)
    body = zlib.compress(b"\0" * (3 * 3000 * 3000 + 15 * 3000))  # 15: a filter byte a line
    header = png_header(3000, 3000, 8, 2, 0, 0, 1)
    (tmp_path / "passes.png").write_bytes(png_of(header, (b"IDAT", body), PNG_END))
    for name, tile in (("plain.tif", 16), ("passes.tif", 3008)):
        write_tiles(tmp_path / name, np.asarray(large), tile)
    for suffix in (".jpg", ".png", ".tif"):
        read_still(tmp_path / f"plain{suffix}", limit=limit)
        passes = tmp_path / f"passes{suffix}"
        with pytest.raises(LutbenchError, match="channels would take"):
            read_still(passes, limit=limit)
        # What is counted is enough.
        assert peak_of(lambda passes=passes: read_still(passes)) < (3.25 * 26 + 64) * (1 << 20)


def test_a_jpeg_of_endless_scans_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "in.jpg"
    Image.fromarray(np.zeros((64, 64, 3), np.uint8)).save(path, progressive=True)
    data = path.read_bytes()
    at = [found.start() for found in re.finditer(rb"\xff\xda", data)]
    last = data[at[-1] : -2]
    path.write_bytes(data[:-2] + last * (100 - len(at)) + data[-2:])
    assert read_still(path).width == 64
    path.write_bytes(data[:-2] + last * (101 - len(at)) + data[-2:])
    with pytest.raises(LutbenchError, match="too many scans; accepted: up to 100"):
        read_still(path)


def write_tiles(path: Path, pixels: NDArray[np.generic], tile: int) -> None:
    header = oiio.ImageSpec(pixels.shape[1], pixels.shape[0], 3, "uint8")
    header.tile_width = header.tile_height = tile
    writer = oiio.ImageOutput.create(str(path))
    assert writer.open(str(path), header), writer.geterror()
    assert writer.write_image(pixels)
    writer.close()


@pytest.mark.parametrize(
    ("suffix", "kind", "window"), [(".exr", "half", (-7, 5)), (".tif", "uint16", (0, 0))]
)
def test_tiles_and_a_window_that_is_moved(
    suffix: str, kind: str, window: tuple[int, int], tmp_path: Path
) -> None:
    """Neither the width nor the height is whole tiles."""

    top = 1.0 if kind == "half" else 65535.0
    number = np.float16 if kind == "half" else np.uint16
    rng = np.random.default_rng(3)
    wanted = (rng.random((300, 90, 3)) * top).astype(number)
    for tile in (0, 64):
        header = oiio.ImageSpec(90, 300, 3, kind)
        header.x, header.y = window
        header.tile_width = header.tile_height = tile
        path = tmp_path / f"in{tile}{suffix}"
        writer = oiio.ImageOutput.create(str(path))
        assert writer.open(str(path), header), writer.geterror()
        assert writer.write_image(wanted)
        writer.close()
        found = read_still(path)
        np.testing.assert_array_equal(found.pixels, wanted)


def test_the_memory_limit_can_be_set(
    tmp_path: Path, photograph: NDArray[np.uint8], monkeypatch: pytest.MonkeyPatch
) -> None:
    write_raw(tmp_path / "in.png", np.tile(photograph, (8, 8, 1)), "uint8")
    read_still(tmp_path / "in.png")
    monkeypatch.setenv(MEMORY_VARIABLE, "65")
    with pytest.raises(LutbenchError, match=MEMORY_VARIABLE):
        read_still(tmp_path / "in.png")
    monkeypatch.setenv(MEMORY_VARIABLE, "lots")
    with pytest.raises(LutbenchError, match="accepted: a number of MiB"):
        read_still(tmp_path / "in.png")


def test_what_is_no_still_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match=r"'\.mov' is not a suffix of stills"):
        read_still(tmp_path / "clip.mov")
    with pytest.raises(LutbenchError, match="cannot read"):
        read_still(tmp_path / "missing.png")
    pixels = np.zeros((4, 4, 2), np.float32)
    write_raw(tmp_path / "uv.exr", pixels, "half", channelnames=("u", "v"))
    with pytest.raises(LutbenchError, match="the channels are u, v"):
        read_still(tmp_path / "uv.exr")
