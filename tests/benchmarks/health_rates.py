"""How often a clean LUT raises an alarm, and how small a defect is found.

Run it by itself (it takes from minutes to an hour):

    python tests/benchmarks/health_rates.py alarms --size 17 --size 33
    python tests/benchmarks/health_rates.py looks --first 100 --count 10
    python tests/benchmarks/health_rates.py looks --first 100 --count 1 --size 65
    python tests/benchmarks/health_rates.py defects --size 33
    python tests/benchmarks/health_rates.py enlarged --first 100 --count 4
    python tests/benchmarks/health_rates.py smoothed --size 33 --part 0.1 --count 2

Clean LUTs are those that the project's own model makes for every usable curve of
the catalogue and its usual targets, rounded to six decimals as a file is. An
alarm is a finding that is a warning or an error. LUTs with looks are those of
`tests/cases/open_world`, by published formulas and colour-science. There an alarm
is false where it names what the formula does not do; a tint that a look lays on is
none, and folds are counted apart. Those of `tests/cases/further_families.py` come with them.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import click
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "cases"))

from damage import CONVERSIONS, DEFECTS, Defect, clean, damaged

from lutbench.algebra.resampling import resample
from lutbench.errors import LutbenchError
from lutbench.inspection.finding import Examined
from lutbench.inspection.findings.table import Smoothed, SmoothedByGaussian, SmoothedFaces
from lutbench.inspection.registry import Health
from lutbench.inspection.subject import Subject
from lutbench.model.catalogue import open_catalogue
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.tables.lut import Lut3D
from lutbench.tables.nodes import sample
from lutbench.tables.traces import enlarged_from

Table = np.ndarray

TARGETS = (
    ("BT.709", "BT.709"),
    ("BT.1886", "BT.709"),
    ("sRGB", "BT.709"),
    ("gamma 2.6", "P3-D65"),
    ("BT.2020", "BT.2020"),
    ("BT.2100 PQ", "BT.2020"),
    ("BT.2100 HLG", "BT.2020"),
    ("ACEScct", "ACES AP1"),
    ("linear", "BT.709"),
)
USUAL_GAMUTS = ("BT.2020", "ACES AP1", "P3-D65")


@dataclass(frozen=True)
class Build:
    """A conversion and what it counts under."""

    kind: str
    target: str
    how: str
    conversion: Conversion


def builds(seed: int = 1) -> Iterator[Build]:
    """Every usable curve × its usual targets, by kind, tone and gamut handling.

    The source gamut is in turn one of three usual wide ones and one of the
    registry, drawn by `seed`.
    """
    known = open_catalogue(user=False)
    every = [entry.gamut for entry in known.gamuts() if entry.gamut]
    usual = [known.gamut(name) for name in USUAL_GAMUTS]
    rng = np.random.default_rng(seed)
    for source_curve in known.usable_curves:
        seen_gamuts: set[str] = set()
        for target_curve, target_gamut in TARGETS:
            target = Encoding(known.curve(target_curve), known.gamut(target_gamut))
            for kind, how in (
                ("combined", "clip"), ("combined", "shoulder"), ("combined", "compress"),
                ("curve", "clip"), ("curve", "shoulder"), ("gamut", "clip"), ("gamut", "compress"),
            ):  # fmt: skip
                if kind == "gamut" and target_gamut in seen_gamuts and how == "clip":
                    continue
                pool = every if rng.random() < 0.5 else usual
                source = Encoding(source_curve, pool[int(rng.integers(len(pool)))])
                try:
                    conversion = Conversion(
                        source,
                        target,
                        kind=kind,  # type: ignore[arg-type]
                        tone=ToneCurve.between(source, target) if how == "shoulder" else None,
                        compression=GamutCompression() if how == "compress" else None,
                    )
                except LutbenchError:
                    continue  # a shoulder that does not fit between the two
                label = target_gamut if kind == "gamut" else target_curve
                yield Build(kind, label, how, conversion)
            seen_gamuts.add(target_gamut)


OF_FILES = {"enlarged", "smoothed"}
"""Findings that are no alarm, and false on a table that was sampled as it is."""


@click.group()
def main() -> None:
    """Measure the findings of `lutbench inspect`."""


@main.command()
@click.option("--size", "sizes", multiple=True, type=int, default=(17, 33, 65), show_default=True)
@click.option("--part", type=float, default=1.0, help="The part of the builds to look at, 0 to 1.")
@click.option("--seed", type=int, default=1, show_default=True)
def alarms(sizes: tuple[int, ...], part: float, seed: int) -> None:
    """Count alarms on clean LUTs, by size, kind and target."""
    rng = np.random.default_rng(seed)
    chosen = [each for each in builds(seed) if rng.random() < part]
    for size in sizes:
        total: Counter[tuple[str, str]] = Counter()
        bad: Counter[tuple[str, str]] = Counter()
        codes: Counter[str] = Counter()
        for build in chosen:
            table = np.round(sample(build.conversion.pipeline(), size).table, 6)
            found = Health(Subject(Lut3D(table))).findings
            raised = {each.code for each in found if each.severity != "info"}
            raised |= {each.code for each in found} & OF_FILES
            for key in ((build.kind, build.how), (build.kind, build.target)):
                total[key] += 1
                bad[key] += bool(raised)
            codes.update(raised)
        whole = len(chosen)
        alarmed = sum(bad[key] for key in bad if key[1] in ("clip", "shoulder", "compress"))
        print(f"\nsize {size}: {alarmed} of {whole} builds ({100 * alarmed / whole:.2f} %)")
        print("| kind | how or target | builds | alarms |\n|---|---|---|---|")
        for key in sorted(total):
            print(f"| {key[0]} | {key[1]} | {total[key]} | {bad[key]} |")
        print("alarms by code:", dict(codes) or "none", flush=True)


DAMAGED = {
    "baked through 8 or 10 bits": "banding",
    "no conversion: noise": "noise",
    "no conversion: smooth map": "",
    "resampled from fewer nodes": "enlarged",
    "smoothed": "smoothed",
}
"""Families that have a defect, or are not picture's LUT at all, and what should be named there."""

