"""Clips against FFmpeg: its own conversion to Y'CbCr, its own lut3d, its own reading of ours.

The clips are made by FFmpeg (through PyAV) from a photograph that scikit-image
carries and from colour-science's measured 24-patch chart, in the open log
encoding ACEScct (Academy S-2016-001), computed by colour-science.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import colour
import numpy as np
import pytest
from clips import (
    EXACT,
    chroma_to,
    coded_by_ffmpeg,
    decoded,
    filtered,
    log_picture,
    planes_of,
    rgb_codes,
    rgb_frame,
)
from numpy.typing import NDArray

from lutbench import LutbenchError
from lutbench.formats.cube_write import write_cube
from lutbench.media.clip.clip import ClipSettings, apply_to_clip, clip_pictures, open_clip
from lutbench.media.clip.codecs import CODECS, has_encoder
from lutbench.media.clip.coding import coding_of, rgb_of
from lutbench.media.clip.writer import time_code
from lutbench.media.tags import ColourTags
from lutbench.tables.lut import Lut3D

MATRICES = {"BT.601": ("smpte170m", 6), "BT.709": ("bt709", 1), "BT.2020": ("bt2020nc", 9)}


def display_lut(size: int = 33) -> Lut3D:
    """ACEScct to a 2.4 power display, held to 0..1."""
    linear = colour.models.log_decoding_ACEScct(Lut3D.identity(size).table)
    return Lut3D(np.clip(linear, 0, 1) ** (1 / 2.4))


def large_chart() -> NDArray[np.uint16]:
    """The chart alone, its patches 78 by 36 pixels: (144, 480, 3)."""
    return np.repeat(np.repeat(log_picture()[72:], 3, axis=0), 3, axis=1)


def patch_means(rgb: NDArray[Any]) -> NDArray[np.float64]:
    """The middles of the 24 patches of `large_chart`, far from their edges: (4, 6, 3)."""
    inner = [78 * patch + offset for patch in range(6) for offset in range(27, 51)]
    rows = rgb.reshape(4, 36, 480, 3)[:, 14:22][:, :, inner]
    return np.asarray(rows.reshape(4, 8, 6, 24, 3).mean(axis=(1, 3)))


def write_clip(
    path: Path,
    frames: list[Any],
    codec: str = "ffv1",
    *,
    tags: tuple[int, int, int, int] = (1, 1, 2, 2),
    sound: bool = False,
    times: list[int] | None = None,
    code: str = "",
    options: dict[str, str] | None = None,
    rotation: int = 0,
) -> Path:
    """Frames as a clip, by FFmpeg; times count 1/25000 s."""
    with av.open(str(path), "w") as output:
        stream = output.add_stream(codec, rate=25, options=options or {})
        stream.width, stream.height = frames[0].width, frames[0].height
        stream.pix_fmt = frames[0].format.name
        stream.time_base = stream.codec_context.time_base = Fraction(1, 25000)
        context = stream.codec_context
        context.color_range, context.colorspace, context.color_primaries, context.color_trc = tags
        if rotation:
            stream.set_display_rotation(rotation)
        if code:
            output.metadata["timecode"] = code
        output.metadata["title"] = "Salt Road"
        if sound:
            voice = output.add_stream("pcm_s16le", rate=48000)
            voice.layout = "stereo"
        for number, frame in enumerate(frames):
            frame.pts = times[number] if times else 1000 * number
            frame.time_base = Fraction(1, 25000)
            frame.color_range, frame.colorspace, frame.color_primaries, frame.color_trc = tags
            output.mux(stream.encode(frame))
            if sound:
                noise = np.random.default_rng(number).integers(-9999, 9999, (1, 2 * 1920))
                part = av.AudioFrame.from_ndarray(noise.astype(np.int16), "s16", "stereo")
                part.sample_rate, part.pts = 48000, 1920 * number
                output.mux(voice.encode(part))
        output.mux(stream.encode(None))
        if sound:
            output.mux(voice.encode(None))
    return path


def sound_of(path: Path) -> bytes:
    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        return b"".join(bytes(packet) for packet in container.demux(stream))


@pytest.mark.parametrize("span", ["legal", "full"])
@pytest.mark.parametrize("matrix", MATRICES)
@pytest.mark.parametrize("bits", [8, 10, 12])
def test_what_ffmpeg_coded_is_read_back(tmp_path: Path, bits: int, matrix: str, span: str) -> None:
    """4:4:4 by FFmpeg's own conversion; the tags alone say how to read it."""
    codes = log_picture()
    name, tag = MATRICES[matrix]
    form = "yuv444p" + ("" if bits == 8 else f"{bits}le")
    frame = coded_by_ffmpeg(form, name, {"legal": "tv", "full": "pc"}[span], codes)
    tags = (1 if span == "legal" else 2, tag, 2, 2)
    path = write_clip(tmp_path / "in.mkv", [frame], tags=tags)
    with open_clip(path) as container:
        stream = container.streams.video[0]
        coding = coding_of(stream)
        assert (coding.bits, coding.matrix, coding.range, coding.notes) == (bits, matrix, span, ())
        rgb = rgb_of(next(container.decode(stream)), coding)
    # Y', Cb and Cr were each rounded: half a code, and at most 2 × half a code of
    # chroma on B and R; FFmpeg's fixed-point matrix may be a code off beyond that.
    limit = (0.5 + 0.5 * 2 + 1) / (2**bits * (219 / 256 if span == "legal" else 1))
    assert np.abs(rgb - codes / 65535).max() < limit


