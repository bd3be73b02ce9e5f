"""Making LUTs: a LUT from a job, files from a recipe."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Unpack

from lutbench.errors import DefinitionError
from lutbench.files import inside, make_folder
from lutbench.formats.cube_write import write_cube
from lutbench.given import one_of
from lutbench.measure.difference import Accuracy, accuracy
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.conversion import KINDS, Conversion, Encoding, Kind
from lutbench.model.curves.base import Decode
from lutbench.model.signal import SignalFromRange
from lutbench.model.transforms import Matrix, Transform
from lutbench.recipes.schema import LutJob, Recipe, Shaper
from lutbench.recipes.settings import ENDS, Choices, Settings, with_defaults
from lutbench.recipes.tasks import conversion_task
from lutbench.recipes.words import table_of_settings
from lutbench.results import PlainData
from lutbench.tables.lut import Lut, ShaperLut3D
from lutbench.tables.nodes import sample, sample_1d, sample_behind

if TYPE_CHECKING:
    from lutbench.inspection.finding import Finding
    from lutbench.model.false_colour import FalseColour

USUAL_SIZES = (17, 33, 65)
"""Sizes, in nodes along an edge, that are tried for the recommendation: monitors load these."""

DELTA_E_LIMIT = 1.0
"""ΔE below which 99 % of real colours lie in a good LUT: about the smallest visible difference."""


@dataclass(frozen=True, eq=False)
class Made(PlainData):
    """A LUT that was made: its job, the LUT, its file, and its distance from the exact transform.

    `accuracy` and `recommended` (the smallest usual size within the limit, None where no usual
    size is) are None for false colour, whose steps fall between nodes. `cut_off` is the finding
    that a gamut conversion clips most saturated colours. `greys_off` is given with a shaper: the
    largest error of greys from ten stops under mid grey to six over it, in 10-bit codes.
    """

    KEYS = (
        *("name=job.name", "title=job.title", "kind=job.kind", "size=lut.size", "file=path"),
        *("legend", "accuracy", "recommended_size=recommended", "clipped_colours=cut_off"),
        "greys_off_10bit=greys_off",
    )

    job: LutJob
    lut: Lut
    path: Path | None = None
    legend: Path | None = None
    """The picture that explains the false colours."""
    accuracy: Accuracy | None = None
    recommended: int | None = None
    """The smallest of 17, 33 and 65 nodes whose error is not visible; null where none is."""
    cut_off: Finding | None = None
    greys_off: float | None = None
    """With a shaper: the largest error of greys from ten stops under mid grey to six over it."""


def build(
    source_curve: str,
    target_curve: str = "",
    *,
    catalogue: Catalogue | None = None,
    **settings: Unpack[Choices],
) -> Lut:
    """A LUT from names: curves and gamuts of the catalogue.

    As `lutbench.build`, without words.

    >>> build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=17)
    Lut3D(size=17, title='ACEScct to BT.1886, ACES AP1 to BT.709')
    """
    whole = Settings(source_curve=source_curve, target_curve=target_curve, **settings)
    return make(quick_job(whole, catalogue))


def quick_job(settings: Settings, catalogue: Catalogue | None = None, name: str = "lut") -> LutJob:
    """The job that `build` carries out, from the same settings."""
    known = catalogue or open_catalogue()
    given = with_defaults(settings)
    kind: Kind = one_of("kind", given["kind"], KINDS)  # type: ignore[assignment]
    given["kind"] = kind
    if given["dimensions"] not in (1, 3):
        raise DefinitionError(f"a LUT of {given['dimensions']!r} dimensions", accepted="1, 3")
    _check_ends(given)
    left_out = {"target_curve": given["source_curve"], "tone": "clip"} if kind == "gamut" else {}
    task = conversion_task(table_of_settings(given | left_out), kind, known)
    title = given["title"] or task.title
    display = None
    if given["measured_display"]:
        from lutbench.recipes.measured import measured_display

        display = measured_display(Path(given["measured_display"]), task.result)
    return LutJob(
        name, title, task, size=given["size"], dimensions=given["dimensions"], display=display
    )


def _check_ends(given: dict[str, Any]) -> None:
    """Refuse settings without a name that their kind of LUT needs."""
    kind = given["kind"]
    not_needed = {"gamut": ("target_curve",), "curve": ("source_gamut", "target_gamut")}
    for name in ENDS:
        if not given[name] and name not in not_needed.get(kind, ()):
            raise DefinitionError(
                f"a {kind} LUT needs a {name.replace('_', ' ')}",
                accepted="a name from `lutbench list`",
            )


def make(job: LutJob, digest: str = "") -> Lut:
    """The LUT of a job, with its settings and the recipe's digest in its comments."""
    comments = comments_for(job, digest or "none (built from options)")
    transform = job.transform()
    if job.dimensions == 1:
        return sample_1d(transform, job.size, title=job.title, comments=comments)
    if job.shaper is not None:
        shaped = _behind_shaper(job, job.shaper, transform)
        return replace(shaped, title=job.title, comments=comments)
    return sample(
        transform,
        job.size,
        title=job.title,
        comments=comments,
        interpolation=job.interpolation,
    )


