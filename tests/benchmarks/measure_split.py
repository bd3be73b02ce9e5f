"""Processor time of `split`, and of `inspect` with red and blue swapped, on LUTs made elsewhere.

    python tests/benchmarks/measure_split.py --count 2 --first-seed 3700 [--family NAME] [--swapped]

Prints a table in Markdown, the slowest family first, of 3D LUTs of 33 nodes and of 1D LUTs. Modules
and the catalogue are loaded before, as for the second LUT of a folder.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
import warnings
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from statistics import median

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("NUMBA_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "cases"))

import open_world

import lutbench
from lutbench.algebra.rewritten import axes_reversed, channels_reordered
from lutbench.errors import LutbenchError
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.tables.lut import Lut3D

NODES = 33


def main() -> None:
    """Read the options, measure, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--count", type=int, default=2, help="LUTs of each family")
    parser.add_argument("--first-seed", type=int, default=3700)
    parser.add_argument("--family", action="append", help="only this family; may be repeated")
    parser.add_argument("--swapped", action="store_true", help="inspect with red and blue swapped")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    sys.modules["open_world.case"].SIZES = (NODES,) * 3  # type: ignore[attr-defined]
    measured = swapped if options.swapped else parts
    measured("plain conversion", 1)
    rows = []
    for family in options.family or open_world.families():
        seeds = range(options.first_seed, options.first_seed + options.count)
        seconds = [each for seed in seeds for each in measured(family, seed)]
        if seconds:
            rows.append((max(seconds), family, seconds))
            print(f"{max(seconds):6.2f} {family}", file=sys.stderr)
    print("| family | LUTs | median s | most s |\n|---|---:|---:|---:|")
    for most, family, seconds in sorted(rows, reverse=True):
        print(f"| {family} | {len(seconds)} | {median(seconds):.2f} | {most:.2f} |")


def parts(family: str, seed: int) -> list[float]:
    """Seconds of `split`, with `identify`."""
    case = open_world.case(family, seed)
    known = Catalogue(without=case.without) if case.without else open_catalogue(user=False)
    with suppress(LutbenchError):  # what can be known of a catalogue
        lutbench.identify(lutbench.build("BT.709", "BT.1886", kind="curve"), catalogue=known)
    return [_seconds(partial(lutbench.split, case.lut, catalogue=known))]


def swapped(family: str, seed: int) -> list[float]:
    """Seconds of `inspect`, with the channels and with the rows swapped; none of a 1D LUT."""
    lut = open_world.case(family, seed).lut
    if not isinstance(lut, Lut3D):
        return []
    every = (channels_reordered(lut, (2, 1, 0)), axes_reversed(lut))
    return [_seconds(lutbench.inspect(each).to_data) for each in every]


def _seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    with suppress(LutbenchError):
        work()
    return time.process_time() - start


if __name__ == "__main__":
    main()