@pytest.mark.parametrize(
    "form", ["yuv420p", "yuv422p", "yuv420p10le", "yuv422p10le", "yuv420p12le", "yuv422p12le"]
)
def test_subsampled_chroma_is_read_back_inside_patches(tmp_path: Path, form: str) -> None:
    codes = large_chart()
    path = write_clip(tmp_path / "in.mkv", [coded_by_ffmpeg(form, "bt709", "tv", codes)])
    with open_clip(path) as container:
        stream = container.streams.video[0]
        coding = coding_of(stream)
        assert coding.chroma == form[3:6]
        rgb = rgb_of(next(container.decode(stream)), coding)
    off = np.abs(patch_means(rgb) - patch_means(codes / 65535))
    # Half a code of luma, and of chroma twice (at 4:4:4, then at its own size).
    assert off.max() < (0.5 + 2 * 0.5 * 1.8556) / (219 * 2 ** (coding.bits - 8))


def rgb_by_ffmpeg(frame: Any, *more: str) -> Any:
    """R G B of 16 bits: chroma to 4:4:4 at 12 bits first, where it is not."""
    whole = [] if "444" in frame.format.name else chroma_to("yuv444p12le")
    exact = f"scale=in_color_matrix=bt709:in_range=tv:{EXACT}"
    return filtered(frame, *whole, exact, "format=pix_fmts=gbrp16le", *more)


def ffmpeg_lut3d(frame: Any, lut: Path, form: str) -> Any:
    """FFmpeg's own way: R G B of 16 bits, lut3d, and back."""
    whole = form[:3] + "444" + form[6:]
    return rgb_by_ffmpeg(
        frame,
        f"lut3d=file={lut}:interp=tetrahedral",
        f"scale=out_color_matrix=bt709:out_range=tv:{EXACT}",
        f"format=pix_fmts={whole}",
        *([] if whole == form else chroma_to(form)),
    )


