"""Applying LUTs on a CUDA device, beside a copy of the same frame on the same device.

    python tests/benchmarks/gpu_cases.py [memory] [torch] [bus] [several]

Prints the tables of docs/performance.md. Every time is the median of many calls, by the
device's own clock; the calls go round several frames, so that none is found in a cache.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import cupy as cp

from lutbench.model.grade import Cdl
from lutbench.model.transforms import Matrix, Transform
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.pixels import apply_pixels

WIDTH, HEIGHT = 3840, 2160
FRAMES, CALLS = 4, 60
RNG = np.random.default_rng(1)


def photograph() -> np.ndarray[Any, Any]:
    """scikit-image's astronaut, enlarged with smooth edges, as the benchmark of the processor."""
    from scipy.ndimage import zoom
    from skimage import data

    small = data.astronaut().astype(np.float32) / 255
    large = zoom(small, (HEIGHT / 512, WIDTH / 512, 1), order=1)
    return np.ascontiguousarray(large[:HEIGHT, :WIDTH], np.float32)


def lut(size: int, decimals: int | None = None) -> Lut3D:
    """A LUT of so many nodes; with `decimals`, as a .cube file keeps it."""
    grid = np.stack(np.meshgrid(*[np.linspace(0, 1, size)] * 3, indexing="ij"), axis=-1)
    table = grid**0.45 * (0.9 + 0.1 * np.roll(grid, 1, -1))
    if decimals is not None:
        return Lut3D(np.round(table, decimals))
    return Lut3D(table.astype(np.float32))


# Keeps the device busy while the host gets a call ready, so that only the call is timed.
WAIT = cp.RawKernel(
    'extern "C" __global__ void wait(long long n) '
    "{ long long from = clock64(); while (clock64() - from < n); }",
    "wait",
)
CYCLES = 700_000  # some 0.4 ms, longer than any call takes to get ready


def milliseconds(call: Callable[[int], object], calls: int = CALLS) -> float:
    """Median time on the device of one call; `call` gets the number of the round."""
    for k in range(8):
        call(k)
    times = []
    for k in range(calls):
        begin, end = cp.cuda.Event(), cp.cuda.Event()
        WAIT((1,), (1,), (np.int64(CYCLES),))
        begin.record()
        call(k)
        end.record()
        times.append((begin, end))
    cp.cuda.Device().synchronize()
    return float(np.median([cp.cuda.get_elapsed_time(*pair) for pair in times]))


def back_to_back(call: Callable[[int], object], calls: int = 200) -> float:
    """Mean time of one of many calls one after the other, by the host's clock."""
    for k in range(8):
        call(k)
    cp.cuda.Device().synchronize()
    begin = time.perf_counter()
    for k in range(calls):
        call(k)
    cp.cuda.Device().synchronize()
    return (time.perf_counter() - begin) / calls * 1e3


def frames(picture: np.ndarray[Any, Any], kind: str) -> list[Any]:
    if kind.startswith("uint"):
        picture = np.rint(np.clip(picture, 0, 1) * np.iinfo(kind).max)
    return [cp.asarray(picture.astype(kind)) for _ in range(FRAMES)]


def row(name: str, copy: float, ours: float, wall: float | None = None) -> None:
    last = "" if wall is None else f"{wall:.3f}"
    print(f"| {name} | {copy:.4f} | {ours:.4f} | {ours / copy:.2f} | {last} |", flush=True)


