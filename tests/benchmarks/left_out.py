"""Every log and HDR encoding of the registries, left out of the catalogue in its turn.

    python tests/benchmarks/left_out.py --jobs 2

A LUT is made from each in three ways, and identified without its name; then logs of
parametric form at random. Nobody may be sure of a name. Prints counts alone, in Markdown.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
import warnings
from collections import Counter
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("NUMBA_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "cases"))

import numpy as np
from open_world import parametric_log
from open_world.ends import some_ends
from open_world.spaces import HDR_CURVES, log_names
from open_world.unregistered_curve import WAYS, left_out
from open_world_score import GUESS, LIKELY, NOTHING, SURE, Outcome, judge

INVENTED = "invented parametric log"
WORDS = (SURE, LIKELY, GUESS, NOTHING)


def main() -> None:
    """Read the options, identify, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--every", type=int, default=1, help="take each so many-th encoding alone")
    parser.add_argument("--invented", type=int, default=30, help="logs at random")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--out", type=Path, help="a file for the outcomes, one a line, as JSON")
    options = parser.parse_args()
    names = [*log_names(), *HDR_CURVES][:: options.every]
    jobs = [(name, way, options.seed) for name in names for way in WAYS]
    jobs += [(INVENTED, "", options.seed + k) for k in range(options.invented)]
    # A catalogue with a name less stays in its process: one process for each.
    with multiprocessing.get_context("fork").Pool(options.jobs, maxtasksperchild=3) as pool:
        found = list(pool.imap(outcome_of, jobs, chunksize=3))
    both = list(zip(jobs, found, strict=True))
    if options.out:
        lines = [json.dumps([job, each.to_data()]) for job, each in both]
        options.out.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(table([(job[1] or job[0], each) for job, each in both])))


def outcome_of(job: tuple[str, str, int]) -> Outcome:
    """What `identify` says of the LUT of a left-out encoding, or of an invented one."""
    warnings.simplefilter("ignore")
    name, way, seed = job
    if name == INVENTED:
        rng = np.random.default_rng([seed, 1])
        return judge(replace(parametric_log.generate(rng), hidden_curve=None, hidden_gamut=None))
    rng = np.random.default_rng([seed, [*log_names(), *HDR_CURVES].index(name)])
    ends = replace(some_ends(rng), source_curve=name)
    if name in HDR_CURVES:
        ends = replace(ends, source_gamut="BT.2020")
    return judge(left_out(rng, ends, way, size=33, decimals=6), seed)


def table(rows: list[tuple[str, Outcome]]) -> list[str]:
    """A row for each way: how many say what of the source curve, which has no name."""
    lines = ["| made | LUTs | " + " | ".join(WORDS) + " | no answer |", "|---|---:|" + 5 * "---:|"]
    for way in dict.fromkeys(way for way, _ in rows):
        mine = [each for name, each in rows if name == way]
        counts = Counter(each.nameless.get("source_curve", "") for each in mine if not each.fault)
        faults = sum(bool(each.fault) for each in mine)
        cells = " | ".join(str(counts[word]) for word in WORDS)
        lines.append(f"| {way} | {len(mine)} | {cells} | {faults} |")
    return lines


if __name__ == "__main__":
    main()