@pytest.mark.parametrize("form", ["yuv444p10le", "yuv422p10le", "yuv420p10le"])
def test_agreement_with_ffmpegs_lut3d(tmp_path: Path, form: str) -> None:
    lut = display_lut()
    write_cube(lut, tmp_path / "lut.cube", decimals=None)
    source = coded_by_ffmpeg(form, "bt709", "tv", log_picture())
    path = write_clip(tmp_path / "in.mkv", [source])
    apply_to_clip(lut, path, tmp_path / "out.mkv")
    ours = planes_of(next(decoded(tmp_path / "out.mkv")))
    theirs = planes_of(ffmpeg_lut3d(next(decoded(path)), tmp_path / "lut.cube", form))
    for mine, other in zip(ours, theirs, strict=True):
        off = np.abs(mine - other)
        if form == "yuv444p10le":
            assert off.max() <= 1  # a code of 10 bits: rounding
        else:
            # The filters for chroma differ, which edges show and areas do not.
            assert off.mean() < 4
            assert np.abs((mine - other).mean()) < 0.2
    if form != "yuv444p10le":
        chart = coded_by_ffmpeg(form, "bt709", "tv", large_chart())
        path = write_clip(tmp_path / "chart.mkv", [chart])
        apply_to_clip(lut, path, tmp_path / "chart_out.mkv")
        mine = rgb_codes(rgb_by_ffmpeg(next(decoded(tmp_path / "chart_out.mkv"))))
        other = rgb_codes(
            rgb_by_ffmpeg(ffmpeg_lut3d(next(decoded(path)), tmp_path / "lut.cube", form))
        )
        assert np.abs(patch_means(mine) - patch_means(other)).max() < 2 * 65535 / 876


def every_codec() -> list[Any]:
    return [
        pytest.param(
            name, suffix, marks=pytest.mark.skipif(not has_encoder(CODECS[name].encoder), reason="")
        )
        for name, suffix in (
            ("prores", ".mov"),
            ("prores4444", ".mov"),
            ("dnxhr", ".mov"),
            ("dnxhr", ".mxf"),
            ("dnxhr444", ".mov"),
            ("h264", ".mp4"),
            ("h265", ".mp4"),
            ("ffv1", ".mkv"),
        )
    ]


@pytest.mark.parametrize(("codec", "suffix"), every_codec())
def test_colour_sound_time_code_and_times(tmp_path: Path, codec: str, suffix: str) -> None:
    """Chart patches after the codec, sound bit for bit, and every frame at its time."""
    times = [1000 * number + (500 if number > 3 else 0) for number in range(6)]
    if suffix == ".mxf":
        times = [1000 * number for number in range(6)]
    frames = [coded_by_ffmpeg("yuv422p10le", "bt709", "tv", large_chart()) for _ in range(6)]
    source = write_clip(
        tmp_path / "in.mov", frames, "prores_ks", sound=True, times=times, code="10:20:30:05"
    )
    lut = display_lut()
    settings = ClipSettings(codec=codec, quality=4, tags=ColourTags("BT.709", "BT.1886"))
    target = tmp_path / f"out{suffix}"
    seen: list[tuple[int, int | None]] = []
    outcome = apply_to_clip(
        lut, source, target, settings, watch=lambda done, total: seen.append((done, total))
    )
    assert (outcome.frames, outcome.codec, outcome.notes) == (6, codec, [])
    assert seen == [(number, 6) for number in range(1, 7)]
    with av.open(str(target)) as container:
        stream = container.streams.video[0]
        context = stream.codec_context
        assert (context.color_primaries, context.color_trc, context.colorspace) == (1, 1, 1)
        assert context.color_range == 1
        assert time_code(container) == "10:20:30:05"
        if suffix in (".mov", ".mp4"):
            assert container.metadata["title"] == "Salt Road"
        shown = list(container.decode(stream))
    unit = Fraction(1, 1000) if suffix == ".mkv" else Fraction(1, 25000)
    want = [Fraction(time, 25000) for time in times]
    assert all(
        abs(one.pts * one.time_base - two) < unit for one, two in zip(shown, want, strict=True)
    )
    assert sound_of(target) == sound_of(source)
    # Patches, read by FFmpeg's own conversion on both sides.
    before = rgb_codes(rgb_by_ffmpeg(list(decoded(source))[2])) / 65535
    after = rgb_codes(rgb_by_ffmpeg(shown[2])) / 65535
    off = np.abs(patch_means(after) - patch_means(lut.apply(before)))
    # Rounding as above, and a code for what the codec loses of a flat patch.
    limit = (1.5 + 2 * 1.8556) / (219 if shown[2].format.name == "yuv420p" else 876)
    assert off.max() < limit


