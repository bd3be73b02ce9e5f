"""`identify` and `inspect` on a folder: on all cores, in flat memory.

    python tests/benchmarks/measure_folder.py --count 1000

Beside it stands what it is held to: the time of one LUT in a process that has
started, times the number, over the cores. Processor time is that of all processes; on a
machine with other work only it can be trusted.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

import lutbench as lb
from lutbench.long_work import thread_limit

SIZES = (9, 17, 25, 33)
TARGETS = ("BT.1886, BT.709", "gamma 2.6, P3-D65", "sRGB, BT.709", "BT.1886, BT.2020")


def fill(folder: Path, count: int) -> None:
    """LUTs of some cameras and displays, with exposures and saturations of their own."""
    sources = [each.name for each in lb.curves().values() if each.curve and not each.unusable]
    sources = [name for name in sources if lb.curves()[name].curve.family == "log"]
    for number in range(count):
        words = f"{sources[number % len(sources)]}, ACEScg to {TARGETS[number % len(TARGETS)]}"
        size = SIZES[number % len(SIZES)]
        lut = lb.build(words, size=size, exposure=(number % 7 - 3) / 3, tone="shoulder")
        table = np.clip(lut.table, 0, 1)
        luma = (table @ np.array([0.2126, 0.7152, 0.0722]))[..., None]
        looked = np.clip(luma + (0.8 + 0.4 * (number % 5) / 4) * (table - luma), 0, 1)
        lb.Lut3D(looked).save(folder / f"lut_{number:04}.cube")


def one(command: str, files: list[Path]) -> tuple[float, float]:
    """Wall and processor seconds of a LUT, in a process that has started."""
    work = getattr(lb, command)
    to_data = lambda file: work(file).to_dict()  # noqa: E731
    to_data(files[0])
    wall, busy = time.perf_counter(), time.process_time()
    for file in files:
        to_data(file)
    return (time.perf_counter() - wall) / len(files), (time.process_time() - busy) / len(files)


PEAK = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, check=True)
most = resource.getrusage(resource.RUSAGE_CHILDREN)
print(most.ru_utime + most.ru_stime, most.ru_maxrss / 1024)
"""


def whole(command: str, files: list[Path], jobs: int) -> tuple[float, float, float]:
    """Wall seconds, processor seconds of all processes, and the largest of them in MiB."""
    line = [sys.executable, "-m", "lutbench", command, *map(str, files), "--json"]
    began = time.perf_counter()
    told = subprocess.run(
        [sys.executable, "-c", PEAK, *line, "--jobs", str(jobs)],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    return time.perf_counter() - began, float(told[0]), float(told[1])


def main() -> None:
    """Print a line for each command and length of folder."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--sample", type=int, default=40, help="LUTs that tell the time of one")
    wishes = parser.parse_args()
    cores = thread_limit()
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    with tempfile.TemporaryDirectory() as place:
        fill(Path(place), wishes.count)
        files = sorted(Path(place).iterdir())
        step = max(1, len(files) // wishes.sample)
        for command in ("identify", "inspect"):
            wall, busy = one(command, files[::step])
            print(f"{command}: one LUT {wall:.3f} s, {busy:.3f} s of processor; {cores} cores")
            for count, jobs in (
                (len(files) // 10, 1),
                (len(files) // 10, cores),
                (len(files), cores),
            ):
                took, used, most = whole(command, files[:count], jobs)
                ideal = wall * count / jobs
                print(
                    f"  {count} LUTs, {jobs} at once: {took:.1f} s ({took / ideal:.2f} x), "
                    f"{used:.1f} s of processor ({used / busy / count:.2f} x), "
                    f"{most:.0f} MiB the largest process",
                    flush=True,
                )


if __name__ == "__main__":
    main()
