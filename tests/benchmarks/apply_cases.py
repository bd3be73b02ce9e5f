"""What is measured of applying LUTs: lutbench, its peers, and the machine's own limits.

    python tests/benchmarks/apply_cases.py [ROUNDS]

prints the table of docs/performance.md. Every round runs all cases one after
the other, so that whatever else the machine does disturbs them alike; the best
time of each case counts. CPU time is that of all threads together.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import av
import colour
import numpy as np
from av.filter import Graph
from numpy.typing import NDArray
from PIL import Image, ImageFilter
from skimage import data, transform

from lutbench import long_work
from lutbench.model.grade import Cdl
from lutbench.model.transforms import Matrix
from lutbench.tables import kernels, programs
from lutbench.tables import pixels as over_pixels
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, lattice
from lutbench.tables.pixels import apply_pixels

HEIGHT, WIDTH = 2160, 3840


def photograph() -> NDArray[np.float32]:
    """A photograph at 4K, float32 in 0..1."""
    picture = transform.resize(data.astronaut(), (HEIGHT, WIDTH), order=1)
    return np.ascontiguousarray(picture, dtype=np.float32)


def a_lut(size: int) -> Lut3D:
    """A LUT as a camera's log has it: a curve, mixed channels, a bend."""
    rgb = lattice(size)
    mixed = rgb @ np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.0, 0.2, 0.8]]).T
    return Lut3D((np.clip(mixed, 0, 1) ** 0.7 * (1 - 0.1 * np.sin(6 * rgb))).astype(np.float32))


def ffmpeg(lut: Lut3D, frame: Any, folder: Path) -> Graph:
    """FFmpeg's lut3d filter, tetrahedral, with the LUT in a .cube written by hand."""
    path = folder / f"{lut.size}.cube"
    rows = lut.table.transpose(2, 1, 0, 3).reshape(-1, 3)
    lines = [f"LUT_3D_SIZE {lut.size}", *(" ".join(f"{v:.9g}" for v in row) for row in rows)]
    path.write_text("\n".join(lines) + "\n")
    graph = Graph()
    source = graph.add_buffer(
        width=frame.width, height=frame.height, format=frame.format, time_base=1
    )
    lut3d = graph.add("lut3d", f"file={path}:interp=tetrahedral")
    sink = graph.add("buffersink")
    source.link_to(lut3d)
    lut3d.link_to(sink)
    graph.configure()
    return graph


def through(graph: Graph, frame: Any) -> Any:
    graph.push(frame)
    return graph.pull()


def framed(pixels: NDArray[Any], pixel_format: str) -> Any:
    frame = av.VideoFrame.from_ndarray(pixels, format=pixel_format)
    frame.pts = 0
    return frame


