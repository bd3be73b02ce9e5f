"""Odds of `identify`'s probabilities, learnt on half of the families and tried on the others.

    python tests/benchmarks/calibration.py --cache FOLDER --count 4 --first-seed 300
    python tests/benchmarks/calibration.py --cache FOLDER --count 3 --first-seed 3300 --plot FILE

Each LUT is identified once; all that the folder holds count. The families, in the order of the
alphabet, are dealt out in two halves. For each part that is weighed its odds are fitted to the
first half, as a sum of what speaks for a name and against it (logistic regression); what they say
is reported on the second, with its loss (mean -log of what was said of what is so), and the other
way round. Only parts that the LUT can tell count; a name where there is none is wrong.
"""

from __future__ import annotations

import argparse
import itertools
import json
import multiprocessing
import os
import sys
import warnings
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("NUMBA_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "cases"))

import numpy as np
import open_world
from open_world.case import Case
from open_world_score import same

import lutbench
from lutbench.identification import certainty
from lutbench.identification.certainty import HIDDEN, Odds, Seen
from lutbench.model.catalogue import Catalogue, open_catalogue

EDGES = (0.0, 0.3, 0.5, 0.7, 0.8, 0.9, 1.0)
LEAST = 1e-3
"""No probability counts as less, so that one surprise does not decide all."""

WEIGHED = {
    "source curve": ("source curve",),
    "source range": ("source range",),
    "source gamut": ("source gamut", "target gamut"),
    "target gamut": ("source gamut", "target gamut"),
    "target range": ("target range",),
}
"""The parts that are weighed, each with those that share its odds."""

HELD = 0.3
"""How strongly each number of the odds is held near nought, as a share of its square: few LUTs
must not decide much."""

Row = dict[str, Any]
Learnt = dict[str, Odds]
Pairs = list[tuple[float, bool]]


def main() -> None:
    """Read the options, identify, learn, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--count", type=int, default=4, help="LUTs of each family")
    parser.add_argument("--first-seed", type=int, default=300)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--cache", type=Path, required=True, help="a folder for what was found")
    parser.add_argument("--plot", type=Path, help="a file for the plot")
    options = parser.parse_args()
    options.cache.mkdir(parents=True, exist_ok=True)
    seeds = range(options.first_seed, options.first_seed + options.count)
    jobs = [(name, seed) for name in open_world.families() for seed in seeds]
    todo = [(*job, options.cache) for job in jobs if not _file(*job, options.cache).exists()]
    with multiprocessing.get_context("fork").Pool(options.jobs, maxtasksperchild=20) as pool:
        for _ in pool.imap_unordered(_found, todo):
            pass
    rows = [json.loads(each.read_text("utf-8")) for each in sorted(options.cache.glob("*.json"))]
    print("\n".join(report(rows)))
    if options.plot:
        plot(rows, options.plot)


def _file(name: str, seed: int, cache: Path) -> Path:
    return cache / f"{''.join(c if c.isalnum() else '_' for c in name)}-{seed}.json"


def _found(job: tuple[str, int, Path]) -> None:
    warnings.simplefilter("ignore")
    name, seed, cache = job
    row = row_of(open_world.case(name, seed)) | {"family": name, "seed": seed}
    _file(name, seed, cache).write_text(json.dumps(row), encoding="utf-8")


def row_of(case: Case) -> Row:
    """What is so of each part that was named, and what was seen of it."""
    kept: dict[str, tuple[float, float, float]] = {}
    plain = certainty.seen_of

    def watched(*given: Any) -> Any:
        curve, gamut = plain(*given)
        for part in WEIGHED:
            of = gamut if part.endswith("gamut") else curve
            kept[part] = (of.evidence, of.residual, of.left)
        return curve, gamut

    certainty.seen_of = watched
    try:
        known = Catalogue(without=case.without) if case.without else open_catalogue(user=False)
        found = lutbench.identify(case.lut, catalogue=known)
    finally:
        certainty.seen_of = plain
    best = found.best
    if best is None:
        return {"right": {}, "seen": {}, "word": "none"}
    # Where nothing shows a part, no odds are asked.
    capped = {part for part, value in best.probabilities.items() if value == certainty.UNSEEN}
    right = {}
    for part in WEIGHED:
        end, _, what = part.partition(" ")
        key, name = part.replace(" ", "_"), getattr(getattr(best, end), what)
        ties = [name, *getattr(best.same_as, key, ())]
        if key in case.truth.open_parts or name is None or part in capped:
            continue
        names = case.truth.names(key)
        if key in case.truth.unnamed or names:
            right[part] = any(same(key, each, str(one)) for each in names for one in ties)
    seen = {part: each for part, each in kept.items() if part in best.probabilities}
    return {"right": right, "seen": seen, "word": found.confidence}


def halves(rows: list[Row]) -> tuple[list[Row], list[Row]]:
    """The rows of every other family, and of those between."""
    names = sorted({row["family"] for row in rows})
    first = set(names[::2])
    return [row for row in rows if row["family"] in first], [
        row for row in rows if row["family"] not in first
    ]


def pairs(rows: list[Row], odds: Learnt, only: str = "") -> Pairs:
    """The probability of each part that was weighed, and whether its name is right."""
    return [
        (odds[part].rate(Seen(*seen)), bool(row["right"][part]))
        for row in rows
        for part, seen in row["seen"].items()
        if part in row["right"] and only in ("", part)
    ]


def loss(found: Pairs) -> float:
    """The mean of -log of the probability that was said of what is so."""
    said, right = np.array([each[0] for each in found]), np.array([each[1] for each in found])
    told = np.where(right, said, 1 - said)
    return float(-np.mean(np.log(np.maximum(told, LEAST))))


def learnt(rows: list[Row]) -> Learnt:
    """The odds of each part, fitted to the rows."""
    return {part: _fitted(rows, alike) for part, alike in WEIGHED.items()}


def _fitted(rows: list[Row], parts: tuple[str, ...]) -> Odds:
    """The odds with the least loss; what speaks for a name never counts against it."""
    from scipy.optimize import minimize

    kept = [(row["seen"][part], row["right"][part]) for part in parts for row in rows
            if _has(row, part)]  # fmt: skip
    evidence, residual, left = np.array([seen for seen, _ in kept]).T
    sign = np.where([right for _, right in kept], 1.0, -1.0)
    sizes = [-np.log(each + HIDDEN) for each in (residual, left)]
    terms = np.stack([np.ones(len(sign)), evidence, *sizes], axis=1)

    def cost(numbers: Any) -> float:
        missed = np.logaddexp(0, -sign * (terms @ numbers))
        return float(missed.sum() + HELD * np.sum(numbers[1:] ** 2))

    bounds = [(None, None), *[(0.0, None)] * 3]
    best = minimize(cost, np.zeros(4), bounds=bounds).x
    return Odds(*(round(float(each), 2) + 0.0 for each in best))


def _has(row: Row, part: str) -> bool:
    return part in row["seen"] and part in row["right"]


def crossed(rows: list[Row]) -> tuple[Pairs, Pairs]:
    """What is said of each half, by odds fitted to it, and by odds fitted to the other."""
    one, other = halves(rows)
    by_one, by_other = learnt(one), learnt(other)
    own = pairs(one, by_one) + pairs(other, by_other)
    return own, pairs(one, by_other) + pairs(other, by_one)


def report(rows: list[Row]) -> list[str]:
    """What was learnt, its loss, and how often what was said is so."""
    own, held_out = crossed(rows)
    lines = [f"{part}: {each}" for part, each in learnt(rows).items()]
    lines += [
        f"{len(rows)} LUTs: loss on the half learnt on {loss(own):.3f}, on the other "
        f"{loss(held_out):.3f}",
        "",
        "| said | parts, learnt on | right | parts, held out | right |",
        "|---|---:|---:|---:|---:|",
    ]
    binned = [bins(own), bins(held_out)]
    for k, (low, high) in enumerate(itertools.pairwise(EDGES)):
        cells = [f"{each[k][1]} | {_share(each[k][2], each[k][1])}" for each in binned]
        lines.append(f"| {100 * low:.0f} % to {100 * high:.0f} % | {' | '.join(cells)} |")
    sure = [right for row in rows if row["word"] == "high" for right in row["right"].values()]
    lines += ["", f"Said to be sure, without weighing: {sum(sure)} of {len(sure)} parts right"]
    return lines


def _share(right: int, count: int) -> str:
    return f"{100 * right / count:.0f} %" if count else "–"


def bins(found: Pairs) -> list[tuple[float, int, int]]:
    """For each step of probability: the mean of what was said, how many, how many are right."""
    made = []
    for low, high in itertools.pairwise(EDGES):
        inside = [
            each for each in found if low <= each[0] < high or (high == 1.0 and each[0] == 1.0)
        ]
        said = float(np.mean([each[0] for each in inside])) if inside else (low + high) / 2
        made.append((said, len(inside), sum(each[1] for each in inside)))
    return made


def plot(rows: list[Row], path: Path) -> None:
    """What was said against how often it is so, on the families held out, with counts."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure
    from scipy.stats import beta

    own, held_out = crossed(rows)
    style = {"svg.fonttype": "none", "svg.hashsalt": "lutbench", "font.size": 10}
    with rc_context(style):
        figure = Figure(figsize=(5.6, 5.2), layout="constrained")
        axes = figure.add_subplot()
        axes.plot([0, 1], [0, 1], color="#666666", linewidth=1, linestyle=":")
        for half, marker, colour, label in (
            (own, "s", "#999999", "families learnt on"),
            (held_out, "o", "#0072B2", "families held out"),
        ):
            seen = [each for each in bins(half) if each[1]]
            said = np.array([each[0] for each in seen])
            count, right = (np.array([each[k] for each in seen]) for k in (1, 2))
            low = np.nan_to_num(beta.ppf(0.05, right, count - right + 1))
            high = np.nan_to_num(beta.ppf(0.95, right + 1, count - right), nan=1.0)
            rate = right / count
            bars = np.maximum([rate - low, high - rate], 0)
            axes.errorbar(
                said, rate, bars, fmt=marker, color=colour, label=label, capsize=3, markersize=6
            )
            if half is held_out:
                for x, y, n in zip(said, rate, count, strict=True):
                    axes.annotate(
                        str(n), (x, y), (7, -12), textcoords="offset points", color=colour
                    )
        axes.set(
            xlim=(-0.02, 1.04),
            ylim=(-0.03, 1.05),
            aspect="equal",
            xlabel="probability that was said of a name",
            ylabel="share of such names that are right",
        )
        axes.legend(frameon=False, loc="upper left")
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        figure.savefig(path, metadata={"Date": None} if path.suffix == ".svg" else None)


if __name__ == "__main__":
    main()