OF_LOOKS = {"tint", "fold", "fold_in_black"}
"""Findings that are true of looks: a tint that is laid on, a fold where the formula folds."""


@main.command()
@click.option("--first", type=int, default=100, show_default=True, help="The first seed.")
@click.option("--count", type=int, default=10, show_default=True, help="How many seeds.")
@click.option("--size", type=int, help="Nodes along an edge, for families that may have any size.")
def looks(first: int, count: int, size: int | None) -> None:
    """Count alarms on LUTs with looks of every kind, by family, and damage that is named."""
    import further_families
    from open_world import case, families

    if size is not None:
        drawing: Any = import_module("open_world.case")
        drawn = drawing.some_size
        # The size is drawn all the same, so that a seed gives the same LUT at every size.
        drawing.some_size = lambda rng: drawn(rng) and size
    made = dict.fromkeys(families(), case)
    made |= dict.fromkeys(further_families.FAMILIES, further_families.case)
    print("| family | LUTs | tint named | folds named | false |\n|---|---:|---:|---:|---|")
    total: Counter[str] = Counter()
    codes: Counter[str] = Counter()
    for family, make in made.items():
        if family in DAMAGED:
            continue
        seen: Counter[str] = Counter()
        for seed in range(first, first + count):
            found = Health(Subject(make(family, seed).lut)).findings
            raised = {each.code for each in found if each.severity != "info"}
            false = raised - OF_LOOKS | {each.code for each in found} & OF_FILES
            seen.update(raised & OF_LOOKS | false)
            codes.update(false)
            total["LUTs"] += 1
            total["false alarms"] += bool(raised - OF_LOOKS)
            total["tint"] += "tint" in raised
            total["fold"] += bool(raised & {"fold", "fold_in_black"})
        other = {code: n for code, n in seen.items() if code not in OF_LOOKS}
        words = ", ".join(f"`{code}` {n}" for code, n in sorted(other.items())) or "none"
        print(f"| {family} | {count} | {seen['tint']} | {seen['fold']} | {words} |", flush=True)
    print(dict(total), dict(codes.most_common()))
    for family, code in DAMAGED.items():
        luts = (case(family, seed).lut for seed in range(first, first + count)) if code else ()
        named = sum(code in {each.code for each in Health(Subject(lut)).findings} for lut in luts)
        if code:
            print(f"{family}: `{code}` named in {named} of {count}", flush=True)


ENLARGED = {9: 17, 17: 33, 33: 65}
"""Nodes along an edge that are all kept in the larger table."""


@main.command()
@click.option("--first", type=int, default=100, show_default=True, help="The first seed.")
@click.option("--count", type=int, default=4, show_default=True, help="How many seeds.")
def enlarged(first: int, count: int) -> None:
    """Count LUTs with looks that are named as enlarged: as sampled, and enlarged by cubics."""
    import further_families
    from open_world import case, families

    made = dict.fromkeys(families(), case)
    made |= dict.fromkeys(further_families.FAMILIES, further_families.case)
    total: Counter[str] = Counter()
    named: Counter[str] = Counter()
    for family, make in made.items():
        if family in DAMAGED:
            continue
        for seed in range(first, first + count):
            lut = make(family, seed).lut
            if not isinstance(lut, Lut3D):
                continue
            tables = {"sampled": np.asarray(lut.table)}
            if lut.size in ENLARGED:
                for method in ("cubic", "pchip"):
                    tables[method] = resample(lut, ENLARGED[lut.size], method).lut.table
            for way, table in tables.items():
                # As the family rounded it; what is enlarged here, as a file of six decimals.
                planes = np.moveaxis(table if way == "sampled" else np.round(table, 6), -1, 0)
                total[way] += 1
                if enlarged_from(planes) is not None:
                    named[way] += 1
                    if way == "sampled":
                        print(f"named although sampled: {family}, seed {seed}", flush=True)
    for way, all_of_them in total.items():
        print(f"{way}: {named[way]} of {all_of_them} named", flush=True)


