"""Where the time of a 4K clip goes: its stages one by one, and the whole command.

    python tests/benchmarks/clip_stages.py [FRAMES]

A 3840×2160 10-bit 4:2:2 clip in each of three codecs. The whole is `apply_to_clip`; its
peer is decoding and encoding with the same codecs through PyAV and no LUT, which is the
limit, for the clip and for the result (encoding takes longer or shorter with other pictures);
beside them FFmpeg's own decode, lut3d, encode. Times are the least of three rounds,
which take turns; processor time is that of all threads, and tells more on a busy machine.
"""

from __future__ import annotations

import itertools
import os
import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from skimage import data

from lutbench.formats.cube_write import write_cube
from lutbench.media.clip.clip import ClipSettings, apply_to_clip
from lutbench.media.clip.memory import reuse_frame_memory
from lutbench.media.clip.ycbcr import Coding, planes_through
from lutbench.tables.in_place import in_place
from lutbench.tables.lut import Lut3D
from lutbench.tables.programs import plan

ROUNDS = 3
WIDTH, HEIGHT, FORM = 3840, 2160, "yuv422p10le"
CODECS = {
    "ProRes 422 HQ": ("prores", {"profile": "3"}, "a.mov"),
    "DNxHR HQX": ("dnxhd", {"profile": "dnxhr_hqx"}, "b.mov"),
    "H.264, CRF 18": ("libx264", {"crf": "18"}, "c.mp4"),
}


def add_video(output: av.container.OutputContainer, codec: str, options: dict[str, str]):
    stream = output.add_stream(codec, rate=25, options=options)
    stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, FORM
    stream.codec_context.thread_type = "AUTO"
    return stream


def make_clip(path: Path, codec: str, options: dict[str, str], count: int) -> None:
    picture = np.tile(data.coffee(), (6, 7, 1))[:HEIGHT, :WIDTH]
    with av.open(str(path), "w") as output:
        stream = add_video(output, codec, options)
        for number in range(count):
            rolled = np.ascontiguousarray(np.roll(picture, 17 * number, 1))
            frame = av.VideoFrame.from_ndarray(rolled, "rgb24")
            frame = frame.reformat(format=FORM, dst_colorspace=1)
            frame.pts, frame.time_base, frame.pict_type = number, Fraction(1, 25), 0
            frame.colorspace, frame.color_range = 1, 1
            output.mux(stream.encode(frame))
        output.mux(stream.encode(None))


def decoded(path: Path):
    with av.open(str(path)) as container:
        video = container.streams.video[0]
        video.thread_type = "AUTO"
        yield from container.decode(video)


def decode_only(path: Path) -> None:
    for _ in decoded(path):
        pass


def decode_and_encode(path: Path, target: Path, codec: str, options: dict[str, str]) -> None:
    with av.open(str(target), "w") as output:
        stream = add_video(output, codec, options)
        for number, frame in enumerate(decoded(path)):
            frame.pts, frame.time_base, frame.pict_type = number, Fraction(1, 25), 0
            output.mux(stream.encode(frame))
        output.mux(stream.encode(None))


def through_lut3d(path: Path, target: Path, codec: str, options: dict[str, str], lut: Path) -> None:
    with av.open(str(path)) as container, av.open(str(target), "w") as output:
        video = container.streams.video[0]
        video.thread_type = "AUTO"
        stream = add_video(output, codec, options)
        graph = av.filter.Graph()
        chain = [
            graph.add_buffer(template=video),
            graph.add("scale", "in_color_matrix=bt709:in_range=tv"),
            graph.add("format", "pix_fmts=gbrp16le"),
            graph.add("lut3d", f"file={lut}:interp=tetrahedral"),
            graph.add("scale", "out_color_matrix=bt709:out_range=tv"),
            graph.add("format", f"pix_fmts={FORM}"),
            graph.add("buffersink"),
        ]
        for one, two in itertools.pairwise(chain):
            one.link_to(two)
        graph.configure()
        for number, frame in enumerate(container.decode(video)):
            graph.push(frame)
            result = graph.pull()
            result.pts, result.time_base, result.pict_type = number, Fraction(1, 25), 0
            output.mux(stream.encode(result))
        output.mux(stream.encode(None))


