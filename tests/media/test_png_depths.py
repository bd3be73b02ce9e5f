"""Which bit depths a PNG may have: table 11.1 of the PNG specification (ISO/IEC 15948)."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import pytest

from lutbench.errors import FormatError
from lutbench.media.still.checks import check_png

# Colour type: greyscale, truecolour, indexed, greyscale and truecolour with alpha.
ALLOWED = {
    *((0, depth) for depth in (1, 2, 4, 8, 16)),
    *((2, depth) for depth in (8, 16)),
    *((3, depth) for depth in (1, 2, 4, 8)),
    *((4, depth) for depth in (8, 16)),
    *((6, depth) for depth in (8, 16)),
}


def chunks(depth: int, colour_type: int, interlace: int = 0) -> bytes:
    """What stands behind the signature of a small PNG."""
    header = struct.pack(">IIBBBBB", 4, 4, depth, colour_type, 0, 0, interlace)
    parts = [(b"IHDR", header), (b"PLTE", bytes(6)), (b"IDAT", zlib.compress(bytes(64)))]
    return b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in [*parts, (b"IEND", b"")]
    )


@pytest.mark.parametrize("colour_type", range(8))
def test_depths_by_colour_type(colour_type: int, tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    for depth in range(34):
        path.write_bytes(chunks(depth, colour_type))
        with path.open("rb") as file:
            if (colour_type, depth) in ALLOWED:
                assert check_png(file, path) is False
            else:
                with pytest.raises(FormatError, match="header"):
                    check_png(file, path)


@pytest.mark.parametrize("interlace", [0, 1, 2])
def test_interlace(interlace: int, tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    path.write_bytes(chunks(8, 2, interlace))
    with path.open("rb") as file:
        if interlace < 2:
            assert check_png(file, path) is (interlace == 1)
        else:
            with pytest.raises(FormatError, match="header"):
                check_png(file, path)


def test_the_small_png_is_one() -> None:
    """Pillow opens what the tests are made of."""
    from PIL import Image

    data = b"\x89PNG\r\n\x1a\n" + chunks(8, 2)
    with Image.open(io.BytesIO(data)) as picture:
        assert (picture.size, picture.mode) == ((4, 4), "RGB")
