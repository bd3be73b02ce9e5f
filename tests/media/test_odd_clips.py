"""Clips of unusual sizes and lengths: right, or refused in one line."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest
from clips import decoded

from lutbench import LutbenchError
from lutbench.media.clip.clip import ClipSettings, apply_to_clip
from lutbench.media.clip.codecs import has_encoder
from lutbench.media.clip.writer import settle_decoding_time
from lutbench.tables.lut import Lut3D

IDENTITY = Lut3D.identity(2)


def made(path: Path, size: tuple[int, int], form: str, count: int = 2) -> Path:
    """A clip of grey frames in FFV1."""
    width, height = size
    with av.open(str(path), "w") as file:
        stream = file.add_stream("ffv1", rate=25)
        stream.width, stream.height, stream.pix_fmt = width, height, form
        picture = np.full((height, width, 3), 100, np.uint8)
        for _ in range(count):
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(format=form)
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    return path


@pytest.mark.parametrize("size", [(159, 119), (159, 120), (160, 119)])
@pytest.mark.parametrize("form", ["yuv420p", "yuv444p10le"])
def test_odd_sizes_are_kept_or_refused_in_plain_words(
    size: tuple[int, int], form: str, tmp_path: Path
) -> None:
    source = made(tmp_path / "in.mkv", size, form)
    taken = []
    for codec, suffix in (("ffv1", "mkv"), ("prores", "mov"), ("dnxhr", "mxf")):
        target = tmp_path / f"out.{suffix}"
        told = ""
        try:
            apply_to_clip(IDENTITY, source, target, ClipSettings(codec=codec))
        except LutbenchError as error:
            told = str(error)
        if told:
            assert f" pictures of {size[0]}×{size[1]} pixels; accepted: an even" in told
            assert not target.exists()
        else:
            taken.append(codec)
            assert {(each.width, each.height) for each in decoded(target)} == {size}
    assert ("ffv1" in taken) == (form == "yuv444p10le")
    # As the message says.
    settings = ClipSettings(codec="ffv1", chroma="444")
    apply_to_clip(IDENTITY, source, tmp_path / "out.mkv", settings, force=True)


@pytest.mark.parametrize("count", [1, 2])
def test_the_shortest_clips_can_be_written(count: int, tmp_path: Path) -> None:
    source = made(tmp_path / "in.mkv", (160, 120), "yuv420p", count)
    for codec in ("h264", "h265"):
        if not has_encoder(f"libx{codec[1:]}"):
            pytest.skip("this build of FFmpeg has no such encoder")
        target = tmp_path / f"{codec}.mp4"
        for _ in range(3):  # what libx265 makes of them is another each time
            apply_to_clip(IDENTITY, source, target, ClipSettings(codec=codec), force=True)
            assert len(list(decoded(target))) == count


def test_a_decoding_time_that_cannot_be_is_replaced() -> None:
    base = Fraction(1, 25)
    for pts, dts, settled in ((0, -2, -2), (7, -94866883690687, 7), (3, 5, 3), (4, None, None)):
        packet = SimpleNamespace(pts=pts, dts=dts)
        settle_decoding_time(packet, base)
        assert packet.dts == settled


def test_a_note_says_that_r_g_b_is_rounded(tmp_path: Path) -> None:
    source = made(tmp_path / "in.mkv", (32, 32), "gbrp10le")
    outcome = apply_to_clip(IDENTITY, source, tmp_path / "out.mkv")
    assert any("written as Y'CbCr of BT.709" in note for note in outcome.notes)