def _behind_shaper(job: LutJob, shaper: Shaper, transform: Transform) -> ShaperLut3D:
    """The transform of a job, sampled after a shaper of a curve or one that suits it."""
    from lutbench.tables.shaping import Span, shaper_for, shaper_of

    span = Span(shaper.low, shaper.high, shaper.rows)
    if shaper.curve is not None:
        rows = shaper_of(shaper.curve, span)
    else:
        rows = shaper_for(transform, _to_light(job.task), span, job.size)
    return sample_behind(transform, rows, job.size, interpolation=job.interpolation)


def _to_light(task: Conversion | FalseColour) -> Transform:
    """The transform from a LUT's input values to the light that they stand for."""
    end = task.source if isinstance(task, Conversion) else task
    decode = Decode(end.curve)
    return decode if end.range == "full" else SignalFromRange("legal", end.bits) | decode


def measured(job: LutJob, lut: Lut, path: Path | None = None, legend: Path | None = None) -> Made:
    """The LUT with its accuracy against the exact transform, and the size to recommend."""
    if not isinstance(job.task, Conversion):
        return Made(job, lut, path, legend)
    source, result = job.task.source, job.task.result
    transform = job.transform()
    found = accuracy(lut, transform, source, result, interpolation=job.interpolation, view=job.view)
    cut = _cut_off(lut) if job.kind == "gamut" else None
    greys_off = None
    if job.shaper is not None:
        from lutbench.tables.shaping import greys_off as measure_greys

        greys_off = measure_greys(lut, transform, _to_light(job.task))
    return Made(job, lut, path, legend, found, _recommended(job, found), cut, greys_off)


def _cut_off(lut: Lut) -> Finding | None:
    """The finding that a gamut conversion clips most saturated colours, if it does."""
    from lutbench.inspection.finding import Examined
    from lutbench.inspection.findings.colours import ClippedColours
    from lutbench.inspection.subject import Subject

    return next(iter(ClippedColours().examine(Examined(Subject(lut)))), None)


def _recommended(job: LutJob, found: Accuracy) -> int | None:
    """The smallest usual size within the limit on chart patches and neutrals, or None.

    Random colours do not count: where a conversion clips, any 3D LUT has an error between
    two nodes, at saturations that pictures do not reach.
    """
    if job.dimensions != 3 or not isinstance(job.task, Conversion):
        return None
    transform = job.transform()
    for size in USUAL_SIZES:
        if size != job.size:
            lut = make(replace(job, size=size))
            ends = (job.task.source, job.task.result)
            found_here = accuracy(
                lut, transform, *ends, interpolation=job.interpolation, view=job.view
            )
        else:
            found_here = found
        if all(
            found_here.sets[name][found_here.measure].p99 <= DELTA_E_LIMIT
            for name in ("chart", "neutral")
        ):
            return size
    return None


