"""Clips keep what their codes carry, or say what they cut: head- and footroom, chroma, metadata.

Against FFmpeg through PyAV: what its decoder and its own converter make of what is written.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from click.testing import CliRunner
from clips import coded_by_ffmpeg, decoded, filtered, log_picture, planes_of, rgb_frame
from numpy.typing import NDArray

from lutbench import build
from lutbench.cli.main import group
from lutbench.formats.cube_write import write_cube
from lutbench.media.clip.clip import ClipSettings, apply_to_clip, open_clip
from lutbench.media.clip.codecs import has_encoder
from lutbench.media.clip.coding import coding_of, rgb_of
from lutbench.media.clip.volume import Volume
from lutbench.media.tags import ColourTags
from lutbench.model.signal import Range
from lutbench.tables.carried import ValueRanges, over_signal
from lutbench.tables.lut import Lut3D
from lutbench.tables.nodes import greys

# A display of BT.2020's reference (SMPTE ST 2086): 0.00002 and 0.0001 cd/m² are the units.
VOLUME = "G(8500,39850)B(6550,2300)R(35400,14600)WP(15635,16450)L(10000000,50)"
LIGHT = "987,400"
FRAMES = 4


def grey_frame(codes: NDArray[np.int64]) -> Any:
    """A frame of 10-bit 4:4:4 whose luma has these codes, line by line, and no colour."""
    frame = av.VideoFrame(codes.shape[1], codes.shape[0], "yuv444p10le")
    for index, plane in enumerate(frame.planes):
        lines = np.frombuffer(plane, np.uint16).reshape(plane.height, -1)
        lines[:, : codes.shape[1]] = codes if index == 0 else 512
    return frame


def clip_of(
    path: Path,
    frame: Any,
    codec: str = "ffv1",
    tags: tuple[int, ...] = (1, 1, 1, 1),
    **options: str,
) -> Path:
    with av.open(str(path), "w") as output:
        stream = output.add_stream(codec, rate=25, options=options)
        stream.width, stream.height, stream.pix_fmt = frame.width, frame.height, frame.format.name
        context = stream.codec_context
        context.color_range, context.colorspace, context.color_primaries, context.color_trc = tags
        for number in range(FRAMES):
            frame.pts, frame.time_base = number, Fraction(1, 25)
            frame.color_range, frame.colorspace, frame.color_primaries, frame.color_trc = tags
            output.mux(stream.encode(frame))
        output.mux(stream.encode(None))
    return path


EVERY_CODE = np.arange(4, 1020)[None, :].repeat(8, axis=0)


def test_codes_over_940_and_under_64_survive_where_the_lut_takes_them(tmp_path: Path) -> None:
    """Every code that legal video may have (BT.709-6, item 5.7: 4 to 1019) comes back as it is."""
    source = clip_of(tmp_path / "in.mkv", grey_frame(EVERY_CODE))
    wide = Lut3D(Lut3D.identity(2).table * 1.4 - 0.2, (-0.2, 1.2))
    outcome = apply_to_clip(wide, source, tmp_path / "out.mkv")
    written = planes_of(next(decoded(tmp_path / "out.mkv")))
    np.testing.assert_array_equal(written[0], EVERY_CODE)
    assert outcome.notes == []
    assert outcome.cut == {
        "pixels": FRAMES * EVERY_CODE.size,
        "over_domain": 0,
        "under_domain": 0,
        "over_codes": 0,
        "under_codes": 0,
    }


def test_what_the_lut_cuts_is_counted_and_told(tmp_path: Path) -> None:
    source = clip_of(tmp_path / "in.mkv", grey_frame(EVERY_CODE))
    outcome = apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mkv")
    written = planes_of(next(decoded(tmp_path / "out.mkv")))
    np.testing.assert_array_equal(written[0], np.clip(EVERY_CODE, 64, 940))
    over, under = (each.sum() for each in (EVERY_CODE > 940, EVERY_CODE < 64))
    assert (outcome.cut["over_domain"], outcome.cut["under_domain"]) == (
        FRAMES * over,
        FRAMES * under,
    )
    told = " ".join(outcome.notes)
    assert f"{100 * over / EVERY_CODE.size:.2g} % of the pixels are brighter" in told
    assert "over code 940 of 10 bit" in told
    assert f"{100 * under / EVERY_CODE.size:.2g} % of the pixels are darker" in told
    assert "under code 64 of 10 bit" in told


def test_what_no_code_stands_for_is_counted_and_told(tmp_path: Path) -> None:
    """Twice the signal: what comes out over code 1019 is held to it."""
    source = clip_of(tmp_path / "in.mkv", grey_frame(EVERY_CODE))
    double = Lut3D(Lut3D.identity(2).table * 2.8 - 0.4, (-0.2, 1.2))
    outcome = apply_to_clip(double, source, tmp_path / "out.mkv")
    wanted = 64 + 2 * (EVERY_CODE - 64)
    np.testing.assert_array_equal(
        planes_of(next(decoded(tmp_path / "out.mkv")))[0], np.clip(wanted, 4, 1019)
    )
    assert outcome.cut["over_codes"] == FRAMES * (wanted > 1019).sum()
    assert outcome.cut["under_codes"] == FRAMES * (wanted < 4).sum()
    assert "codes 4 to 1019 of 10 bit" in " ".join(outcome.notes)


def test_rounding_and_a_photograph_within_its_range_are_no_cut(tmp_path: Path) -> None:
    source = clip_of(
        tmp_path / "in.mkv", coded_by_ffmpeg("yuv420p10le", "bt709", "tv", log_picture())
    )
    assert apply_to_clip(Lut3D.identity(5), source, tmp_path / "out.mkv").notes == []


@pytest.mark.parametrize("carried", ["legal", "full"])
@pytest.mark.parametrize("source", ["legal", "full"])
@pytest.mark.parametrize("target", ["legal", "full"])
def test_ranges_mean_the_same_in_build_and_apply(
    tmp_path: Path, carried: Range, source: Range, target: Range
) -> None:
    """However the clip carries its codes and whatever the LUT takes: the same picture, by the
    closed form of BT.709-6 (item 1.2) and BT.1886."""
    lut = build(
        "BT.709", "BT.1886", kind="curve", dimensions=1, source_range=source, target_range=target
    )
    write_cube(lut, tmp_path / "lut.cube")
    signal = np.linspace(0.2, 0.95, 300)
    codes = np.rint(64 + 876 * signal if carried == "legal" else 1023 * signal)
    signal = (codes - 64) / 876 if carried == "legal" else codes / 1023
    clip_of(
        tmp_path / "in.mkv",
        grey_frame(codes[None, :].repeat(8, axis=0).astype(np.int64)),
        tags=(1 if carried == "legal" else 2, 1, 1, 1),
    )
    words = [str(tmp_path / name) for name in ("lut.cube", "in.mkv", "out.mkv")]
    told = CliRunner().invoke(group, ["apply", *words])
    assert told.exit_code == 0, told.output
    expected = (((signal + 0.099) / 1.099) ** (1 / 0.45)) ** (1 / 2.4)
    written = planes_of(next(decoded(tmp_path / "out.mkv")))[0][0]
    # Half a code for rounding, and a little for 1024 rows and the constants of three digits.
    assert np.abs(written - (64 + 876 * expected)).max() < 0.6
    # Named by hand, the same: the comments of the LUT are only one way to know.
    write_cube(lut.__class__(lut.table), tmp_path / "lut.cube", force=True)
    named = ["--source-range", source, "--target-range", target, "--force"]
    assert CliRunner().invoke(group, ["apply", *words, *named]).exit_code == 0
    np.testing.assert_array_equal(planes_of(next(decoded(tmp_path / "out.mkv")))[0][0], written)


def test_a_lut_for_legal_codes_takes_all_codes_of_a_legal_clip() -> None:
    taken = over_signal(Lut3D.identity(2), ValueRanges("legal", "legal"))
    assert taken.domain[:, 0].tolist() == pytest.approx([-64 / 876, (1023 - 64) / 876])
    values = np.linspace(-64 / 876, 959 / 876, 50)
    np.testing.assert_allclose(taken.apply(greys(values)), greys(values), atol=1e-12)


CODECS = [
    ("ffv1", "in.mkv"),
    *([("libx264", "in.mp4")] if has_encoder("libx264") else []),
    *([("libx265", "in.mp4")] if has_encoder("libx265") else []),
]


@pytest.mark.parametrize(("codec", "name"), CODECS)
@pytest.mark.parametrize("place", ["left", "center", "topleft"])
def test_the_place_of_chroma_is_read_and_kept(
    tmp_path: Path, codec: str, name: str, place: str
) -> None:
    frame = coded_by_ffmpeg("yuv420p10le", "bt709", "tv", log_picture())
    source = clip_of(tmp_path / name, frame, codec, chroma_sample_location=place)
    outcome = apply_to_clip(Lut3D.identity(2), source, tmp_path / "out.mkv")
    assert not outcome.notes
    for path in (source, tmp_path / "out.mkv"):
        with open_clip(path) as container:
            assert coding_of(container.streams.video[0]).siting == place


@pytest.mark.parametrize(("matrix", "usual"), [(1, "left"), (9, "topleft")])
def test_unsaid_it_is_where_the_standard_has_it(tmp_path: Path, matrix: int, usual: str) -> None:
    """BT.2020-2 and BT.2100-2 put 4:2:0 chroma on the first sample of the first line."""
    frame = coded_by_ffmpeg("yuv420p10le", "bt709", "tv", log_picture())
    source = clip_of(tmp_path / "in.mkv", frame, tags=(1, matrix, matrix, 2))
    with open_clip(source) as container:
        assert coding_of(container.streams.video[0]).siting == usual
    whole = coded_by_ffmpeg("yuv444p10le", "bt709", "tv", log_picture())
    source = clip_of(tmp_path / "whole.mkv", whole, tags=(1, 1, 2, 2))
    tags = ColourTags("BT.2020" if matrix == 9 else "BT.709")
    apply_to_clip(
        Lut3D.identity(2), source, tmp_path / "o.mkv", ClipSettings(chroma="420", tags=tags)
    )
    with open_clip(tmp_path / "o.mkv") as container:
        assert coding_of(container.streams.video[0]).siting == usual


@pytest.mark.parametrize("place", ["left", "center", "topleft"])
def test_ffmpegs_chroma_is_read_best_where_it_says_it_is(tmp_path: Path, place: str) -> None:
    """FFmpeg's own converter puts chroma at each place: read there, the picture is nearest."""
    codes = log_picture()
    form = "format=pix_fmts=yuv420p10le"
    scale = f"scale=out_chroma_loc={place}:flags=bicubic+accurate_rnd:sws_dither=none"
    matrix = "out_color_matrix=bt709:out_range=tv"
    frame = filtered(rgb_frame(codes), f"{scale}:{matrix}", form)
    source = clip_of(tmp_path / "in.mkv", frame, chroma_sample_location=place)
    with open_clip(source) as container:
        stream = container.streams.video[0]
        coding = coding_of(stream)
        assert coding.siting == place
        shown = next(container.decode(stream))
        off = {}
        for each in ("left", "center", "topleft"):
            read = rgb_of(shown, coding.__class__(**{**vars(coding), "siting": each}))
            off[each] = float(np.abs(read - codes / 65535).mean())
    assert min(off, key=off.__getitem__) == place, off