def test_ten_and_twelve_bits_where_asked(tmp_path: Path) -> None:
    source = write_clip(
        tmp_path / "in.mkv", [coded_by_ffmpeg("yuv444p12le", "bt709", "tv", log_picture())] * 3
    )
    for codec, depth, chroma, form in (
        ("h264", 10, "422", "yuv422p10le"),
        ("h265", 12, "444", "yuv444p12le"),
        ("h265", None, None, "yuv420p10le"),
        ("h264", None, None, "yuv420p"),
        ("ffv1", None, None, "yuv444p12le"),
    ):
        settings = ClipSettings(codec=codec, depth=depth, chroma=chroma)
        apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mkv", settings, force=True)
        assert next(decoded(tmp_path / "out.mkv")).format.name == form
    with pytest.raises(LutbenchError, match="prores cannot hold 420; accepted: 10 bit 422"):
        apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mov", ClipSettings(chroma="420"))
    with pytest.raises(LutbenchError, match="a mov file cannot hold ffv1"):
        apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mov", ClipSettings(codec="ffv1"))
    assert not (tmp_path / "out.mov").exists()


def test_a_lossless_codec_and_the_identity_lose_nothing(tmp_path: Path) -> None:
    frame = coded_by_ffmpeg("yuv444p10le", "bt709", "tv", log_picture())
    source = write_clip(tmp_path / "in.mkv", [frame])
    apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mkv")
    one, two = (planes_of(next(decoded(tmp_path / name))) for name in ("in.mkv", "out.mkv"))
    for before, after in zip(one, two, strict=True):
        np.testing.assert_array_equal(before, after)


def test_alpha_goes_through(tmp_path: Path) -> None:
    frame = av.VideoFrame(160, 120, "yuva444p10le")
    for plane, level in zip(frame.planes, (500, 512, 512, 0), strict=True):
        np.frombuffer(plane, np.uint16)[:] = level
    lines = np.frombuffer(frame.planes[3], np.uint16).reshape(120, -1)
    lines[:, :160] = np.arange(160) * 6
    source = write_clip(tmp_path / "in.mkv", [frame])
    apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mkv")
    np.testing.assert_array_equal(
        planes_of(next(decoded(tmp_path / "out.mkv")))[3], np.tile(np.arange(160) * 6, (120, 1))
    )
    outcome = apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mp4")
    assert outcome.notes == ["h264 as chosen has no alpha: it is left out"]
    apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mov", ClipSettings(codec="prores4444"))
    with av.open(str(tmp_path / "out.mov")) as container:
        assert next(container.decode(video=0)).format.name == "yuva444p12le"


def test_r_g_b_clips(tmp_path: Path) -> None:
    codes = log_picture()
    source = write_clip(tmp_path / "in.mkv", [rgb_frame(codes)], tags=(2, 0, 2, 2))
    with open_clip(source) as container:
        stream = container.streams.video[0]
        rgb = rgb_of(next(container.decode(stream)), coding_of(stream))
    np.testing.assert_allclose(rgb, codes / 65535, atol=1e-6)
    assert apply_to_clip(display_lut(), source, tmp_path / "out.mov").frames == 1


def test_rotation_is_kept(tmp_path: Path) -> None:
    frames = [coded_by_ffmpeg("yuv420p", "bt709", "tv", log_picture()) for _ in range(2)]
    source = write_clip(tmp_path / "in.mp4", frames, "libx264", rotation=90)
    apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mov")
    rotations = [next(decoded(tmp_path / name)).rotation for name in ("in.mp4", "out.mov")]
    assert rotations[0] == rotations[1] != 0


