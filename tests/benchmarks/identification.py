"""How often `identify` is right, on LUTs that colour-science made at random.

    python tests/benchmarks/identification.py --count 300 --first-seed 27000

Prints a table by group (never by a registered name): kind, curves and gamuts of
the first and of the first three candidates (up to `same_as`), how often the curves are
named that the LUT does not tell, ranges, look, what each word of confidence
is worth, and the time of a call. `--rows FILE` keeps a line of JSON for each LUT, so
that every miss can be looked into. Times are of the processor, so that other work on
the machine counts little, and the lesser of two calls. Constants were chosen and faults
mended on other seeds: 1000 to 1179, 2000 to 2179, 3000 to 3179, 4000 to 4179, 5000 to
5119, 6000 to 6089, 7000 to 7119, 8000 to 8179, 11000 to 11299, 12000 to 12299, 13000 to
13299, 14000 to 14299, 15000 to 15299, 16000 to 16299, 17000 to 17299, 18000 to 18299,
19000 to 19299, 20000 to 20299, 21000 to 21399, 22000 to 22299, 24000 to 24299, 25000 to
25299 and 26000 to 26299.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import warnings
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from lutbench.identification import identify
from lutbench.tables.lut import Lut3D

sys.path.insert(0, str(Path(__file__).parent.parent / "cases"))

from identification_cases import NEGATIVES, Case, build, negative, random_case
from identification_score import judged

NEGATIVE_SEEDS = range(4)

CALLS = 2
LIMIT = 1.5
"""Seconds that a call is to take at most, of a LUT of 33 nodes."""

KEYS = ("kind", "top 1", "named", "top 3", "range", "look")

HDR = {"ST 2084": "PQ", "BT.2100 PQ": "PQ", "BT.2100 HLG": "HLG"}


def target_of(case: Case) -> str:
    """The kind of target: no maker's name."""
    if case.kind == "gamut":
        return "target the source's curve"
    return f"target {HDR.get(case.target_curve, 'SDR')}"


GROUPS: dict[str, Callable[[Case], str]] = {
    "kind": lambda case: case.kind,
    "size": lambda case: f"{case.size} nodes",
    "size and look": lambda case: f"{case.size} nodes, {'with' if case.look else 'without'} a look",
    "target": target_of,
    "range": lambda case: f"{case.source_range} to {case.target_range} range",
    "tone": lambda case: f"tone {case.tone}",
    "look": lambda case: f"look: {case.look}" if case.look else "without a look",
    "any look": lambda case: "with a look" if case.look else "",
    "precision": lambda case: case.precision,
    "clip": lambda case: "clipped" if case.clip else "beyond 0..1",
}
"""What rows are put together by; an empty name is no group."""


def timed(case: Case) -> dict[str, Any]:
    """What of one case `identify` has right, and the seconds of processor time it took.

    These are the least of a few calls, for the machine's speed varies; `first` is the first.
    """
    lut = Lut3D(build(case))
    taken = []
    for _ in range(CALLS):
        started = time.process_time()
        found = identify(lut)
        taken.append(time.process_time() - started)
    return judged(found, case) | {"seconds": min(taken), "first": taken[0]}


def percent(results: list[dict[str, Any]], key: str) -> str:
    """The share of results that have something right."""
    return f"{100 * np.mean([each[key] for each in results]):.0f} %"


def print_groups(rows: dict[str, list[dict[str, Any]]]) -> None:
    """The table by group."""
    print(
        "| group | LUTs | kind | top 1 | of these named | top 3 | ranges | look told | high "
        "| high right | s, median | s, 95 % |"
    )
    print("|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|")
    for name in sorted(rows, key=lambda each: (each != "all", each)):
        results = rows[name]
        high = [each for each in results if each["confidence"] == "high"]
        cells = [percent(results, key) for key in KEYS]
        cells += [str(len(high)), percent(high, "top 1") if high else "–"]
        seconds = [each["seconds"] for each in results]
        cells += [f"{np.median(seconds):.2f}", f"{np.percentile(seconds, 95):.2f}"]
        print(f"| {name} | {len(results)} | {' | '.join(cells)} |")


def print_calibration(results: list[dict[str, Any]]) -> None:
    """What each word of confidence is worth."""
    print("\n| confidence | LUTs | top 1 | top 3 |\n|---|---:|---:|---:|")
    for level in ("high", "medium", "low", "none"):
        some = [each for each in results if each["confidence"] == level]
        if some:
            print(
                f"| {level} | {len(some)} | {percent(some, 'top 1')} | {percent(some, 'top 3')} |"
            )


def print_negatives() -> None:
    """How many LUTs that are no conversion were called what."""
    levels: dict[str, int] = defaultdict(int)
    for name in NEGATIVES:
        for seed in NEGATIVE_SEEDS:
            for size in (17, 33):
                levels[identify(Lut3D(negative(name, size, seed))).confidence] += 1
    told = ", ".join(f"{levels[level]} {level}" for level in ("high", "medium", "low", "none"))
    print(f"\nNo conversion at all, {sum(levels.values())} LUTs: {told}.")


def print_times(results: list[dict[str, Any]]) -> None:
    """How many of the LUTs of 33 nodes took less than they may, and how long the slowest took."""
    for name, key in (("the lesser of two calls", "seconds"), ("the first call alone", "first")):
        taken = [each[key] for each in results]
        within = sum(each < LIMIT for each in taken)
        print(
            f"\n33 nodes, {name}: {within} of {len(taken)} LUTs under {LIMIT} s, "
            f"slowest {max(taken):.2f} s."
        )


def main() -> None:
    """Run the benchmark and print its tables in Markdown."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--first-seed", type=int, default=27000)
    parser.add_argument("--rows", type=Path, help="a file for a line of JSON of each LUT")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    identify(Lut3D(build(random_case(0))))  # what is known is made once
    rows: dict[str, list[dict[str, Any]]] = defaultdict(list)
    lines = []
    for number in range(options.count):
        seed = options.first_seed + number
        case = random_case(seed, look=number % 3 == 2)
        result = timed(case)
        rows["all"].append(result)
        names = [name for group in GROUPS.values() if (name := group(case))]
        for name in names:
            rows[name].append(result)
        lines.append(json.dumps({"seed": seed, "groups": names} | result))
        if options.rows:
            options.rows.write_text("\n".join(lines) + "\n")
    print_groups(rows)
    print_calibration(rows["all"])
    if rows["33 nodes"]:
        print_times(rows["33 nodes"])
    print_negatives()


if __name__ == "__main__":
    main()
