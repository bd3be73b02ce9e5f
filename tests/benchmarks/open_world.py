"""`identify` on LUTs made elsewhere: rates by family, calibration, time.

    python tests/benchmarks/open_world.py --count 20 --first-seed 1000 --cache folder

Prints a table in Markdown. Outcomes are kept in the folder of `--cache`, one file for
a case, and not asked for again: a run that was stopped goes on where it was. With
`--further` the LUTs are those of `further_families`, with `--blind` those of
`blind_families`; the search was not made on either.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("NUMBA_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "cases"))

import blind_families
import further_families
import numpy as np
import open_world
from open_world.case import PARTS, Case
from open_world_score import GUESS, LIKELY, NOTHING, SURE, Outcome, judge

ASKED = (*PARTS, "kind", "look", "exposure")
REACH_HONEST, REACH_NAMED = 0.92, 0.85
"""What each of the six parts is to reach: right or untold, and right."""


def main() -> None:
    """Read the options, judge, print."""
    options = _options()
    apart = blind_families if options.blind else further_families if options.further else None
    every = apart.FAMILIES if apart else open_world.families()
    names = options.family or list(every)
    seeds = range(options.first_seed, options.first_seed + options.count)
    jobs = [(name, seed) for name in names for seed in seeds]
    found = outcomes(jobs, options.jobs, options.cache, options.recipes)
    print("\n".join(table(list(found))))


def _options() -> argparse.Namespace:
    plain = argparse.RawTextHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=plain)
    parser.add_argument("--count", type=int, default=10, help="LUTs of each family")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--family", action="append", help="only this family; may be repeated")
    parser.add_argument("--further", action="store_true", help="the families kept apart")
    parser.add_argument("--blind", action="store_true", help="those of somebody who had seen none")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--cache", type=Path, help="a folder for outcomes")
    parser.add_argument("--recipes", action="store_true", help="split the own recipes' LUTs too")
    return parser.parse_args()


def outcomes(
    jobs: list[tuple[str, int]], processes: int, cache: Path | None, recipes: bool
) -> Iterator[Outcome]:
    """The outcome of every job, those kept in the cache first."""
    todo = []
    for name, seed in jobs:
        kept = _kept(cache, name, seed)
        if kept is not None:
            yield kept
        else:
            todo.append((name, seed))
    context = multiprocessing.get_context("fork")
    # A catalogue with a name less is asked in a process of its own, which ends with it.
    less = {name for name, seed in dict(todo).items() if _case(name, seed).without}
    apart = [job for job in todo if job[0] in less]
    together = [job for job in todo if job[0] not in less]
    for share, limit in ((together, None), (apart, 1)):
        if not share:
            continue
        with context.Pool(processes, maxtasksperchild=limit) as pool:
            judged = partial(_judged, recipes=recipes)
            for found in pool.imap_unordered(judged, share, chunksize=1):
                _keep(cache, found)
                yield found


def _judged(job: tuple[str, int], recipes: bool) -> Outcome:
    name, seed = job
    _warm()
    return judge(_case(name, seed), seed, recipes=recipes)


def _case(name: str, seed: int) -> Case:
    for families in (further_families, blind_families):
        if name in families.FAMILIES:
            return families.case(name, seed)
    return open_world.case(name, seed)


_WARM: list[bool] = []


def _warm() -> None:
    """Load what the first call of a process loads, so that no case is charged with it."""
    if not _WARM:
        _WARM.append(True)
        from open_world.spaces import same_curve

        same_curve("sRGB", "BT.1886")


def _file(cache: Path, name: str, seed: int) -> Path:
    plain = "".join(letter if letter.isalnum() else "_" for letter in name)
    return cache / f"{plain}-{seed}.json"


def _kept(cache: Path | None, name: str, seed: int) -> Outcome | None:
    if cache is None or not _file(cache, name, seed).exists():
        return None
    data = json.loads(_file(cache, name, seed).read_text(encoding="utf-8"))
    return Outcome(**(data | {"open_wrong": tuple(data["open_wrong"])}))


def _keep(cache: Path | None, found: Outcome) -> None:
    if cache is not None:
        cache.mkdir(parents=True, exist_ok=True)
        text = json.dumps(found.to_data(), ensure_ascii=False)
        _file(cache, found.family, found.seed).write_text(text, encoding="utf-8")


def table(found: list[Outcome]) -> list[str]:
    """The whole report as lines of Markdown."""
    return [*_by_family(found), "", *_by_part(found), "", *_calibration(found), "", *_rest(found)]


def _by_family(found: list[Outcome]) -> list[str]:
    lines = ["## By family: right · untold · wrong", ""]
    heads = " | ".join(each.replace("_", " ") for each in ASKED)
    lines += [f"| family | LUTs | {heads} |", "|---|---:|" + "---:|" * len(ASKED)]
    for family in sorted({each.family for each in found}):
        mine = [each for each in found if each.family == family]
        cells = [_cell(_counts(mine, part)) for part in ASKED]
        lines.append(f"| {family} | {len(mine)} | " + " | ".join(cells) + " |")
    return lines


def _counts(found: list[Outcome], part: str) -> Counter[str]:
    return Counter(each.parts[part] for each in found if part in each.parts)


def _cell(counts: Counter[str]) -> str:
    """Bold where it does not reach what it should."""
    if not counts:
        return "–"
    text = f"{counts['right']} · {counts['untold']} · {counts['wrong']}"
    return f"**{text}**" if _fails(counts) else text


def _fails(counts: Counter[str]) -> bool:
    total = sum(counts.values())
    return counts["wrong"] > (1 - REACH_HONEST) * total or counts["right"] < REACH_NAMED * total


def _by_part(found: list[Outcome]) -> list[str]:
    lines = ["## By part", "", "| part | asked | right | right or untold | families that fail |"]
    lines.append("|---|---:|---:|---:|---|")
    families = sorted({each.family for each in found})
    by_family = {each: [one for one in found if one.family == each] for each in families}
    for part in ASKED:
        counts = _counts(found, part)
        total = sum(counts.values())
        if not total:
            continue
        bad = [each for each, mine in by_family.items() if _fails(_counts(mine, part))]
        shares = (
            f"{100 * counts['right'] / total:.1f} % | {100 - 100 * counts['wrong'] / total:.1f} %"
        )
        lines.append(
            f"| {part.replace('_', ' ')} | {total} | {shares} | {'; '.join(bad) or 'none'} |"
        )
    return lines


def _calibration(found: list[Outcome]) -> list[str]:
    lines = [
        "## What a word is worth",
        "",
        "| word | parts named | right | whole answers | all right |",
    ]
    lines.append("|---|---:|---:|---:|---:|")
    for word in (SURE, LIKELY, GUESS):
        parts = [
            each.parts[part]
            for each in found
            for part in PARTS
            if part in each.parts and each.words.get(part) == word
        ]
        wholes = [
            all(each.parts[part] == "right" for part in PARTS if part in each.parts)
            and not any(named != NOTHING for named in each.nameless.values())
            for each in found
            if word == _word(each)
        ]
        lines.append(
            f"| {word} | {len(parts)} | {_share(each == 'right' for each in parts)} "
            f"| {len(wholes)} | {_share(wholes)} |"
        )
    return lines


def _word(found: Outcome) -> str:
    """The least sure word of the parts that are named, for the whole answer."""
    order = (NOTHING, GUESS, LIKELY, SURE)
    said = [found.words[part] for part in PARTS if found.words.get(part, NOTHING) != NOTHING]
    return min(said, key=order.index, default=NOTHING)


def _share(values: Iterable[bool]) -> str:
    kept = list(values)
    return f"{100 * sum(kept) / len(kept):.1f} %" if kept else "–"


def _rest(found: list[Outcome]) -> list[str]:
    lines = ["## Names where there is none", ""]
    nameless = [each for each in found if each.nameless]
    for family in sorted({each.family for each in nameless}):
        counts = Counter(
            word for each in nameless if each.family == family for word in each.nameless.values()
        )
        said = ", ".join(f"{word} {counts[word]}" for word in (SURE, LIKELY, GUESS, NOTHING))
        lines.append(f"- {family}: {said}")
    unsafe = Counter(part for each in found for part in each.open_wrong)
    told = ", ".join(f"{part} {count}" for part, count in unsafe.items()) or "none"
    lines += ["", f"Parts that cannot be told, called sure, and wrong: {told}"]
    for what in ("light_error", "primaries_error"):
        errors = [value for each in found if (value := getattr(each, what)) is not None]
        said = f"median {np.median(errors):.5f} of {len(errors)}" if errors else "not measured"
        lines.append(f"Measured, {what.replace('_', ' ')}: {said}")
    back = [each.recovered for each in found if each.recovered is not None]
    if back:
        near, asked = np.sum(back, axis=0)
        lines.append(f"Own recipes: {near} of {asked} numbers within 1 %, of {len(back)} LUTs")
    faults = [each for each in found if each.fault]
    lines += ["", f"No answer: {len(faults)}"]
    lines += [f"- {each.family}, seed {each.seed}: {each.fault}" for each in faults]
    times = [each.seconds for each in found if each.timed and not each.fault]
    if times:
        median, late = np.percentile(times, [50, 95])
        lines += ["", f"Processor time: median {median:.2f} s, 95 % {late:.2f} s, of {len(times)}"]
    return lines


if __name__ == "__main__":
    main()