def test_untagged_clips_say_what_was_assumed(tmp_path: Path) -> None:
    small = coded_by_ffmpeg("yuv420p", "bt709", "tv", log_picture())
    source = write_clip(tmp_path / "in.mkv", [small], tags=(0, 2, 2, 2))
    outcome = apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mkv")
    assert outcome.notes == [
        "the clip does not state its range: legal is assumed (--file-range)",
        "the clip does not state its matrix: BT.601 is assumed (--source-matrix)",
    ]
    told = ClipSettings(source_matrix="BT.709", file_range="full")
    outcome = apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mkv", told, force=True)
    assert outcome.notes == []
    with av.open(str(tmp_path / "out.mkv")) as container:
        context = container.streams.video[0].codec_context
        assert (context.color_range, context.colorspace) == (1, 1)
    large = av.VideoFrame(1280, 720, "yuv420p")
    source = write_clip(tmp_path / "hd.mkv", [large], tags=(1, 2, 9, 2))
    with open_clip(source) as container:
        assert coding_of(container.streams.video[0]).matrix == "BT.2020"


def test_the_matrix_follows_the_target(tmp_path: Path) -> None:
    frame = coded_by_ffmpeg("yuv422p10le", "bt2020nc", "tv", log_picture())
    source = write_clip(tmp_path / "in.mkv", [frame], tags=(1, 9, 9, 2))
    for tags, want in (
        (ColourTags(), (9, 2, 2)),
        (ColourTags("BT.709", "BT.1886"), (1, 1, 1)),
        (ColourTags("BT.2020", "BT.2100 PQ"), (9, 9, 16)),
    ):
        settings = ClipSettings(tags=tags)
        apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mov", settings, force=True)
        with av.open(str(tmp_path / "out.mov")) as container:
            context = container.streams.video[0].codec_context
            got = (context.colorspace, context.color_primaries, context.color_trc)
            assert tuple(map(int, got)) == want


def test_faults_are_said_in_one_line(tmp_path: Path) -> None:
    lut = Lut3D.identity(2)
    frames = [coded_by_ffmpeg("yuv420p", "bt709", "tv", log_picture()) for _ in range(12)]
    good = write_clip(tmp_path / "in.mp4", frames, "libx264", sound=True)
    cases: list[tuple[str, Callable[[], Any]]] = [
        ("cannot read", lambda: apply_to_clip(lut, tmp_path / "no.mov", tmp_path / "o.mov")),
        ("is not a suffix of clips", lambda: apply_to_clip(lut, good, tmp_path / "o.gif")),
        (
            "no codec is named 'vp9'",
            lambda: apply_to_clip(lut, good, tmp_path / "o.mov", ClipSettings(codec="vp9")),
        ),
        ("force=True", lambda: apply_to_clip(lut, good, good)),
    ]
    (tmp_path / "text.mov").write_text("#EXTM3U\nhttp://127.0.0.1/x.ts\n")
    (tmp_path / "list.mov").write_text("ffconcat version 1.0\nfile /etc/hostname\n")
    (tmp_path / "cut.mov").write_bytes(good.read_bytes()[:3000])
    for name in ("text.mov", "list.mov", "cut.mov"):
        cases.append(
            (name, lambda name=name: apply_to_clip(lut, tmp_path / name, tmp_path / "o.mov"))
        )
    for words, call in cases:
        with pytest.raises(LutbenchError) as caught:
            call()
        assert words in str(caught.value)
        assert "\n" not in str(caught.value)
    left = sorted(each.name for each in tmp_path.iterdir())
    assert left == ["cut.mov", "in.mp4", "list.mov", "text.mov"]


