"""LUTs of every form of the project's own recipes: what `split` gives back, form by form.

    python tests/benchmarks/own_recipes.py --count 4 --first-seed 0 --jobs 2

Prints a table in Markdown; `--form` takes one form only, `--each` a line a recipe.
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
from own_recipe_forms import FORMS, WITHIN_CODES, Back, given_back

from lutbench.model.catalogue import open_catalogue


def main() -> None:
    """Read the options, split, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--count", type=int, default=4, help="recipes of each form")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--form", action="append", choices=list(FORMS), help="may be repeated")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--each", action="store_true", help="a line for each recipe")
    options = parser.parse_args()
    seeds = range(options.first_seed, options.first_seed + options.count)
    jobs = [(form, seed) for form in options.form or FORMS for seed in seeds]
    with multiprocessing.get_context("fork").Pool(options.jobs) as pool:
        found = list(pool.imap(_back, jobs, chunksize=1))
    print("\n".join(_each(found) if options.each else table(found)))


def _back(job: tuple[str, int]) -> Back:
    warnings.simplefilter("ignore")
    return given_back(*job, open_catalogue(user=False))


def table(found: list[Back]) -> list[str]:
    """A row for each form, and one for all."""
    head = f"built again within {WITHIN_CODES:g} codes"
    lines = [
        f"| form | recipes | names right | numbers within 1 % | {head} | codes | all of it |",
        "|---|---:|---:|---:|---:|---:|---:|",
    ]
    forms = list(dict.fromkeys(each.form for each in found))
    for form in forms:
        lines.append(_row(form, [each for each in found if each.form == form]))
    return [*lines, _row("all", found)]


def _row(name: str, mine: list[Back]) -> str:
    names = sum(each.names for each in mine)
    near, asked = sum(each.near for each in mine), sum(each.asked for each in mine)
    built = sum(each.codes <= WITHIN_CODES for each in mine)
    middle = float(np.median([each.codes for each in mine]))
    far = f"{middle:.2g}" if np.isfinite(middle) else "nothing is built"
    numbers = f"{near} of {asked}" if asked else "none asked"
    return (
        f"| {name} | {len(mine)} | {names} | {numbers} | {built} | {far} "
        f"| {sum(each.whole for each in mine)} |"
    )


def _each(found: list[Back]) -> list[str]:
    return [
        f"{each.form}, seed {each.seed}: names {'right' if each.names else 'wrong'}, "
        f"{each.near} of {each.asked} numbers, {each.codes:.3g} codes{_fault(each)}"
        for each in found
    ]


def _fault(each: Back) -> str:
    return f", {each.fault}" if each.fault else ""


if __name__ == "__main__":
    main()
