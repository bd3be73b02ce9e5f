"""How well `split` puts LUTs together again, on LUTs that colour-science made at random.

    python tests/benchmarks/recomposition.py --count 64 --first-seed 5000

Prints a table by group (never by a registered name): the 95th percentile of the error
in 10-bit codes, on a LUT's own nodes and between them, of the parts chained again; and
between them of the LUT itself against the exact conversion that it was made of.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections import defaultdict
from pathlib import Path

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.splitting.split import split
from lutbench.tables.lut import Lut3D

sys.path.insert(0, str(Path(__file__).parent.parent / "cases"))

from identification_cases import Case, build, converted, random_case
from identification_score import wrong_parts


def judged(case: Case) -> tuple[bool, float, float, float] | None:
    """Whether the names are right; p95 codes on nodes, between, of the LUT itself; or None."""
    lut = Lut3D(build(case))
    try:
        parts = split(lut)
    except LutbenchError:
        return None
    chain = parts.chained()
    points = np.random.default_rng(case.seed).random((4096, 3))
    given = np.asarray(lut.apply(points))

    def p95(a: object, b: object) -> float:
        return float(np.percentile(np.abs(np.asarray(a) - np.asarray(b)), 95) * 1023)

    best = parts.identification.best
    right = best is not None and not wrong_parts(best, case)
    return (
        right,
        p95(chain.apply(lut.nodes), lut.table),
        p95(chain.apply(points), given),
        p95(converted(points, case), given),
    )


def main() -> None:
    """Run the benchmark and print its table in Markdown."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=64)
    parser.add_argument("--first-seed", type=int, default=5000)
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    rows: dict[tuple[int, str], list[tuple[bool, float, float, float]]] = defaultdict(list)
    none = 0
    for number in range(options.count):
        case = random_case(options.first_seed + number, look=number % 3 == 2)
        result = judged(case)
        if result is None:
            none += 1
            continue
        groups = (
            "all",
            case.kind,
            f"{case.size} nodes",
            f"tone {case.tone}",
            f"look {case.look}" if case.look else "no look",
            "names right" if result[0] else "names wrong",
        )
        for place, name in enumerate(groups):
            rows[place, name].append(result)
        print(number, case.kind, *(f"{x:.2f}" for x in result[1:]), file=sys.stderr)
    print("| group | LUTs | on nodes, median | 9 of 10 | between, median | LUT itself, median |")
    print("|---|---:|---:|---:|---:|---:|")
    for (_, name), results in sorted(rows.items()):
        nodes, between, own = np.array([each[1:] for each in results]).T
        print(
            f"| {name} | {len(results)} | {np.median(nodes):.2f} | {np.percentile(nodes, 90):.2f}"
            f" | {np.median(between):.1f} | {np.median(own):.1f} |"
        )
    print(f"\n{none} of {options.count} could not be split.")


if __name__ == "__main__":
    main()