def node_reads(lut: Lut3D, picture: NDArray[np.float32]) -> Callable[[], None]:
    """Nothing but the four nodes of each pixel read from the table, weighed and added."""
    from numba import njit

    block = kernels.BLOCK_PIXELS
    weigh = kernels.weigh_4

    @njit(nogil=True)
    def read(nodes: Any, corners: Any, weights: Any, out: Any, across: int, blocks: int) -> None:
        for _ in range(blocks):
            for i in range(block):
                weigh(
                    nodes,
                    (corners[0, i], corners[1, i], corners[2, i]),
                    across,
                    (weights[0, i], weights[1, i], weights[2, i], weights[3, i]),
                    out,
                    3 * i,
                )

    size = lut.size
    nodes = programs._laid_out(lut.table, np.dtype(np.float32))
    cells = (picture[1000, :block].T * (size - 1)).astype(np.int32).clip(0, size - 2)
    base = 4 * ((cells[0] * size + cells[1]) * size + cells[2])
    corners = np.stack([base, base + 4 * size * size, base + 4 * size * (size + 1)]).astype("i4")
    weights = np.full((4, block), 0.25, np.float32)
    across = 4 * (size * size + size + 1)

    def run() -> None:
        def work(start: int, stop: int) -> None:
            out = np.empty(4 * block, np.float32)
            read(nodes, corners, weights, out, across, (stop - start) // block)

        long_work.parallel_for(work, HEIGHT * WIDTH, 1 << 19, long_work.thread_limit())

    return run


@dataclass
class Cases:
    """The pictures, the LUTs, and one function for each thing that is measured."""

    folder: Path
    cases: dict[str, Callable[[], Any]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        picture = photograph()
        flat = picture.reshape(-1, 3)
        sixteen = (picture * 65535 + 0.5).astype(np.uint16)
        eight = (picture * 255 + 0.5).astype(np.uint8)
        planes = np.ascontiguousarray(picture.transpose(2, 0, 1))
        noise = np.random.default_rng(1).random(picture.shape, dtype=np.float32)
        out, out_planes = np.empty_like(picture), np.empty_like(planes)
        out_sixteen, out_eight = np.empty_like(sixteen), np.empty_like(eight)
        lut, large = a_lut(33), a_lut(65)
        trilinear = lut.with_interpolation("trilinear")
        curve = Lut1D(np.repeat((np.linspace(0, 1, 1024) ** 0.8)[:, None], 3, axis=1))
        shaped = ShaperLut3D(curve, lut)
        matrix = Matrix(((0.9, 0.1, 0), (0.05, 0.9, 0.05), (0, 0.1, 0.9)))
        cdl = Cdl((1.1, 0.9, 1.0), (0.02, 0, 0), (0.9, 1.1, 1.2), 0.9)

        float_frame, word_frame = framed(picture, "gbrpf32le"), framed(sixteen, "rgb48le")
        float_graph = ffmpeg(lut, float_frame, self.folder)
        large_graph = ffmpeg(large, float_frame, self.folder)
        word_graph = ffmpeg(lut, word_frame, self.folder)
        science, sixteenth = colour.LUT3D(lut.table), picture[::4, ::4]
        image = Image.fromarray(eight)
        rows = lut.table.transpose(2, 1, 0, 3).reshape(-1).tolist()
        pillow = ImageFilter.Color3DLUT(33, rows)

        self.cases = {
            "limit: copy, one thread": lambda: np.copyto(out, picture),
            "limit: read of four nodes a pixel": node_reads(lut, picture),
            "limit: new array, touched": lambda: _touched(flat.shape),
            "float32 33: FFmpeg, planar frame in and out": lambda: through(
                float_graph, float_frame
            ),
            "float32 33: FFmpeg, array in and out": lambda: through(
                float_graph, framed(picture, "gbrpf32le")
            ).to_ndarray(),
            "float32 33: colour-science, a sixteenth of the frame": lambda: science.apply(
                sixteenth, interpolator=colour.algebra.table_interpolation_tetrahedral
            ),
            "float32 33: lutbench, new array": lambda: lut.apply(picture),
            "float32 33: lutbench, in place of an old one": lambda: apply_pixels(
                lut, picture, out=out
            ),
            "float32 33: lutbench, planar": lambda: apply_pixels(
                lut, planes, out=out_planes, planar=True
            ),
            "float32 33: lutbench, one thread": lambda: apply_pixels(
                lut, picture, out=out, threads=1
            ),
            "float32 33: lutbench, trilinear": lambda: apply_pixels(trilinear, picture, out=out),
            "float32 33: lutbench, noise": lambda: apply_pixels(lut, noise, out=out),
            "float32 65: FFmpeg, planar frame in and out": lambda: through(
                large_graph, float_frame
            ),
            "float32 65: lutbench": lambda: apply_pixels(large, picture, out=out),
            "float32 65: lutbench, noise": lambda: apply_pixels(large, noise, out=out),
            "float32 curve: lutbench": lambda: apply_pixels(curve, picture, out=out),
            "float32 chain: curve + 33": lambda: apply_pixels(shaped, picture, out=out),
            "float32 chain: the same in two passes": lambda: apply_pixels(
                lut, apply_pixels(curve, picture, out=out), out=out
            ),
            "float32 chain: matrix + CDL + curve + 33": lambda: apply_pixels(
                [matrix, cdl, curve, lut], picture, out=out
            ),
            "uint16 33: FFmpeg, rgb48 frame in and out": lambda: through(word_graph, word_frame),
            "uint16 33: lutbench, new array": lambda: lut.apply(sixteen),
            "uint16 33: lutbench": lambda: apply_pixels(lut, sixteen, out=out_sixteen),
            "uint8 33: Pillow, trilinear": lambda: image.filter(pillow),
            "uint8 33: lutbench, trilinear": lambda: apply_pixels(trilinear, eight, out=out_eight),
            "uint8 33: lutbench": lambda: apply_pixels(lut, eight, out=out_eight),
        }


def _touched(shape: tuple[int, ...]) -> NDArray[np.float32]:
    """A new array of which every page is written once, on all threads."""
    new = np.empty(shape, np.float32)
    limit = long_work.thread_limit()

    def work(start: int, stop: int) -> None:
        new[start:stop:300] = 0

    long_work.parallel_for(work, len(new), over_pixels._chunk(len(new), limit), limit)
    return new


def main(rounds: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        cases = Cases(Path(folder)).cases
        for case in cases.values():
            case()
        wall: dict[str, list[float]] = {name: [] for name in cases}
        busy: dict[str, list[float]] = {name: [] for name in cases}
        for _ in range(rounds):
            for name, case in cases.items():
                start, start_busy = time.perf_counter(), time.process_time()
                case()
                busy[name].append(time.process_time() - start_busy)
                wall[name].append(time.perf_counter() - start)
    print("| case | ms | CPU ms |\n|---|---|---|")
    for name in cases:
        print(f"| {name} | {1000 * min(wall[name]):.1f} | {1000 * min(busy[name]):.1f} |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 9)
