"""Memory and speed of `lutbench apply` on clips and sequences of 1920×1080.

    python tests/benchmarks/measure_pictures.py [FRAMES ...]

For each number of frames (10 and 300 by default) a ProRes clip and a 10-bit DPX
sequence go through a 33³ LUT, each in a process of its own, whose peak memory,
processor time and wall time are printed. Beside them stand the peers in the
same run: FFmpeg through PyAV with its own lut3d on the clip, and reading and
writing the sequence without a LUT.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from skimage import data

from lutbench.formats.cube_write import write_cube
from lutbench.media.still.still import Still, write_still
from lutbench.tables.lut import Lut3D

WIDTH, HEIGHT = 1920, 1080

FFMPEG = """
import sys
from fractions import Fraction
import av
source, lut, target = sys.argv[1:]
with av.open(source) as container, av.open(target, "w") as output:
    video = container.streams.video[0]
    video.thread_type = "AUTO"
    stream = output.add_stream("prores", rate=25, options={"profile": "3"})
    stream.width, stream.height, stream.pix_fmt = video.width, video.height, "yuv422p10le"
    stream.codec_context.thread_type = "AUTO"
    graph = av.filter.Graph()
    chain = [
        graph.add_buffer(template=video),
        graph.add("scale", "in_color_matrix=bt709:in_range=tv"),
        graph.add("format", "pix_fmts=gbrp16le"),
        graph.add("lut3d", f"file={lut}:interp=tetrahedral"),
        graph.add("scale", "out_color_matrix=bt709:out_range=tv"),
        graph.add("format", "pix_fmts=yuv422p10le"),
        graph.add("buffersink"),
    ]
    for one, two in zip(chain, chain[1:]):
        one.link_to(two)
    graph.configure()
    for number, frame in enumerate(container.decode(video)):
        graph.push(frame)
        result = graph.pull()
        result.pts, result.time_base = number, Fraction(1, 25)
        output.mux(stream.encode(result))
    output.mux(stream.encode(None))
"""

READ_AND_WRITE = """
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from lutbench.media.still.still import read_still, write_still
source, _, target = sys.argv[1:]
Path(target).mkdir()
with ThreadPoolExecutor() as pool:
    def one(path):
        write_still(read_still(path), Path(target) / path.name)
    list(pool.map(one, sorted(Path(source).iterdir())))
"""

CHILD = """
import resource, subprocess, sys
status = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL).returncode
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(status, used.ru_maxrss / 1024, used.ru_utime + used.ru_stime)
"""


def picture() -> np.ndarray:
    """The coffee photograph, repeated to 1920×1080, as 10-bit codes."""
    return np.tile(data.coffee(), (3, 4, 1))[:HEIGHT, :WIDTH].astype(np.uint16) * 4


def make_clip(path: Path, count: int) -> Path:
    codes = (picture() >> 2).astype(np.uint8)
    frames = [
        av.VideoFrame.from_ndarray(np.ascontiguousarray(np.roll(codes, 17 * index, 1)), "rgb24")
        for index in range(5)
    ]
    frames = [each.reformat(format="yuv422p10le", dst_colorspace=1) for each in frames]
    with av.open(str(path), "w") as output:
        stream = output.add_stream("prores", rate=25, options={"profile": "3"})
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv422p10le"
        for number in range(count):
            frame = frames[number % 5]
            frame.pts, frame.time_base, frame.pict_type = number, Fraction(1, 25), 0
            frame.colorspace, frame.color_range = 1, 1
            output.mux(stream.encode(frame))
        output.mux(stream.encode(None))
    return path


def make_sequence(folder: Path, count: int) -> Path:
    """One DPX frame under many names: what is measured does not depend on its content."""
    folder.mkdir()
    first = folder / "shot.0000.dpx"
    write_still(Still(picture(), ("R", "G", "B"), "10"), first)
    for number in range(1, count):
        os.link(first, folder / f"shot.{number:04d}.dpx")
    return folder


def measure(name: str, count: int, words: list[object]) -> None:
    began = time.perf_counter()
    order = [sys.executable, "-c", CHILD, *map(str, words)]
    done = subprocess.run(order, capture_output=True, text=True, check=True)
    passed = time.perf_counter() - began
    status, peak, used = map(float, done.stdout.split())
    assert status == 0, done.stderr
    print(f"{name:34} {count:4d} {peak:7.0f} MiB {used / count:8.3f} s cpu/frame "
          f"{count / passed:6.1f} frames/s", flush=True)  # fmt: skip


def main() -> None:
    counts = [int(each) for each in sys.argv[1:]] or [10, 300]
    lutbench = [sys.executable, "-m", "lutbench", "apply"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        lut = folder / "lut.cube"
        write_cube(Lut3D(Lut3D.identity(33).table ** 1.3), lut)
        # Once unmeasured, so that compiled code is in its cache.
        warm = make_clip(folder / "warm.mov", 2)
        subprocess.run([*lutbench, lut, warm, folder / "warm_out.mov"], check=True)
        for count in counts:
            clip = make_clip(folder / f"{count}.mov", count)
            measure("clip, lutbench apply", count, [*lutbench, lut, clip, folder / "a.mov"])
            words = [sys.executable, "-c", FFMPEG, clip, lut, folder / "b.mov"]
            measure("clip, FFmpeg's lut3d by PyAV", count, words)
            frames = make_sequence(folder / f"{count}", count)
            pattern = frames / "shot.####.dpx"
            measure("DPX, lutbench apply", count, [*lutbench, lut, pattern, folder / "c"])
            words = [sys.executable, "-c", READ_AND_WRITE, frames, lut, folder / "d"]
            measure("DPX, read and written without LUT", count, words)
            for each in ("a.mov", "b.mov", f"{count}.mov"):
                (folder / each).unlink()
            subprocess.run(["rm", "-r", folder / "c", folder / "d", frames], check=True)


if __name__ == "__main__":
    main()