def test_what_a_container_cannot_hold_is_named(tmp_path: Path) -> None:
    frames = [coded_by_ffmpeg("yuv420p", "bt709", "tv", log_picture()) for _ in range(3)]
    uneven = write_clip(tmp_path / "uneven.mov", frames, "libx264", times=[0, 1000, 2700])
    with pytest.raises(LutbenchError, match="not evenly spaced"):
        apply_to_clip(Lut3D.identity(2), uneven, tmp_path / "out.mxf")
    with av.open(str(tmp_path / "ac3.mkv"), "w") as output:
        picture = output.add_stream("ffv1", rate=25)
        picture.width, picture.height, picture.pix_fmt = 160, 120, "yuv420p"
        voice = output.add_stream("ac3", rate=48000)
        voice.layout = "stereo"
        frames[0].pts, frames[0].time_base = 0, Fraction(1, 25)
        output.mux(picture.encode(frames[0]))
        part = av.AudioFrame.from_ndarray(np.zeros((2, 1536), np.float32), "fltp", "stereo")
        part.sample_rate, part.pts = 48000, 0
        output.mux([*voice.encode(part), *picture.encode(None), *voice.encode(None)])
    with pytest.raises(LutbenchError, match="this kind of file cannot hold sound in ac3"):
        apply_to_clip(Lut3D.identity(2), tmp_path / "ac3.mkv", tmp_path / "out.mxf")
    silent = ClipSettings(audio=False)
    assert apply_to_clip(Lut3D.identity(2), uneven, tmp_path / "out.mp4", silent).frames == 3
    assert sorted(each.name for each in tmp_path.iterdir()) == ["ac3.mkv", "out.mp4", "uneven.mov"]


def test_interlaced_clips_are_refused(tmp_path: Path) -> None:
    frames = [coded_by_ffmpeg("yuv422p10le", "bt709", "tv", log_picture()) for _ in range(2)]
    source = write_clip(
        tmp_path / "in.mov", frames, "libx264", options={"x264-params": "interlaced=1"}
    )
    with pytest.raises(LutbenchError, match="the clip is interlaced; accepted: progressive"):
        apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mov")


def test_pictures_for_a_contact_sheet(tmp_path: Path) -> None:
    """Each level tells its frame: the middles of four equal parts of 40 frames."""
    frames = []
    for number in range(40):
        frame = av.VideoFrame(160, 120, "yuv420p")
        for plane, level in zip(frame.planes, (20 + 5 * number, 128, 128), strict=True):
            np.frombuffer(plane, np.uint8)[:] = level
        frames.append(frame)
    source = write_clip(tmp_path / "in.mp4", frames, "libx264", options={"crf": "5"})
    pictures, _ = clip_pictures(source, 4, 80)
    assert [label for label, _ in pictures] == ["0:00.200", "0:00.600", "0:01.000", "0:01.400"]
    levels = [float(picture.mean()) * 219 + 16 for _, picture in pictures]
    assert levels == pytest.approx([20 + 5 * number for number in (5, 15, 25, 35)], abs=1)
    assert pictures[0][1].shape == (60, 80, 3)


MEASURE = """
import resource, sys
from lutbench.media.clip.clip import apply_to_clip
from lutbench.tables.lut import Lut3D
apply_to_clip(Lut3D.identity(9), sys.argv[1], sys.argv[2])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@pytest.mark.slow
def test_memory_does_not_grow_with_the_length(tmp_path: Path) -> None:
    frame = coded_by_ffmpeg("yuv422p10le", "bt709", "tv", log_picture())
    large = filtered(frame, "scale=640:480")
    peaks = []
    for count in (5, 45):
        source = write_clip(tmp_path / f"{count}.mov", [large] * count, "prores_ks")
        words = [sys.executable, "-c", MEASURE, str(source), str(tmp_path / f"o{count}.mov")]
        peaks.append(int(subprocess.run(words, capture_output=True, check=True).stdout))
    # KiB. The 40 frames more would take 140 MiB as float32 R G B.
    assert peaks[1] - peaks[0] < 48 * 1024


def test_another_c_library_keeps_its_own_ways(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only glibc has `mallopt`; elsewhere a clip is processed as it is."""
    from lutbench.media.clip import memory

    calls: list[tuple[int, int]] = []
    monkeypatch.setattr(memory.ctypes, "CDLL", lambda _: object())
    memory.reuse_frame_memory()

    class Glibc:
        def mallopt(self, name: int, value: int) -> int:
            calls.append((name, value))
            return 1

    monkeypatch.setattr(memory.ctypes, "CDLL", lambda _: Glibc())
    memory.reuse_frame_memory()
    assert calls == [(-3, memory.BLOCK_BYTES), (-1, memory.KEPT_BYTES)]  # mallopt(3)'s numbers
