"""From a recipe, a folder or a LUT to the set that a bench shows."""

from __future__ import annotations

import pickle
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from lutbench.bench.contents import BenchSet, Item
from lutbench.bench.stills import BenchStill, built_in_stills, still_of_file
from lutbench.errors import LutbenchError
from lutbench.files import read_toml
from lutbench.formats.registry import open_lut, suffixes
from lutbench.identification import identify
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.base import MID_GREY, Curve
from lutbench.model.false_colour import FalseColour, default_bands
from lutbench.model.gamuts import BT709, BT2020, Gamut
from lutbench.model.signal import Range, check_range
from lutbench.recipes.make import make
from lutbench.recipes.schema import LutJob, read_recipe

RECIPE = ".toml"

MOST_LUTS = 500
"""As many as a recipe may ask for."""

MOST_IDENTIFIED_LUTS = 3
"""LUTs that are identified to find the source, if none is given."""


@dataclass(frozen=True)
class KnownEnds:
    """The encodings given for LUTs that are read from files; None where none is given."""

    source_curve: Curve | None = None
    source_gamut: Gamut | None = None
    source_range: Range | None = None
    target_curve: Curve | None = None
    target_gamut: Gamut | None = None
    target_range: Range | None = None

    @property
    def source(self) -> Encoding | None:
        """The recording; without a gamut BT.2020 is assumed, as wide as most camera gamuts."""
        if self.source_curve is None:
            return None
        gamut = self.source_gamut or BT2020
        if self.source_range is None:
            return Encoding(self.source_curve, gamut)
        return Encoding(self.source_curve, gamut, self.source_range)

    @property
    def target(self) -> Encoding | None:
        """The output."""
        if self.target_curve is None:
            return None
        gamut = self.target_gamut or BT709
        if self.target_range is None:
            return Encoding(self.target_curve, gamut)
        return Encoding(self.target_curve, gamut, self.target_range)


@dataclass(frozen=True)
class Order:
    """What to make a bench of."""

    path: Path
    ends: KnownEnds = field(default_factory=KnownEnds)
    stills: tuple[Path, ...] = ()
    catalogue: Catalogue | None = None

    @property
    def is_recipe(self) -> bool:
        """Whether it is a recipe rather than LUT files."""
        return self.path.suffix.lower() == RECIPE

    def watched(self) -> list[Path]:
        """The files that the bench depends on."""
        if not self.is_recipe:
            return [*self.files(), *self.stills]
        named: Any = []
        with suppress(LutbenchError):  # reported when the recipe is read
            named = read_toml(self.path).get("definitions", [])
        names = [named] if isinstance(named, str) else named
        more = [self.path.parent / each for each in names if isinstance(each, str)]
        return [self.path, *more, *self.stills]

    def files(self) -> list[Path]:
        """The LUT files."""
        if not self.path.is_dir():
            return [self.path]
        return sorted(
            each
            for each in self.path.rglob("*")
            if each.suffix.lower() in suffixes() and each.is_file()
        )


def gather(order: Order) -> tuple[BenchSet, dict[str, Any]]:
    """The set, and for each LUT's name a key that changes when the LUT does.

    Raises LutbenchError when there is no LUT, or a file cannot be read.
    """
    bench, keys = _of_recipe(order) if order.is_recipe else _of_files(order)
    if not bench.items:
        raise LutbenchError(
            "holds no LUT for a bench", where=order.path, accepted=", ".join(suffixes())
        )
    if bench.false_colour is None and bench.source is not None:
        bench = replace(bench, false_colour=_usual_bands(bench.source))
    stills = [still_of_file(each) for each in order.stills]
    return replace(bench, stills=_named(stills, bench)), keys


def _named(given: Sequence[BenchStill], bench: BenchSet) -> tuple[BenchStill, ...]:
    """The user's stills first, then the built-in ones, each with a unique name."""
    names: set[str] = set()
    out = []
    for each in [*given, *built_in_stills(bench.source)]:
        name, count = each.name, 1
        while name in names:
            count += 1
            name = f"{each.name} ({count})"
        names.add(name)
        out.append(replace(each, name=name))
    return tuple(out)


def _usual_bands(source: Encoding) -> FalseColour:
    from math import log2

    clip = log2(max(source.curve.clip, 1e-6) / MID_GREY)
    bands = default_bands(clip)
    return FalseColour(source.curve, source.gamut, bands, source.range, source.bits)


