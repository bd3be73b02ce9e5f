"""How cost grows with pixels, nodes, LUTs and cores, measured and drawn.

    python tests/benchmarks/growth.py measured.json [pixels nodes luts cores]
    python tests/benchmarks/growth.py measured.json --draw docs/pictures/growth.svg

The first measures (the parts named, or all) and keeps the figures in the file beside
those of other parts, so that the part of cores may come from a machine that has some; the
second draws what the file holds, each beside the line of plain proportion. Times are on
the clock, the least of the rounds: run it on a machine that does nothing else.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.tables.lut import Lut3D, lattice
from lutbench.tables.pixels import apply_pixels

ROUNDS = 5
WIDTH, HEIGHT = 3840, 2160
WORDS = {
    "pixels": ("pixels of a picture", "33 nodes, float32, all cores"),
    "nodes": ("nodes along an edge", "3840×2160, float32, all cores"),
    "luts": ("LUTs in a folder", "inspect, 17 nodes, all cores, whole process"),
    "cores": ("threads", "3840×2160, 33 nodes, float32"),
}

Figures = list[tuple[float, float]]


def picture(pixels: int) -> NDArray[np.float32]:
    """Waves with a little noise, as neighbouring pixels of a photograph are alike."""
    at = np.arange(pixels, dtype=np.float32)
    noise = np.random.default_rng(1).random((pixels, 3), dtype=np.float32)
    waves = 0.45 + 0.4 * np.sin(at / 97)[:, None] * np.float32([1, 0.9, 0.8])
    return np.ascontiguousarray(waves + 0.02 * noise)


def a_lut(size: int) -> Lut3D:
    rgb = lattice(size)
    mixed = rgb @ np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.0, 0.2, 0.8]]).T
    return Lut3D((np.clip(mixed, 0, 1) ** 0.7 * (1 - 0.1 * np.sin(6 * rgb))).astype(np.float32))


def least(call: Callable[[], Any], rounds: int = ROUNDS) -> float:
    """Seconds on the clock."""
    call()
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        call()
        times.append(time.perf_counter() - begin)
    return min(times)


def applied(lut: Lut3D, pixels: NDArray[np.float32], threads: int | None = None) -> float:
    out = np.empty_like(pixels)
    return least(lambda: apply_pixels(lut, pixels, out=out, threads=threads))


def over_pixels() -> Figures:
    lut = a_lut(33)
    counts = [int(10 ** (at / 2)) for at in range(6, 16)]
    return [(count, applied(lut, picture(count))) for count in counts]


def over_nodes() -> Figures:
    pixels = picture(WIDTH * HEIGHT)
    return [(size, applied(a_lut(size), pixels)) for size in (5, 9, 17, 33, 65, 129, 255)]


def over_luts() -> Figures:
    found: Figures = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for count in (1, 3, 10, 30, 100, 300):
            for number in range(len(list(folder.iterdir())), count):
                a_lut(17).save(folder / f"{number:04}.cube")
            command = [sys.executable, "-m", "lutbench", "inspect", "--json"]
            files = [str(file) for file in sorted(folder.iterdir())]
            call = lambda c=(*command, *files): subprocess.run(  # noqa: E731
                c, stdout=subprocess.DEVNULL, check=True
            )
            found.append((count, least(call, 3)))
    return found


def over_cores() -> Figures:
    pixels, lut = picture(WIDTH * HEIGHT), a_lut(33)
    most = len(os.sched_getaffinity(0))
    counts = [count for count in (1, 2, 3, 4, 6, 8, 12, 16, 24, 32) if count <= most]
    return [(count, applied(lut, pixels, count)) for count in counts]


PARTS = {"pixels": over_pixels, "nodes": over_nodes, "luts": over_luts, "cores": over_cores}


def draw(kept: dict[str, Any], target: Path) -> None:
    """A panel a part: what was measured, and the line of plain proportion to its last figure."""
    import matplotlib

    matplotlib.use("svg")
    matplotlib.rcParams["svg.hashsalt"] = "lutbench"
    from matplotlib import pyplot
    from matplotlib.ticker import LogLocator

    figure, panels = pyplot.subplots(2, 2, figsize=(9, 7), layout="constrained")
    for name, panel in zip(WORDS, panels.flat, strict=True):
        across, what = WORDS[name]
        x, seconds = np.array(kept[name]["figures"]).T
        milliseconds = 1e3 * seconds
        power = {"nodes": 3, "cores": -1}.get(name, 1)
        anchor = 0 if name in ("cores", "nodes") else -1
        ideal = milliseconds[anchor] * (x / x[anchor]) ** power
        words = {"nodes": "as the table's size", "cores": "one thread's, shared out"}
        panel.loglog(x, ideal, "--", color="0.55", label=words.get(name, "in proportion"))
        panel.loglog(x, milliseconds, "o-", color="#0b5394", label="measured")
        panel.set(xlabel=across, ylabel="ms", title=f"{what}\n{kept[name]['machine']}")
        panel.title.set_fontsize(9)
        if name == "nodes":
            panel.set_ylim(milliseconds.min() / 2, milliseconds.max() * 4)
        if name != "pixels":
            panel.set_xticks(x, [f"{value:g}" for value in x])
        panel.yaxis.set_major_locator(LogLocator(subs=(1, 2, 5), numticks=12))
        panel.yaxis.set_major_formatter("{x:g}")
        panel.minorticks_off()
        panel.grid(color="0.9")
        panel.legend(frameon=False)
    figure.savefig(target, metadata={"Date": None})


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("file", type=Path)
    asked.add_argument("parts", nargs="*", choices=[*PARTS, []])
    asked.add_argument("--draw", type=Path)
    given = asked.parse_args()
    kept = json.loads(given.file.read_text()) if given.file.exists() else {}
    if given.draw:
        draw(kept, given.draw)
        return
    apply_pixels(a_lut(33), picture(80_000_000))  # from here on the compiled kernel
    for name in given.parts or PARTS:
        machine = f"{len(os.sched_getaffinity(0))} cores, {platform.machine()}"
        kept[name] = {"machine": machine, "figures": PARTS[name]()}
        given.file.write_text(json.dumps(kept, indent=1))
        print(f"| {WORDS[name][0]} | ms ({WORDS[name][1]}) |\n|---:|---:|")
        for x, seconds in kept[name]["figures"]:
            print(f"| {x:g} | {1e3 * seconds:.3g} |")


if __name__ == "__main__":
    main()
