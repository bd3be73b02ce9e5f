"""Curves and primaries that nobody registered: how near what `identify` measures comes.

    python tests/benchmarks/measured.py --count 10 --first-seed 0 --jobs 2

Prints a table in Markdown, form by form; `--each` gives a line a LUT.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import warnings
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("NUMBA_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "cases"))

import numpy as np
from measured_cases import FORMS, case_of, light_error, primaries_error

import lutbench
from lutbench.model.catalogue import open_catalogue

LIGHT, POINTS = 0.005, 0.002
"""What a measure is to reach: the share of light, and the distance in xy."""

Row = tuple[str, int, float | None, float | None]


def main() -> None:
    """Read the options, identify, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--count", type=int, default=10, help="LUTs of each form")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--form", action="append", choices=FORMS, help="may be repeated")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--each", action="store_true", help="a line for each LUT")
    options = parser.parse_args()
    seeds = range(options.first_seed, options.first_seed + options.count)
    jobs = [(form, seed) for form in options.form or FORMS for seed in seeds]
    with multiprocessing.get_context("fork").Pool(options.jobs) as pool:
        rows = list(pool.imap(_row, jobs, chunksize=1))
    if options.each:
        for form, seed, light, points in rows:
            print(f"{form}, seed {seed}: light {_told(light)}, primaries {_told(points)}")
    print("\n".join(table(rows)))


def _row(job: tuple[str, int]) -> Row:
    warnings.simplefilter("ignore")
    case = case_of(*job)
    found = lutbench.identify(case.lut, catalogue=open_catalogue(user=False))
    return (*job, light_error(case, found.measured), primaries_error(case, found.measured))


def table(rows: list[Row]) -> list[str]:
    """A row for each form: how many were measured, the median error of those, how many reach."""
    lines = [
        "| form | LUTs | curve measured | light, median | within 0.5 % "
        "| primaries measured | xy, median | within 0.002 |",
        "|---|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for form in dict.fromkeys(row[0] for row in rows):
        mine = [row for row in rows if row[0] == form]
        light = _cells([row[2] for row in mine], LIGHT, "{:.3%}").replace("%", " %")
        points = _cells([row[3] for row in mine], POINTS, "{:.5f}")
        lines.append(f"| {form} | {len(mine)} | {light} | {points} |")
    return lines


def _cells(errors: list[float | None], limit: float, form: str) -> str:
    asked = [each for each in errors if each is not None]
    if not asked:
        return "– | – | –"
    seen = [each for each in asked if np.isfinite(each)]
    middle = form.format(np.median(seen)) if seen else "–"
    return f"{len(seen)} | {middle} | {sum(each <= limit for each in seen)}"


def _told(value: float | None) -> str:
    if value is None:
        return "–"
    return f"{value:.5f}" if np.isfinite(value) else "not measured"


if __name__ == "__main__":
    main()
