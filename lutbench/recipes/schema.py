"""A recipe: what stands in the TOML file, as LUTs to make.

Everything but ``[[lut]]``, ``definitions`` and ``[profile]`` may stand at the
top, for all LUTs, or in one ``[[lut]]``, for that one; a table in a LUT is laid
over the table of that name at the top, key by key.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.files import beside
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import (
    KINDS,
    PLACES,
    Conversion,
    Encoding,
    mapping_into,
)
from lutbench.model.curves.base import Curve
from lutbench.model.curves.hdr import PqDisplay, PqScene
from lutbench.model.curves.video import Bt1886
from lutbench.model.definitions import Definitions, parse_toml, read_toml
from lutbench.model.false_colour import OKABE_ITO, Band, FalseColour, default_bands
from lutbench.model.gamut_map import KNEE, MOST_KNEE
from lutbench.model.gamuts import Gamut, check_adaptation
from lutbench.model.grade import Cdl, Saturation, gains, white_balance
from lutbench.model.light import REFERENCE_SURROUND, Display
from lutbench.model.tone import ToneMapper, tone_mapper, tone_names
from lutbench.model.transforms import Matrix, Transform
from lutbench.recipes.profile import Profile, read_profile
from lutbench.recipes.table import Table
from lutbench.tables.lut import Interpolation

MAX_LUTS = 500

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


@dataclass(frozen=True)
class Shaper:
    """A 1D shaper before the 3D LUT: its curve, the input it spans, its rows."""

    curve: Curve
    low: float
    high: float
    size: int


@dataclass(frozen=True)
class LutJob:
    """A LUT to make: its name (path without suffix), what it does, and its table."""

    name: str
    title: str
    task: Conversion | FalseColour
    size: int = 33
    dimensions: Literal[1, 3] = 3
    shaper: Shaper | None = None
    interpolation: Interpolation = "tetrahedral"
    decimals: int = 6

    @property
    def kind(self) -> str:
        """``combined``, ``curve``, ``gamut`` or ``false_colour``."""
        return self.task.kind

    def transform(self) -> Transform:
        """The exact transform that the LUT samples."""
        return self.task.pipeline() if isinstance(self.task, Conversion) else self.task


@dataclass(frozen=True)
class Recipe:
    """LUTs to make, and the digest of the text that asks for them."""

    title: str
    jobs: tuple[LutJob, ...]
    digest: str
    profile: Profile
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
    """The recipe in a TOML text; its files are looked up in the current folder."""
    return recipe_from_data(parse_toml(text.encode("utf-8"), where), Path(where))


def recipe_from_data(
    data: dict[str, Any], file: Path, catalogue: Catalogue | None = None
) -> Recipe:
    """The recipe in a parsed TOML file that stands at `file`."""
    top = Table(data, str(file))
    known = _catalogue(top, file, catalogue)
    title = top.text("title", "")
    profile = read_profile(top.table("profile"))
    shared = {key: value for key in SHARED if (value := top.take(key)) is not None}
    luts = top.tables("lut")
    top.done()
    if not 1 <= len(luts) <= MAX_LUTS:
        raise DefinitionError(
            f"the recipe asks for {len(luts)} LUTs",
            where=file,
            accepted=f"1 to {MAX_LUTS} tables [[lut]]",
        )
    jobs: list[LutJob] = []
    for lut in luts:
        merged = Table(_laid_over(shared, lut.values), lut.where)
        jobs += _jobs(merged, title, profile, known)
        if len(jobs) > MAX_LUTS:
            raise DefinitionError(
                f"the recipe asks for over {MAX_LUTS} LUTs",
                where=file,
                accepted=f"up to {MAX_LUTS}",
            )
    seen: set[str] = set()
    for job in jobs:
        # Two names that differ only in case are one file on many cards.
        if job.name.casefold() in seen:
            raise DefinitionError(
                f"two LUTs are named {job.name!r}",
                where=file,
                accepted="a name of its own for each",
            )
        seen.add(job.name.casefold())
    return Recipe(title, tuple(jobs), digest_of(data, known.definitions), profile, known, file)


def digest_of(data: dict[str, Any], definitions: Definitions) -> str:
    """SHA-256 of a recipe's content and of the definitions it can see (layout ignored)."""
    user = {
        "curves": {name: curve.to_data() for name, curve in definitions.curves.items()},
        "gamuts": {name: gamut.to_data() for name, gamut in definitions.gamuts.items()},
    }
    text = json.dumps([data, user], sort_keys=True, default=str, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _catalogue(top: Table, file: Path, catalogue: Catalogue | None) -> Catalogue:
    named = top.take("definitions")
    names = [named] if isinstance(named, str) else named or []
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise DefinitionError(
            "is no list of files", where=top.at("definitions"), accepted='["a.toml", "b.toml"]'
        )
    base = catalogue or open_catalogue()
    found = (beside(file.parent, name, top.at("definitions")) for name in names)
    more = open_catalogue(*found, user=False)
    return replace(base, definitions=base.definitions.merged(more.definitions))


def _laid_over(shared: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    merged = dict(shared)
    for key, value in own.items():
        under = merged.get(key)
        both = isinstance(under, dict) and isinstance(value, dict)
        merged[key] = _laid_over(under, value) if both else value  # type: ignore[arg-type]
    return merged


def _jobs(lut: Table, set_title: str, profile: Profile, known: Catalogue) -> list[LutJob]:
    name = lut.text("name")
    if not name.strip() or len(name) > 200:
        raise DefinitionError(
            f"{name[:40]!r} is no name", where=lut.at("name"), accepted="1 to 200 characters"
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
    try:
        task = (
            _false_colour(lut, known) if kind == "false_colour" else _conversion(lut, kind, known)
        )
        job = _with_table(LutJob(name, title, task), lut, known)
        if isinstance(task, FalseColour):
            task.refuse_coarse(job.size, lut.at("size"))
        lut.done()
        rungs = [None] if ladder is None else list(ladder)
        jobs = [_at_exposure(job, stops, profile, set_title) for stops in rungs]
    except LutbenchError as error:
        if error.where:
            raise
        raise DefinitionError(error.what, where=lut.where, accepted=error.accepted) from error
    for each in jobs:
        target = each.task.result.range if isinstance(each.task, Conversion) else "full"
        size = each.size if each.dimensions == 3 else None
        profile.check(each.name, size, target, lut.where)
    return jobs


def _at_exposure(job: LutJob, stops: float | None, profile: Profile, set_title: str) -> LutJob:
    """The job, or `stops` brighter, with its name and title saying so as the profile wants it."""
    usual = job.title if stops is None else f"{job.title} {stops:+g} stops"
    exposure = "" if stops is None else f"{stops:+g}"
    names = {"set": set_title, "lut": _spoken(job.name), "exposure": exposure}
    title = profile.title_of(names, usual)
    if stops is None:
        return replace(job, name=profile.cased(job.name), title=title)
    task = replace(job.task, exposure=job.task.exposure + stops)
    name = profile.cased(profile.ladder_name(job.name, stops))
    return replace(job, name=name, title=title, task=task)


def _with_table(job: LutJob, lut: Table, known: Catalogue) -> LutJob:
    dimensions = lut.choice("dimensions", (1, 3), 3)
    if dimensions == 1 and job.kind != "curve":
        raise DefinitionError(
            f"a {job.kind} LUT does not fit one dimension",
            where=lut.at("dimensions"),
            accepted="3, or kind curve",
        )
    usual = job.task.usual_size if isinstance(job.task, FalseColour) else 33
    size = lut.integer("size", usual if dimensions == 3 else 1024)
    low, high = (2, 256) if dimensions == 3 else (2, 65536)
    if not low <= size <= high:
        raise DefinitionError(
            f"a LUT size of {size} is out of limits",
            where=lut.at("size"),
            accepted=f"{low} to {high}",
        )
    decimals = lut.integer("decimals", 6)
    if not 4 <= decimals <= 12:
        raise DefinitionError(f"{decimals} decimals", where=lut.at("decimals"), accepted="4 to 12")
    return replace(
        job,
        size=size,
        dimensions=dimensions,
        shaper=_shaper(lut.table("shaper"), known),
        interpolation=lut.choice("interpolation", ("tetrahedral", "trilinear"), "tetrahedral"),
        decimals=decimals,
    )


def _shaper(table: Table | None, known: Catalogue) -> Shaper | None:
    if table is None:
        return None
    curve = known.curve(table.text("curve"), table.at("curve"))
    low, high = table.number("low", 0.0), table.number("high", 1.0)
    size = table.integer("size", 4096)
    table.done()
    if not low < high or not 2 <= size <= 65536:
        raise DefinitionError(
            "the shaper is out of limits", where=table.where, accepted="low < high, size 2 to 65536"
        )
    return Shaper(curve, low, high, size)


def _conversion(lut: Table, kind: Any, known: Catalogue) -> Conversion:
    source = _encoding(lut, "source", known, curve_needed=True, gamut_needed=kind != "curve")
    target = _encoding(
        lut, "target", known, curve_needed=kind != "gamut", gamut_needed=kind != "curve"
    )
    exposure = lut.number("exposure", 0.0)
    adaptation, way = _gamut_handling(lut.table("gamut"))
    tone = _tone(lut.table("tone"), source, target, exposure)
    place, grade = _look(lut.table("look"))
    task = Conversion(
        source,
        target,
        kind,
        exposure,
        _white_balance(lut.table("white_balance"), source.gamut, adaptation),
        adaptation,
        way if isinstance(way, GamutCompression) else None,
        tone,
        grade,
        place,
        lut.flag("clamp", True),
        lut.flag("as_found", False),
    )
    if not isinstance(way, dict):
        return task
    return replace(task, mapping=mapping_into(task, **way))


def _encoding(
    lut: Table, key: str, known: Catalogue, *, curve_needed: bool, gamut_needed: bool
) -> Encoding:
    table = lut.table(key) or Table({}, lut.at(key))
    # A curve or gamut that the kind leaves alone may be named all the same.
    curve_name = table.text("curve") if curve_needed else table.text("curve", "linear")
    gamut_name = table.text("gamut") if gamut_needed else table.text("gamut", "BT.709")
    curve = known.curve(curve_name, table.at("curve"))
    if "black" in table:
        if not isinstance(curve, Bt1886):
            raise DefinitionError(
                f"a black level means nothing to {curve.name!r}",
                where=table.at("black"),
                accepted="with BT.1886 only",
            )
        curve = Bt1886(black=table.number("black"))
    if "white" in table:
        if not isinstance(curve, PqDisplay | PqScene):
            raise DefinitionError(
                f"a white level means nothing to {curve.name!r}",
                where=table.at("white"),
                accepted="with ST 2084 and BT.2100 PQ only",
            )
        curve = replace(curve, white=table.number("white"))
    display = _display(table)
    encoding = Encoding(
        curve,
        known.gamut(gamut_name, table.at("gamut")),
        table.choice("range", ("full", "legal"), curve.formula_codes),
        table.choice("bits", (8, 10, 12, 16), 10),
        display,
    )
    table.done()
    return encoding


def _display(table: Table) -> Display | None:
    """The display that an end names with its peak; its black and its surround need the peak."""
    if "display_peak" not in table:
        return None
    return Display(
        table.number("display_peak"),
        table.number("display_black", 0.0),
        table.number("surround", REFERENCE_SURROUND),
    )


def _tone(
    table: Table | None, source: Encoding, target: Encoding, exposure: float
) -> ToneMapper | None:
    if table is None:
        return None
    mapper = tone_mapper(table.choice("method", tone_names(), "shoulder"))
    settings = mapper.settings() if mapper else {}
    given = {key: table.like(key, default) for key, default in settings.items() if key in table}
    table.know(*settings)
    table.done()
    try:
        return mapper.between(source, target, exposure, **given) if mapper else None
    except DefinitionError as error:
        raise DefinitionError(error.what, where=table.where, accepted=error.accepted) from error


def _gamut_handling(
    table: Table | None,
) -> tuple[str, GamutCompression | dict[str, float] | None]:
    """The adaptation, and a compression, the settings of a mapping, or nothing."""
    if table is None:
        return "bradford", None
    method = table.choice("method", ("clip", "compress", "map"), "clip")
    adaptation = check_adaptation(table.text("adaptation", "bradford"), table.at("adaptation"))
    given: dict[str, Any] = {}
    for key in ("thresholds", "limits"):
        if (values := table.numbers(key, 3)) is not None:
            given[key] = values
    if "power" in table:
        given["power"] = table.number("power")
    table.know("power")
    knee = table.number("knee", KNEE)
    table.done()
    if method == "clip":
        return adaptation, None
    if method == "map":
        if not 0 <= knee <= MOST_KNEE:
            raise DefinitionError(
                f"a knee of {knee:g} is out of limits",
                where=table.at("knee"),
                accepted=f"0 to {MOST_KNEE}",
            )
        return adaptation, {"knee": knee}
    try:
        return adaptation, GamutCompression(**given)
    except DefinitionError as error:
        raise DefinitionError(error.what, where=table.where, accepted=error.accepted) from error


def _white_balance(table: Table | None, gamut: Gamut, adaptation: str) -> Matrix | None:
    if table is None:
        return None
    try:
        if (triple := table.numbers("gains", 3)) is not None:
            matrix = gains(*triple)
        else:
            matrix = white_balance(
                gamut,
                table.number("kelvin"),
                table.number("tint", 0.0),
                balanced_for=table.number("balanced_for", 5600.0),
                adaptation="bradford" if adaptation == "none" else adaptation,
            )
    except DefinitionError as error:
        raise DefinitionError(error.what, where=table.where, accepted=error.accepted) from error
    table.done()
    return matrix


def _look(table: Table | None) -> tuple[Any, tuple[Transform, ...]]:
    if table is None:
        return "after", ()
    place = table.choice("place", PLACES, "after")
    steps: list[Transform] = []
    try:
        if (cdl := table.table("cdl")) is not None:
            triples = {
                key: values
                for key in ("slope", "offset", "power")
                if (values := cdl.numbers(key, 3)) is not None
            }
            steps.append(
                Cdl(
                    **triples,  # type: ignore[arg-type]
                    saturation=cdl.number("saturation", 1.0),
                    clamp=cdl.flag("clamp", place != "light"),
                )
            )
            cdl.done()
        if "saturation" in table:
            steps.append(Saturation(table.number("saturation")))
    except DefinitionError as error:
        raise DefinitionError(error.what, where=table.where, accepted=error.accepted) from error
    table.know("saturation")
    table.done()
    return place, tuple(steps)


def _false_colour(lut: Table, known: Catalogue) -> FalseColour:
    source = _encoding(lut, "source", known, curve_needed=True, gamut_needed=True)
    target = lut.table("target")
    grey = Bt1886()
    shown = known.curve(target.text("curve", grey.name)) if target else grey
    exposure = lut.number("exposure", 0.0)
    bands = [_band(each) for each in lut.tables("bands")]
    # Keys that only conversions use may stand at the top for the other LUTs.
    for key in ("white_balance", "tone", "gamut", "look", "clamp", "as_found"):
        lut.take(key)
    return FalseColour(
        source.curve,
        source.gamut,
        tuple(bands) or default_bands(_stops(source.curve.clip)),
        source.range,
        source.bits,
        exposure,
        shown,
    )


def _stops(light: float) -> float:
    from math import log2

    return log2(max(light, 1e-6) / 0.18)


def _band(table: Table) -> Band:
    colour = table.text("colour")
    low = table.number("low") if "low" in table else float("-inf")
    high = table.number("high") if "high" in table else float("inf")
    table.know("low", "high")
    label = table.text("label", "")
    table.done()
    try:
        return Band(low, high, OKABE_ITO.get(colour.casefold(), colour), label)
    except DefinitionError as error:
        raise DefinitionError(error.what, where=table.where, accepted=error.accepted) from error


def _spoken(name: str) -> str:
    """A file name as words for a title."""
    return name.rsplit("/", 1)[-1].replace("_", " ")
