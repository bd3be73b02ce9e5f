"""Reading a recipe: from a TOML file to the LUTs to make.

Each key except ``[[lut]]``, ``definitions`` and ``[profile]`` may be at the top, for all LUTs,
or in a ``[[lut]]``, for that one; a table in a LUT overrides the table of the same name at the
top, key by key. Several sources and displays have tables of their own, and each LUT is made for
each pair of them (`lutbench.recipes.crossing`).
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.files import MOST_TOML_BYTES, beside, parse_toml, read_bytes, read_toml
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.conversion import KINDS, Conversion
from lutbench.model.curves.base import Curve
from lutbench.model.definitions import Definitions
from lutbench.model.transforms import Transform
from lutbench.recipes.crossing import END_OF, crossed, read_ends
from lutbench.recipes.keys import TableSettings, between
from lutbench.recipes.table import Table
from lutbench.recipes.tasks import conversion_task
from lutbench.tables.lut import USUAL_SIZE, Interpolation

if TYPE_CHECKING:
    from lutbench.measure.delta_e import View
    from lutbench.model.false_colour import FalseColour
    from lutbench.recipes.measured import MeasuredDisplay
    from lutbench.recipes.profile import Profile

MAX_LUTS = 500
"""Largest number of LUTs in a recipe: more are a mistake in its sources and displays."""

SHARED = (
    "source",
    "target",
    "exposure",
    "white_balance",
    "tone",
    "gamut",
    "look",
    "size",
    "dimensions",
    "shaper",
    "interpolation",
    "decimals",
    "clamp",
    "as_found",
)

OF_A_LUT = ("name", "title", "kind", "sources", "displays", "exposure_ladder", "bands_in", "bands")
"""Keys of a ``[[lut]]`` besides those that all LUTs may share."""


@dataclass(frozen=True, kw_only=True)
class Shaper(TableSettings):
    """A 1D curve before the 3D LUT."""

    curve: Curve | None = None
    """The shaper's curve; by default one that suits the LUT."""
    low: float = 0.0
    """The smallest input."""
    high: float = 1.0
    """The largest input."""
    size: Annotated[int | None, between(2, 65536)] = None
    """Number of rows; 65536 by default, or 4096 with a curve and `high` up to 1."""

    def __post_init__(self) -> None:
        if not self.low < self.high or not 2 <= self.rows <= 65536:
            raise DefinitionError(
                "the shaper is out of range",
                where=self.where,
                accepted="low < high, size 2 to 65536",
            )

    @property
    def rows(self) -> int:
        """A wide input range needs as many as a file may have, or mid grey loses accuracy."""
        usual = 4096 if self.high <= 1 and self.curve is not None else 65536
        return usual if self.size is None else self.size


@dataclass(frozen=True)
class LutJob:
    """A LUT to make: its name (path without suffix), what it does, and its form."""

    name: str
    title: str
    task: Conversion | FalseColour
    size: int = USUAL_SIZE
    dimensions: Literal[1, 3] = 3
    shaper: Shaper | None = None
    interpolation: Interpolation = "tetrahedral"
    decimals: int = 6
    display: MeasuredDisplay | None = None

    @property
    def kind(self) -> Literal["combined", "curve", "gamut", "false_colour"]:
        """``combined``, ``curve``, ``gamut`` or ``false_colour``."""
        return self.task.kind

    def transform(self) -> Transform:
        """The exact transform that is sampled for the LUT."""
        if not isinstance(self.task, Conversion):
            return self.task
        made = self.task.pipeline()
        return made if self.display is None else made | self.display.step

    @property
    def view(self) -> View | None:
        """The view of the LUT's output, where that is not given by the conversion's target."""
        return None if self.display is None else self.display.view


@dataclass(frozen=True)
class Recipe:
    """LUTs to make, and the digest of the recipe."""

    title: str
    jobs: tuple[LutJob, ...]
    digest: str
    catalogue: Catalogue
    path: Path | None = None


def read_recipe(path: str | Path, catalogue: Catalogue | None = None) -> Recipe:
    """The recipe in a TOML file.

    Raises
    ------
    DefinitionError
        With the file, the key and what would be accepted.
    """
    file = Path(path)
    return recipe_from_data(read_toml(file), file, catalogue)


def recipe_from_text(text: str, where: str = "recipe") -> Recipe:
    """The recipe in a TOML text; files that it names are in the current folder."""
    return recipe_from_data(parse_toml(text.encode("utf-8"), where), Path(where))


def recipe_from_stdin(catalogue: Catalogue | None = None) -> Recipe:
    """The recipe on standard input; files that it names are in the current folder."""
    data = sys.stdin.buffer.read(MOST_TOML_BYTES + 1)
    if len(data) > MOST_TOML_BYTES:
        raise LutbenchError("is too large", where="standard input", accepted="up to 1 MiB")
    return recipe_from_data(parse_toml(data, "standard input"), Path("standard input"), catalogue)