def in_memory(pictures: dict[str, np.ndarray[Any, Any]]) -> None:
    """Frames that live on the device."""
    matrix = Matrix(((1.6, -0.5, -0.1), (-0.1, 1.1, 0.0), (0.0, -0.1, 1.1)))
    cdl = Cdl((1.1, 0.95, 1.0), (0.01, -0.02, 0.0), (0.9, 1.1, 1.2), 0.9)
    curve = Lut1D(np.linspace(0, 1, 1024)[:, None] ** [0.5, 0.6, 0.7])
    always: dict[str, list[Transform]] = {
        "33 nodes": [lut(33, 6)],
        "65 nodes": [lut(65, 6)],
    }
    more: dict[str, list[Transform]] = {
        "33 nodes of all digits": [lut(33)],
        "65 nodes of all digits": [lut(65)],
        "33 nodes beyond 21 bits": [Lut3D(4 * lut(33).table)],
        "33 nodes, trilinear": [lut(33).with_interpolation("trilinear")],
        "curve of 1024 rows": [curve],
        "shaper and 33 nodes": [ShaperLut3D(curve, lut(33))],
        "matrix, CDL, curve and 33 nodes": [matrix, cdl, curve, lut(33, 6)],
        "matrix, CDL, curve and 33 nodes of all digits": [matrix, cdl, curve, lut(33)],
    }
    print("| work | copy ms | lutbench ms | copies | back to back ms |\n|---|---:|---:|---:|---:|")
    for kind in ("float32", "float16", "uint16", "uint8"):
        for name, picture in pictures.items():
            source = frames(picture, kind)
            for case, steps in (always | more if kind == "float32" else always).items():
                beside_a_copy(f"{kind}, {name}, {case}", steps, source)
    layouts(pictures["photograph"])


def beside_a_copy(
    name: str, steps: list[Transform], source: list[Any], *, planar: bool = False
) -> None:
    target = [cp.empty_like(each) for each in source]
    count = len(source)
    copy = milliseconds(lambda k: cp.copyto(target[k % count], source[k % count]))

    def call(k: int) -> object:
        return apply_pixels(steps, source[k % count], out=target[k % count], planar=planar)

    row(name, copy, milliseconds(call), back_to_back(call))


def layouts(picture: np.ndarray[Any, Any]) -> None:
    """The same frame as planes and with a fourth channel, and many small frames at once."""
    steps: list[Transform] = [lut(33)]
    source = frames(picture, "float32")
    planes = [cp.ascontiguousarray(cp.moveaxis(each, -1, 0)) for each in source]
    beside_a_copy("float32, photograph, planar, 33 nodes", steps, planes, planar=True)
    rgba = [cp.concatenate([each, each[..., :1]], axis=-1) for each in source]
    there = [cp.empty_like(each) for each in rgba]
    copy = milliseconds(lambda k: cp.copyto(there[k % FRAMES], rgba[k % FRAMES]))

    def call(k: int) -> object:
        return apply_pixels(steps, rgba[k % FRAMES][..., :3], out=there[k % FRAMES][..., :3])

    row("float32, photograph, R G B of R G B A, 33 nodes", copy, milliseconds(call))
    stack = cp.asarray(np.stack([picture[:1080, :1920]] * 64))
    beside_a_copy("float32, 64 frames of 1920×1080 in one call, 33 nodes", steps, [stack])


def beside_torch(pictures: dict[str, np.ndarray[Any, Any]]) -> None:
    """torch's own way to look colours up: grid_sample, trilinear, planes in and out."""
    import torch

    head = "| work | torch grid_sample ms | lutbench trilinear, torch tensors, ms | times faster |"
    print(f"\n{head}\n|---|---:|---:|---:|")
    table = lut(33).with_interpolation("trilinear")
    volume = torch.from_numpy(np.moveaxis(table.table, -1, 0)[None].copy()).cuda()
    for name, picture in pictures.items():
        here = torch.from_numpy(picture).cuda()
        grid = here[None, None].flip(-1) * 2 - 1
        times = _torch_times(torch, (volume, grid), (table, here))
        print(f"| {name} | {times[0]:.3f} | {times[1]:.3f} | {times[0] / times[1]:.1f} |")


def _torch_times(torch: Any, theirs: tuple[Any, Any], ours: tuple[Lut3D, Any]) -> tuple[float, ...]:
    """Milliseconds of grid_sample over a volume and a grid, and of a LUT over a tensor."""
    sample = torch.nn.functional.grid_sample
    into = torch.empty_like(ours[1])
    return (
        milliseconds(lambda k: sample(*theirs, mode="bilinear", align_corners=True)),
        milliseconds(lambda k: ours[0].apply(ours[1], out=into)),
    )