def _of_recipe(order: Order) -> tuple[BenchSet, dict[str, Any]]:
    recipe = read_recipe(order.path, order.catalogue)
    jobs = [job for job in recipe.jobs if isinstance(job.task, Conversion)]
    colours = [job.task for job in recipe.jobs if isinstance(job.task, FalseColour)]
    sources = [job.task.source for job in jobs if isinstance(job.task, Conversion)]
    source = sources[0] if sources else None
    ladders = _ladders(jobs)
    items = tuple(_item_of(job, ladders.get(job.name)) for job in jobs)
    notes = []
    other = [item.name for item in items if item.source != source]
    if other:
        notes.append(f"Made for a different recording from the stills: {', '.join(other)}.")
    soft = [job.name for job in jobs if job.interpolation != "tetrahedral"]
    if soft:
        notes.append(f"Made for trilinear interpolation (choose it under Look): {', '.join(soft)}.")
    bands = next((each for each in colours if source and each.curve == source.curve), None)
    title = recipe.title or order.path.stem
    source_from = f"from the recipe {order.path.name}"
    bench = BenchSet(title, items, source, source_from, bands, notes=tuple(notes))
    return bench, {job.name: pickle.dumps(job) for job in jobs}


def _item_of(job: LutJob, ladder: int | None) -> Item:
    task = job.task
    assert isinstance(task, Conversion)
    return Item(
        job.name,
        job.title,
        make(job),
        task.source,
        task.result,
        task.source.range,
        task.result.range,
        task.exposure,
        ladder,
    )


def _ladders(jobs: Sequence[LutJob]) -> dict[str, int]:
    """The ladder of each LUT, by name: LUTs of one ladder differ only in exposure."""
    groups: dict[bytes, list[str]] = {}
    for job in jobs:
        task = job.task
        assert isinstance(task, Conversion)
        # Jobs that are equal but for name, title and exposure. A shoulder's peak is fitted to
        # the exposure, so tones are compared by their other settings.
        alike = replace(job, name="", title="", task=replace(task, exposure=0.0, tone=None))
        asked = [getattr(task.tone, name, None) for name in ("kind", "contrast", "grey_out", "toe")]
        groups.setdefault(pickle.dumps((alike, type(task.tone), asked)), []).append(job.name)
    rungs = [names for names in groups.values() if len(names) > 1]
    return {name: number for number, names in enumerate(rungs) for name in names}


def _of_files(order: Order) -> tuple[BenchSet, dict[str, Any]]:
    files = order.files()
    if len(files) > MOST_LUTS:
        raise LutbenchError(
            f"{len(files)} LUTs in one bench", where=order.path, accepted=f"up to {MOST_LUTS}"
        )
    folder = order.path.is_dir()
    items: list[Item] = []
    keys: dict[str, Any] = {}
    notes: list[str] = []
    for file in files:
        name = file.relative_to(order.path).as_posix() if folder else file.name
        try:
            lut = open_lut(file)
        except LutbenchError as error:
            if not folder:
                raise
            notes.append(f"Left out: {error}")
            continue
        items.append(_item_of_file(name, file, lut, order.ends))
        keys[name] = (file.stat().st_mtime_ns, file.stat().st_size)
    source, source_from, ends = order.ends.source, "as given", order.ends
    if source is None:
        ends, source_from = _identified(items, order)
        source = ends.source
        if source is not None:
            items = [replace(item, source=source, source_range=source.range) for item in items]
    elif order.ends.source_gamut is None:
        source_from = "as given; the gamut is assumed"
    title = order.path.name if folder else (items[0].title or items[0].name if items else "")
    keys = {name: (key, repr(ends)) for name, key in keys.items()}
    return BenchSet(title, tuple(items), source, source_from, notes=tuple(notes)), keys


def _item_of_file(name: str, file: Path, lut: Any, ends: KnownEnds) -> Item:
    title = str(getattr(lut, "title", "")) or name
    source, target = ends.source, ends.target
    return Item(
        name,
        title,
        lut,
        source,
        target,
        source.range if source else ends.source_range or "full",
        target.range if target else ends.target_range or "full",
        file=str(file.name),
    )


def _identified(items: Sequence[Item], order: Order) -> tuple[KnownEnds, str]:
    """The source that is identified with high confidence in one of the first LUTs, if any."""
    catalogue = order.catalogue or open_catalogue()
    for item in items[:MOST_IDENTIFIED_LUTS]:
        try:
            found = identify(item.lut, catalogue=catalogue)
        except LutbenchError:
            continue  # a constant LUT cannot be identified
        best = found.candidates[0] if found.candidates else None
        if best is None or best.confidence != "high" or best.source.curve is None:
            continue
        gamut = catalogue.gamut(best.source.gamut) if best.source.gamut else None
        curve = catalogue.curve(best.source.curve)
        ends = replace(
            order.ends,
            source_curve=curve,
            source_gamut=gamut,
            source_range=check_range(best.source.range),
        )
        return ends, f"identified in {item.name}, not given"
    return order.ends, ""