def recipe_from_data(
    data: dict[str, Any], file: Path, catalogue: Catalogue | None = None
) -> Recipe:
    """The recipe in the parsed TOML file `file`."""
    top = Table(data, str(file), file.parent)
    known = _catalogue(top, file, catalogue)
    title = top.text("title", "")
    profile = _profile(top.table("profile"))
    shared = {key: value for key in SHARED if (value := top.take(key)) is not None}
    luts = top.tables("lut")
    pairs = _pairs(top, luts)
    _refuse_misplaced(top)
    top.done()
    if not 1 <= len(luts) <= MAX_LUTS:
        raise DefinitionError(
            f"the recipe has {len(luts)} tables [[lut]]",
            where=file,
            accepted=f"1 to {MAX_LUTS}",
        )
    jobs: list[LutJob] = []
    named: list[str | None] = []
    for lut, of_ends, own in pairs:
        table = Table(_laid_over(_laid_over(shared, of_ends), own), lut.where, lut.folder)
        named += [_file_of(table, "look", "file"), _file_of(table, "target", "measured")]
        jobs += _jobs(table, title, profile, known)
        if len(jobs) > MAX_LUTS:
            raise DefinitionError(
                f"the recipe makes over {MAX_LUTS} LUTs",
                where=file,
                accepted=f"up to {MAX_LUTS}",
            )
    seen: set[str] = set()
    for job in jobs:
        # On many memory cards names that differ only in case are the same file.
        if job.name.casefold() in seen:
            raise DefinitionError(
                f"two LUTs are named {job.name!r}",
                where=file,
                accepted="a different name for each",
            )
        seen.add(job.name.casefold())
    digest = digest_of(data, known.definitions, filter(None, dict.fromkeys(named)))
    return Recipe(title, tuple(jobs), digest, known, file)


def _pairs(top: Table, luts: list[Table]) -> Iterable[tuple[Table, dict[str, Any], dict[str, Any]]]:
    """Each LUT with what a source and a display add to it, and with its own keys."""
    top.know(*END_OF)
    if not any(group in table for table in (top, *luts) for group in END_OF):
        return ((lut, {}, lut.values) for lut in luts)
    ends = read_ends(top, SHARED)
    return ((lut, *pair) for lut in luts for pair in crossed(lut, ends))


def _refuse_misplaced(top: Table) -> None:
    """Refuse keys at the top that are only for one LUT, and say where they belong."""
    for key in OF_A_LUT:
        if key in top.values and key not in ("title", *END_OF):
            raise DefinitionError(
                f"the key {key!r} is not for all LUTs",
                where=top.where,
                accepted=f"{key} in a [[lut]]",
            )


def _file_of(lut: Table, key: str, file: str) -> str | None:
    """The file that the table `key` of a LUT names under the key `file`, if any."""
    values = lut.values.get(key)
    table = lut.table(key) if isinstance(values, dict) else None
    return None if table is None else table.file(file)