def over_the_bus(picture: np.ndarray[Any, Any]) -> None:
    """Arrays of the host: the bus alone in both directions at once, then whole calls."""
    from cupyx import empty_pinned

    shape = (32, *picture.shape)
    held, back = empty_pinned(shape, np.float32), empty_pinned(shape, np.float32)
    held[...] = picture
    one, two = cp.empty(shape, np.float32), cp.empty(shape, np.float32)
    up, down = cp.cuda.Stream(non_blocking=True), cp.cuda.Stream(non_blocking=True)

    def both() -> None:
        one.set(held, stream=up)
        two.get(stream=down, out=back, blocking=False)
        up.synchronize()
        down.synchronize()

    def rate(call: Callable[[], object]) -> float:
        """GB a second in each direction: the best of three calls after a first one."""
        call()
        times = []
        for _ in range(3):
            begin = time.perf_counter()
            call()
            times.append(time.perf_counter() - begin)
        return float(held.nbytes / min(times) / 1e9)

    steps: list[Transform] = [lut(33)]
    plain, out = np.array(held), np.empty_like(held)
    print("\n| 32 frames from the host and back | GB/s each way |\n|---|---:|")
    for name, call in {
        "the bus alone, pinned memory": both,
        "pinned arrays": lambda: apply_pixels(steps, held, out=back, device="cuda"),
        "any other arrays": lambda: apply_pixels(steps, plain, out=out, device="cuda"),
        "numpy's copy of such an array, one thread": lambda: np.copyto(out, plain),
        "numpy's copy of such an array, a thread a frame": lambda: copied(out, plain),
    }.items():
        print(f"| {name} | {rate(call):.1f} |", flush=True)


def copied(target: np.ndarray[Any, Any], source: np.ndarray[Any, Any]) -> None:
    with ThreadPoolExecutor() as pool:
        list(pool.map(np.copyto, target, source))


def several(picture: np.ndarray[Any, Any]) -> None:
    """Frames that live on several devices, each worked on where it is."""
    print("\n| devices | frames a second, 4K float32 | times one |\n|---|---:|---:|")
    first = 0.0
    for count in range(1, cp.cuda.runtime.getDeviceCount() + 1):
        rate = _rate_of(count, picture)
        first = first or rate
        print(f"| {count} | {rate:.0f} | {rate / first:.2f} |", flush=True)


def _rate_of(count: int, picture: np.ndarray[Any, Any], rounds: int = 30, stack: int = 16) -> float:
    table, held = lut(33), []
    for number in range(count):
        with cp.cuda.Device(number):
            source = cp.asarray(np.stack([picture] * stack))
            held.append((number, source, cp.empty_like(source)))

    def call() -> None:
        for number, source, target in held:
            with cp.cuda.Device(number):
                apply_pixels([table], source, out=target)

    def wait() -> None:
        for number in range(count):
            cp.cuda.Device(number).synchronize()

    call()
    wait()
    begin = time.perf_counter()
    for _ in range(rounds):
        call()
    wait()
    return rounds * stack * count / (time.perf_counter() - begin)


def main() -> None:
    name = cp.cuda.runtime.getDeviceProperties(0)["name"].decode()
    print(f"{name}, CuPy {cp.__version__}, {WIDTH}×{HEIGHT}\n")
    pictures = {
        "photograph": photograph(),
        "random colours": RNG.random((HEIGHT, WIDTH, 3), dtype=np.float32),
    }
    wanted = sys.argv[1:] or ["memory", "torch", "bus", "several"]
    if "memory" in wanted:
        in_memory(pictures)
    if "torch" in wanted:
        beside_torch(pictures)
    if "bus" in wanted:
        over_the_bus(pictures["photograph"])
    if "several" in wanted:
        several(pictures["photograph"])


if __name__ == "__main__":
    main()