@pytest.mark.parametrize(
    ("codec", "key", "light"),
    [("libx265", "master-display", "max-cll"), ("libx264", "mastering-display", "cll")],
)
def test_what_a_clip_says_of_its_mastering_display(
    tmp_path: Path, codec: str, key: str, light: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Carried where the picture stays what it is; else left out, with a note."""
    if not has_encoder(codec):
        pytest.skip(f"no {codec} here")
    frame = coded_by_ffmpeg("yuv420p10le", "bt2020nc", "tv", log_picture())
    params = f"{key}={VOLUME}:{light}={LIGHT}"
    if codec == "libx265":
        params = f"log-level=error:{params}"
    source = clip_of(
        tmp_path / "in.mp4", frame, codec, (1, 9, 9, 16), **{f"{codec[3:]}-params": params}
    )
    said = volume_of(source)
    assert len(said) == 2
    settings = ClipSettings(codec={"libx265": "h265", "libx264": "h264"}[codec], depth=10)
    same = apply_to_clip(Lut3D.identity(9), source, tmp_path / "same.mp4", settings)
    assert same.notes == []
    assert volume_of(tmp_path / "same.mp4") == said
    darker = Lut3D(Lut3D.identity(9).table * 0.8)
    changed = apply_to_clip(darker, source, tmp_path / "darker.mp4", settings)
    assert changed.notes == [
        "left out: the mastering display (0.005 to 1000 cd/m²) and content "
        "light levels (987 and 400 cd/m²): the LUT changes the picture that it describes"
    ]
    assert volume_of(tmp_path / "darker.mp4") == {}
    # What goes on with the scenes (SMPTE ST 2094) has no way here; the rest goes on without it.
    found = Volume.of

    def with_dynamic(frame: Any) -> Volume:
        return replace(found(frame), dynamic=("DYNAMIC_HDR_PLUS",))

    monkeypatch.setattr(Volume, "of", with_dynamic)
    moving = apply_to_clip(Lut3D.identity(9), source, tmp_path / "moving.mp4", settings)
    assert volume_of(tmp_path / "moving.mp4") == said
    assert moving.notes == ["left out: dynamic HDR metadata: this kind of file cannot hold it"]


@pytest.mark.parametrize(
    ("name", "codec"),
    [
        ("prores.mov", "prores"),
        ("dnxhr.mov", "dnxhr"),
        ("prores.mkv", "prores"),
        ("ffv1.mkv", "ffv1"),
        ("dnxhr.mxf", "dnxhr"),
        ("ffv1.mxf", "ffv1"),
    ],
)
def test_files_say_it_beside_codecs_that_cannot(tmp_path: Path, name: str, codec: str) -> None:
    """As FFmpeg reads it; the frames are those of a clip that says nothing."""
    picture = np.tile(log_picture(), (3, 3, 1))  # some of the encoders take no smaller ones
    frame = coded_by_ffmpeg("yuv420p10le", "bt2020nc", "tv", picture)
    tags = (1, 9, 9, 16)
    params = {"x264-params": f"mastering-display={VOLUME}:cll={LIGHT}"}
    source = clip_of(tmp_path / "in.mp4", frame, "libx264", tags, **params)
    silent = clip_of(tmp_path / "silent.mp4", frame, "libx264", tags)
    said = Volume.of(next(decoded(source)))
    assert said.mastering
    assert said.light
    settings = ClipSettings(codec=codec)
    same = apply_to_clip(Lut3D.identity(9), source, tmp_path / name, settings)
    apply_to_clip(Lut3D.identity(9), silent, tmp_path / f"silent_{name}", settings)
    if name.endswith(".mxf"):  # which has no place for the light levels
        said = replace(said, light=())
        assert same.notes[-1] == (
            "left out: content light levels (987 and 400 cd/m²): this kind of file cannot hold it"
        )
    else:
        assert not any("left out" in note for note in same.notes)
    # The numbers of ST 2086: files hold them as integers or floats of their own.
    written = Volume.of(next(decoded(tmp_path / name)))
    assert written.mastering == pytest.approx(said.mastering, abs=1e-5)
    assert written.light == said.light
    assert volume_of(tmp_path / f"silent_{name}") == {}
    beside = decoded(tmp_path / f"silent_{name}")
    count = 0
    for one, other in zip(decoded(tmp_path / name), beside, strict=True):
        assert one.format.name == other.format.name
        assert (one.pts, one.time_base, one.color_trc) == (
            other.pts,
            other.time_base,
            other.color_trc,
        )
        for plane, its in zip(one.planes, other.planes, strict=True):
            assert bytes(plane) == bytes(its)
        count += 1
    assert count == FRAMES


def volume_of(path: Path) -> dict[str, bytes]:
    """What FFmpeg reads of it from the first frame."""
    names = ("MASTERING_DISPLAY_METADATA", "CONTENT_LIGHT_LEVEL")
    held = next(decoded(path)).side_data
    return {name: bytes(held[name]) for name in names if name in held}


@pytest.mark.parametrize("source", ["legal", "full"])
def test_a_still_whose_range_is_named(tmp_path: Path, source: Range) -> None:
    """A full-range still through a LUT made for legal codes, by the closed form."""
    import OpenImageIO as oiio

    curve = {"kind": "curve", "dimensions": 1}
    lut = build("BT.709", "BT.1886", source_range=source, target_range="legal", **curve)  # type: ignore[arg-type]
    write_cube(lut, tmp_path / "lut.cube")
    signal = np.linspace(0.2, 0.95, 64, dtype=np.float32)
    picture = oiio.ImageBuf(np.repeat(signal[None, :, None], 3, axis=2))
    picture.set_write_format(oiio.UINT16)
    assert picture.write(str(tmp_path / "in.tif"))
    words = [str(tmp_path / name) for name in ("lut.cube", "in.tif", "out.tif")]
    told = CliRunner().invoke(group, ["apply", *words, "--file-range", "full"])
    assert told.exit_code == 0, told.output
    written = oiio.ImageBuf(str(tmp_path / "out.tif")).get_pixels(oiio.FLOAT)[0, :, 1]
    expected = (((signal + 0.099) / 1.099) ** (1 / 0.45)) ** (1 / 2.4)
    # Rows a thousandth apart, and BT.709's constants of three digits.
    assert np.abs(written - expected).max() < 3e-4
    refused = CliRunner().invoke(
        group, ["apply", *words, "--source-range", source], standalone_mode=False
    )
    assert "the LUT's range has no effect" in str(refused.exception)