def digest_of(data: dict[str, Any], definitions: Definitions, named: Iterable[str] = ()) -> str:
    """SHA-256 of a recipe's content, the files that it names and the definitions that it can use.

    Layout and comments of the recipe do not matter.
    """
    user = {
        "curves": {name: curve.to_data() for name, curve in definitions.curves.items()},
        "gamuts": {name: gamut.to_data() for name, gamut in definitions.gamuts.items()},
    }
    files = [_named_bytes(each.partition("#")[0]) for each in named]
    whole = [data, user, *(hashlib.sha256(each).hexdigest() for each in files)]
    text = json.dumps(whole, sort_keys=True, default=str, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _named_bytes(file: str) -> bytes:
    from lutbench.formats.registry import MAX_BYTES

    return read_bytes(file, limit=MAX_BYTES)


def _catalogue(top: Table, file: Path, catalogue: Catalogue | None) -> Catalogue:
    names = top.texts("definitions")
    base = catalogue or open_catalogue()
    if not names:
        return base
    found = (beside(file.parent, name, top.at("definitions")) for name in names)
    more = open_catalogue(*found, user=False)
    return replace(base, definitions=base.definitions.merged(more.definitions))


def _profile(table: Table | None) -> Profile | None:
    if table is None:
        return None
    from lutbench.recipes.profile import Profile

    return Profile.read(table)


def _laid_over(shared: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    merged = dict(shared)
    for key, value in own.items():
        under = merged.get(key)
        both = isinstance(under, dict) and isinstance(value, dict)
        merged[key] = _laid_over(under, value) if both else value  # type: ignore[arg-type]
    return merged


def _jobs(lut: Table, set_title: str, profile: Profile | None, known: Catalogue) -> list[LutJob]:
    lut.only((*SHARED, *OF_A_LUT))
    name = lut.text("name")
    if not name.strip() or len(name) > 200:
        raise DefinitionError(
            f"{name[:40]!r} is not a name", where=lut.at("name"), accepted="1 to 200 characters"
        )
    title = lut.text("title", " ".join(filter(None, [set_title, _spoken(name)])))
    kind = lut.choice("kind", (*KINDS, "false_colour"), "combined")
    ladder = lut.numbers("exposure_ladder")
    if ladder is not None and len(ladder) > MAX_LUTS:
        raise DefinitionError(
            f"a ladder of {len(ladder)} exposures",
            where=lut.at("exposure_ladder"),
            accepted=f"up to {MAX_LUTS}",
        )
    if ladder is not None and profile is not None:
        profile.refuse_equal_names(name, ladder, lut.at("exposure_ladder"))
    try:
        task = _task(lut, kind, known)
        job = _with_table(LutJob(name, title, task, display=_measured(lut, task)), lut, known)
        if not isinstance(task, Conversion):
            task.refuse_coarse(job.size, lut.at("size"))
        lut.done()
        jobs = []
        for stops in [None] if ladder is None else ladder:
            # Each exposure is read as if it were in the recipe, so that the tone is fitted to it.
            values = lut.values | {"exposure": lut.number("exposure", 0.0) + (stops or 0.0)}
            own = replace(job, task=_task(Table(values, lut.where, lut.folder), kind, known))
            jobs.append(_named(own, stops, profile, set_title))
    except LutbenchError as error:
        if error.where:
            raise
        raise DefinitionError(error.what, where=lut.where, accepted=error.accepted) from error
    for each in jobs:
        if profile is None:
            break
        target = each.task.result.range if isinstance(each.task, Conversion) else "full"
        target = target if each.display is None else each.display.readings.range
        size = each.size if each.dimensions == 3 else None
        needed_by = "" if isinstance(each.task, Conversion) else each.task.needs_usual_size
        profile.check(each.name, size, target, lut.where, needed_by)
    return jobs


def _task(lut: Table, kind: Any, known: Catalogue) -> Conversion | FalseColour:
    if kind == "false_colour":
        from lutbench.recipes.false_colour import false_colour_task

        return false_colour_task(lut, known)
    return conversion_task(lut, kind, known)


def _measured(lut: Table, task: Conversion | FalseColour) -> MeasuredDisplay | None:
    """The measured display that the target names, if it names one."""
    target = lut.table("target") if isinstance(task, Conversion) else None
    path = None if target is None else target.file("measured")
    if path is None or target is None or not isinstance(task, Conversion):
        return None
    from lutbench.recipes.measured import measured_display

    return measured_display(Path(path), task.result, target.at("measured"))


def _named(job: LutJob, stops: float | None, profile: Profile | None, set_title: str) -> LutJob:
    """The job with name and title by the profile, with the exposure where it is in a ladder."""
    usual = (
        job.title
        if stops is None
        else f"{job.title} {stops:+g} {'stop' if abs(stops) == 1 else 'stops'}"
    )
    if profile is None and stops is None:
        return replace(job, title=usual)
    from lutbench.recipes.profile import Profile

    profile = profile or Profile()
    exposure = "" if stops is None else f"{stops:+g}"
    names = {"set": set_title, "lut": _spoken(job.name), "exposure": exposure}
    title = profile.title_of(names, usual)
    if stops is None:
        return replace(job, name=profile.cased(job.name), title=title)
    return replace(job, name=profile.cased(profile.ladder_name(job.name, stops)), title=title)


def _with_table(job: LutJob, lut: Table, known: Catalogue) -> LutJob:
    dimensions = lut.choice("dimensions", (1, 3), 3)
    if dimensions == 1 and job.kind != "curve":
        raise DefinitionError(
            f"a {job.kind} LUT does not fit one dimension",
            where=lut.at("dimensions"),
            accepted="3, or kind curve",
        )
    usual = USUAL_SIZE if isinstance(job.task, Conversion) else job.task.usual_size
    size = lut.integer("size", usual if dimensions == 3 else 1024)
    low, high = (2, 256) if dimensions == 3 else (2, 65536)
    if not low <= size <= high:
        raise DefinitionError(
            f"a LUT size of {size} is out of range",
            where=lut.at("size"),
            accepted=f"{low} to {high}",
        )
    table = lut.table("shaper")
    shaper = None if table is None else Shaper.read(table, known)
    # Neighbouring rows of a shaper without a curve may differ by less than a millionth.
    decimals = lut.integer("decimals", 9 if shaper and shaper.curve is None else 6)
    if not 4 <= decimals <= 12:
        raise DefinitionError(f"{decimals} decimals", where=lut.at("decimals"), accepted="4 to 12")
    return replace(
        job,
        size=size,
        dimensions=dimensions,
        shaper=shaper,
        interpolation=lut.choice("interpolation", ("tetrahedral", "trilinear"), "tetrahedral"),
        decimals=decimals,
    )


def _spoken(name: str) -> str:
    """A file name as words, for a title."""
    return name.rsplit("/", 1)[-1].replace("_", " ")
