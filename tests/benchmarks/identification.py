"""How often `identify` is right, on LUTs that colour-science made at random.

    python tests/benchmarks/identification.py --count 60 --first-seed 1000

Prints a table by group (never by a registered name): kind, curves and gamuts of
the first and of the first three candidates (up to `same_as`), ranges, look, what
"high" is worth, and the time of a call.
"""

from __future__ import annotations

import argparse
import sys
import time
import warnings
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from lutbench.analysis.identify import identify
from lutbench.tables.lut import Lut3D

sys.path.insert(0, str(Path(__file__).parent.parent / "analysis"))

from identification_cases import Case, build, negative, random_case
from identification_score import wrong_parts

NEGATIVE = ("random smooth", "hue rotation", "posterised", "inverted", "channel swap")


def judged(case: Case) -> dict[str, Any]:
    """What of one case `identify` has right."""
    lut = Lut3D(build(case))
    started = time.perf_counter()
    found = identify(lut)
    seconds = time.perf_counter() - started
    right = [not wrong_parts(each, case) for each in found.candidates[:3]]
    best = found.candidates[0] if found.candidates else None
    return {
        "kind": found.kind == case.kind,
        "top 1": bool(right and right[0]),
        "top 3": any(right),
        "range": best is not None
        and (best.source.range, best.target.range) == (case.source_range, case.target_range),
        "look": found.look.present == bool(case.look),
        "high": found.confidence == "high",
        "high and right": found.confidence == "high" and bool(right and right[0]),
        "seconds": seconds,
    }


GROUPS: dict[str, Callable[[Case], str]] = {
    "kind": lambda case: case.kind,
    "size": lambda case: f"{case.size} nodes",
    "tone": lambda case: f"tone {case.tone}",
    "look": lambda case: "with a look" if case.look else "without a look",
    "precision": lambda case: case.precision,
}


def main() -> None:
    """Run the benchmark and print its table in Markdown."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--first-seed", type=int, default=1000)
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    rows: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for number in range(options.count):
        case = random_case(options.first_seed + number, look=number % 3 == 2)
        result = judged(case)
        rows["all"].append(result)
        for group in GROUPS.values():
            rows[group(case)].append(result)
    print("| group | LUTs | kind | top 1 | top 3 | ranges | look told | high | high right | s |")
    print("|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|")
    for name, results in rows.items():
        share = {key: 100 * np.mean([each[key] for each in results]) for key in results[0]}
        high = sum(each["high"] for each in results)
        sure = sum(each["high and right"] for each in results)
        cells = [f"{share[key]:.0f} %" for key in ("kind", "top 1", "top 3", "range", "look")]
        cells += [str(high), f"{100 * sure / high:.0f} %" if high else "–"]
        cells.append(f"{np.median([each['seconds'] for each in results]):.2f}")
        print(f"| {name} | {len(results)} | {' | '.join(cells)} |")
    wrong = 0
    for name in NEGATIVE:
        for seed in range(3):
            wrong += identify(Lut3D(negative(name, 17, seed))).confidence == "high"
    print(f"\nNo conversion at all: {wrong} of {3 * len(NEGATIVE)} were called high.")


if __name__ == "__main__":
    main()