def build_recipe(
    recipe: Recipe,
    folder: str | Path,
    *,
    force: bool = False,
    progress: Callable[[LutJob], None] = lambda job: None,
) -> list[Made]:
    """Make every LUT of a recipe and write it under `folder`.

    Nothing is written when a file of the set exists and `force` is not set.

    Raises
    ------
    LutbenchError
        When a name is outside the folder, a file exists, or cannot be written.
    """
    where = str(recipe.path or "recipe")
    targets = [inside(folder, f"{job.name}.cube", where) for job in recipe.jobs]
    existing = [path for path in targets if path.exists()]
    if existing and not force:
        raise DefinitionError(
            "the file exists and was not changed",
            where=existing[0],
            accepted="force=True to replace it",
        )
    made = []
    for job, path in zip(recipe.jobs, targets, strict=True):
        progress(job)
        lut = make(job, recipe.digest)
        make_folder(path.parent)
        write_cube(lut, path, decimals=job.decimals, force=force)
        legend = None
        if not isinstance(job.task, Conversion):
            from lutbench.media.legend import write_legend

            legend = path.with_name(f"{path.stem}_legend.png")
            write_legend(job.task, legend, job.title, force=force)
        made.append(measured(job, lut, path, legend))
    return made


CAUTION = "For viewing on set: judge delivery by its own specification, not by this LUT."


def comments_for(job: LutJob, digest: str) -> tuple[str, ...]:
    """The comment lines of a LUT without the leading ``#``; they hold no time and no host."""
    lines = [f"recipe sha256: {digest}", f"kind: {job.kind}"]
    task = job.task
    lines += _conversion(task) if isinstance(task, Conversion) else _false_colour(task)
    if job.display is not None:
        lines.append(f"measured display: {job.display.words}")
    return (*lines, CAUTION)


def _conversion(task: Conversion) -> list[str]:
    lines = [
        f"source: {_encoding(task.source, gamut=task.kind != 'curve')}",
        f"target: {_encoding(task.result, gamut=task.kind != 'curve')}",
        f"exposure: {task.exposure:+g} stops",
    ]
    if task.white_balance is not None:
        lines.append(f"white balance: {_matrix(task.white_balance)}")
    if task.kind != "curve":
        gamut = "compressed" if task.compression else "clipped"
        if task.mapping is not None:
            gamut = f"mapped with hue kept, knee {task.mapping.knee:g}"
        lines.append(f"gamut: {gamut}, adaptation {task.adaptation}")
    if task.kind != "gamut":
        lines.append(f"tone: {task.tone.words if task.tone else 'clip'}")
    lines += [f"grade ({task.grade_place}): {step!r}" for step in task.grade]
    return lines


def _encoding(encoding: Encoding, *, gamut: bool) -> str:
    legal = f" for {encoding.bits} bit" if encoding.range == "legal" else ""
    parts = [
        f"curve {encoding.curve.name}",
        *([f"gamut {encoding.gamut.name}"] if gamut else []),
        f"{encoding.range} range{legal}",
    ]
    if encoding.display is not None:
        parts.append(f"on a display of {encoding.display}")
    return ", ".join(parts)


def _matrix(matrix: Matrix) -> str:
    return " / ".join(" ".join(f"{value:.6f}" for value in row) for row in matrix.rows)


def _false_colour(task: FalseColour) -> list[str]:
    lines = [
        f"source: curve {task.curve.name}, gamut {task.gamut.name}, {task.range} range",
        f"exposure: {task.exposure:+g} stops",
    ]
    lines += [
        f"band: {band.low:+g} to {band.high:+g} stops {band.colour} {band.label}".rstrip()
        for band in task.bands
    ]
    return lines