SMOOTHINGS = (
    *(("gaussian", sigma, "nearest") for sigma in (0.4, 0.5, 0.7, 1.0, 1.5)),
    ("gaussian", 1.0, "reflect"),
    *(("gaussian", sigma, "mirror") for sigma in (0.5, 1.0)),
    ("uniform", 3, "nearest"),
    ("uniform", 3, "mirror"),
)
"""Filters of scipy.ndimage, their width in nodes, and what stands beyond the faces."""


@main.command()
@click.option("--size", "sizes", multiple=True, type=int, default=(17, 33), show_default=True)
@click.option("--part", type=float, default=0.1, help="The part of the builds to look at, 0 to 1.")
@click.option("--seed", type=int, default=1, show_default=True)
@click.option("--first", type=int, default=100, show_default=True, help="The first seed of looks.")
@click.option("--count", type=int, default=2, show_default=True, help="How many seeds of looks.")
def smoothed(sizes: tuple[int, ...], part: float, seed: int, first: int, count: int) -> None:
    """Count tables that are named as smoothed: as sampled, and smoothed by filters of scipy."""
    rng = np.random.default_rng(seed)
    chosen = [each for each in builds(seed) if rng.random() < part]
    for size in sizes:
        for group, tone_only in (("with a gamut", False), ("tone only", True)):
            tables = (
                np.asarray(sample(each.conversion.pipeline(), size).table)
                for each in chosen
                if (each.kind == "curve") == tone_only
            )
            _count_smoothed(f"{group}, {size} nodes", tables)
    _count_smoothed("with looks", _tables_with_looks(first, count))


def _tables_with_looks(first: int, count: int) -> Iterator[Table]:
    import further_families
    from open_world import case, families

    made = dict.fromkeys(families(), case)
    made |= dict.fromkeys(further_families.FAMILIES, further_families.case)
    for family, make in made.items():
        if family not in DAMAGED:
            for seed in range(first, first + count):
                lut = make(family, seed).lut
                if isinstance(lut, Lut3D):
                    yield np.asarray(lut.table)


def _count_smoothed(group: str, tables: Iterator[Table]) -> None:
    total, faces, named = 0, Counter[str](), Counter[str]()
    for table in tables:
        total += 1
        filtered = {f"{name} {width:g}, {beyond}": _filtered(table, name, width, beyond)
                    for name, width, beyond in SMOOTHINGS}  # fmt: skip
        for way, values in {"as sampled": table, **filtered}.items():
            lut = Examined(Subject(Lut3D(np.round(values, 6))))
            by_faces = any(SmoothedFaces().examine(lut)) or any(SmoothedByGaussian().examine(lut))
            faces[way] += by_faces  # only where corners do not tell
            named[way] += by_faces or any(Smoothed().examine(lut))
    for way in named:
        print(f"| {group} | {way} | {named[way]} of {total} | {faces[way]} |", flush=True)


def _filtered(table: Table, name: str, width: float, beyond: str) -> Table:
    from scipy import ndimage

    values = table.astype(np.float64)
    if name == "gaussian":
        return ndimage.gaussian_filter(values, (width, width, width, 0), mode=beyond)
    return ndimage.uniform_filter(values, (int(width),) * 3 + (1,), mode=beyond)


@main.command()
@click.option("--size", "sizes", multiple=True, type=int, default=(17, 33, 65), show_default=True)
def defects(sizes: tuple[int, ...]) -> None:
    """Find the smallest strength of each defect that is found, on six clean LUTs."""
    for size in sizes:
        print(f"\nsize {size}\n| defect | code | unit | found from |\n|---|---|---|---|")
        for defect in DEFECTS:
            least = [_least(defect, name, size) for name in CONVERSIONS]
            counted = [each for each in least if each is not None]
            print(
                f"| {defect.name} | `{defect.code}` | {defect.unit} | {_span(defect, counted)} |",
                flush=True,
            )


def _least(defect: Defect, name: str, size: int) -> float | None:
    """The least strength found; infinity for none; None where the clean LUT has the finding."""
    if defect.code in _codes(clean(name, size)):
        return None
    for strength in defect.strengths:
        if defect.code in _codes(damaged(defect, name, size, strength)):
            return strength
    return float("inf")


def _codes(lut: Lut3D) -> set[str]:
    return {each.code for each in Health(Subject(lut)).findings}


def _span(defect: Defect, least: list[float]) -> str:
    if not least:
        return "a fact of all six"
    low, high = min(least), max(least)
    if defect.name.startswith("rounded"):
        low, high = high, low  # fewer levels are a stronger defect
    top = "not up to " + f"{defect.strengths[-1]:g}" if np.isinf(high) else f"{high:g}"
    return f"{low:g}" if low == high else f"{low:g} to {top}"


if __name__ == "__main__":
    main()