def timed(calls: dict[str, Callable[[], None]], count: int) -> dict[str, tuple[float, float]]:
    """Wall and processor seconds a frame of each call: the least of the rounds, each by itself."""
    best = dict.fromkeys(calls, (np.inf, np.inf))
    for _ in range(ROUNDS):
        for name, call in calls.items():
            passed = _in_a_process(call)
            best[name] = (
                min(best[name][0], passed[0] / count),
                min(best[name][1], passed[1] / count),
            )
    return best


def _in_a_process(call: Callable[[], None]) -> tuple[float, float]:
    """Wall and processor seconds of a call in a process of its own, as a command has it."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        wall, cpu = time.perf_counter(), time.process_time()
        call()
        passed = f"{time.perf_counter() - wall} {time.process_time() - cpu}"
        os.write(write, passed.encode())
        os._exit(0)
    os.waitpid(child, 0)
    passed = os.read(read, 100).decode().split()
    os.close(read)
    os.close(write)
    return float(passed[0]), float(passed[1])


def as_the_command_does(lut: Lut3D, clip: Path, out: Path, settings: ClipSettings) -> None:
    reuse_frame_memory()
    apply_to_clip(lut, clip, out, settings, force=True)


def pixels(lut: Lut3D) -> None:
    """What happens between decoder and encoder, on one thread."""
    coding = Coding("BT.709", "legal", 10, 2, 1)
    green = np.tile(data.coffee()[..., 1], (6, 7))[:HEIGHT, :WIDTH].astype(np.uint16)
    y, cb = green * 3 + 64, np.ascontiguousarray(green[:, ::2]) * 2 + 256
    into = np.empty_like(y), np.empty_like(cb), np.empty_like(cb)

    def passed(change: Callable[[np.ndarray], None]) -> None:
        planes_through((y, cb, cb), into, WIDTH, (coding, coding), change, threads=1)

    def nothing(band: np.ndarray) -> None:
        pass

    steps: dict[str, Callable[[], object]] = {
        "Y'CbCr to R G B and back": lambda: passed(nothing),
        "the same with the LUT between": lambda: passed(in_place(plan(lut))),
    }
    print("| between decoder and encoder | processor ms a frame |\n|---|---:|")
    for name, step in steps.items():
        step()
        times = []
        for _ in range(5):
            begin = time.process_time()
            step()
            times.append(time.process_time() - begin)
        print(f"| {name} | {1e3 * min(times):.0f} |", flush=True)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    lut = Lut3D(Lut3D.identity(33).table ** 1.3)
    pixels(lut)
    head = "| codec | work | wall s a frame | processor s | wall, times the limit | processor |"
    print(f"\n{head}\n|---|---|---:|---:|---:|---:|")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        table = folder / "lut.cube"
        write_cube(lut, table)
        for title, (codec, options, file) in CODECS.items():
            clip, out = folder / file, folder / f"out_{file}"
            make_clip(clip, codec, options, count)
            settings = ClipSettings(quality=18 if codec == "libx264" else None)
            changed = folder / f"changed_{file}"
            apply_to_clip(lut, clip, changed, settings)
            calls: dict[str, Callable[[], None]] = {
                "decode": lambda c=clip: decode_only(c),
                "decode and encode": lambda c=clip, o=out, k=codec, s=options: decode_and_encode(
                    c, o, k, s
                ),
                "decode and encode the result": lambda c=changed, o=out, k=codec, s=options: (
                    decode_and_encode(c, o, k, s)
                ),
                "lutbench apply": lambda c=clip, o=out, s=settings: as_the_command_does(
                    lut, c, o, s
                ),
                "FFmpeg: decode, lut3d, encode": lambda c=clip, o=out, k=codec, s=options: (
                    through_lut3d(c, o, k, s, table)
                ),
            }
            times = timed(calls, count)
            limit = times["decode and encode"]
            for work, (wall, cpu) in times.items():
                print(
                    f"| {title} | {work} | {wall:.3f} | {cpu:.3f} | {wall / limit[0]:.2f} "
                    f"| {cpu / limit[1]:.2f} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
