"""The arguments of `lutbench levels`: a curve, a LUT, the LUTs of a recipe or a folder."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lutbench.cli.options import say
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.exposure.levels import Levels
    from lutbench.exposure.sets import SetMember
    from lutbench.model.catalogue import Catalogue
    from lutbench.model.curves.base import Curve
    from lutbench.model.signal import Range
    from lutbench.model.transforms import Transform
    from lutbench.recipes.measured import MeasuredDisplay
    from lutbench.recipes.project import Project
    from lutbench.recipes.schema import LutJob


BY_COMMENTS = "as the comments of"
"""How a curve is known that the comments of a file name."""


@dataclass(frozen=True)
class LevelsSubject:
    """A curve, or a LUT with the curve of its recording.

    `curve` is None where the recording is not known, `lut` where there is none or it has no
    levels; `note` then says why. `how` says how the curve is known; it is empty where the user
    named it. Target curve and gamut are those of the LUT's output, where they are known. A LUT
    that is `calibrated` gives the code values of a measured display, which is `measured`. One that
    is `unusable` could not be read.
    """

    name: str
    curve: Curve | None
    lut: Transform | None = None
    source_range: Range | None = None
    target_range: Range | None = None
    exposure: float | None = None
    how: str = ""
    note: str = ""
    target_curve: str | None = None
    target_gamut: str | None = None
    measured: MeasuredDisplay | None = None
    calibrated: bool = False
    unusable: bool = False


def asked(
    names: Sequence[str], curve: str | None, catalogue: Catalogue, project: Project | None = None
) -> tuple[list[LevelsSubject], bool]:
    """The subjects that the arguments name, and whether they are a set.

    Raises LutbenchError when the only file cannot be read, or its recording is not known.
    """
    named = None if curve is None else catalogue.curve(curve, where="--curve", exact=False)
    if not names:
        alone = (
            LevelsSubject("", named)
            if named
            else _by_project(LevelsSubject("", None), project, catalogue)
        )
        if alone.curve is None:
            raise LutbenchError(
                "no curve is named", accepted="--curve NAME, or a LUT or a recipe that names it"
            )
        return [alone], False
    from lutbench.formats.registry import lut_files

    found: list[LevelsSubject] = []
    several = len(names) > 1
    for name in names:
        file, hash_sign, job = name.partition("#")
        if file.lower().endswith(".toml"):
            found += _of_recipe(file, job, catalogue)
            several = several or not hash_sign
            continue
        files, many = lut_files([name], luts_only=True)
        several = several or many
        read = _of_file_in_set if several else _of_file
        found += [read(each.path, each.name, named, catalogue) for each in files]
    found = [_by_project(each, project, catalogue) for each in found]
    if not several and found[0].curve is None:
        found = [_identified(found[0], names[0], catalogue)]
    return found, several


def _by_project(
    subject: LevelsSubject, project: Project | None, catalogue: Catalogue
) -> LevelsSubject:
    """The subject with the project's source encoding, where its own is not known."""
    known = subject.unusable or subject.curve is not None
    if project is None or not project.source.curve or known:
        return subject
    from lutbench.cli.options import shown_path

    where = shown_path(project)
    curve = catalogue.curve(project.source.curve, where=where, exact=False)
    given = project.source.range if subject.lut is not None else None
    return replace(
        subject,
        curve=curve,
        source_range=given,
        how=f"as {where} says",
        note="" if subject.lut else subject.note,
    )


def _of_recipe(file: str, name: str, catalogue: Catalogue) -> list[LevelsSubject]:
    from lutbench.recipes.schema import read_recipe
    from lutbench.recipes.subjects import recipe_job

    recipe = read_recipe(file, catalogue)
    jobs = [recipe_job(recipe, name, file)] if name else list(recipe.jobs)
    return [_of_job(job, recipe.digest, file) for job in jobs]


def _of_job(job: LutJob, digest: str, file: str) -> LevelsSubject:
    from lutbench.model.false_colour import FalseColour
    from lutbench.recipes.make import make

    how, task = f"as {file} says", job.task
    if isinstance(task, FalseColour):
        return LevelsSubject(
            job.name, task.curve, how=how, note="false colour: its legend names the bands"
        )
    measured = job.display
    comes_out = task.result.range if measured is None else measured.readings.range
    return LevelsSubject(
        job.name, task.source.curve, make(job, digest),
        task.source.range, comes_out, task.exposure, how, "",
        task.result.curve.name, task.result.gamut.name, measured, measured is not None,
    )  # fmt: skip


def _of_file_in_set(
    path: str, name: str, named: Curve | None, catalogue: Catalogue
) -> LevelsSubject:
    """The same as `_of_file`, but a file that cannot be used does not keep the others back."""
    try:
        return _of_file(path, name, named, catalogue)
    except LutbenchError as error:
        return LevelsSubject(name, None, note=str(error).removeprefix(f"{path}: "), unusable=True)


def _of_file(path: str, name: str, named: Curve | None, catalogue: Catalogue) -> LevelsSubject:
    from lutbench.formats.comments import (
        display_in_comments,
        ends_in_comments,
        exposure_in_comments,
    )
    from lutbench.formats.registry import read_lut_file
    from lutbench.tables.nodes import refuse_code_values

    read = read_lut_file(path)
    lut, comments = read.lut, read.comments
    refuse_code_values(lut, path)
    exposure = exposure_in_comments(comments)
    if "kind: false_colour" in (line.strip() for line in comments):
        return LevelsSubject(name, named, note="false colour: its legend names the bands")
    commented = ends_in_comments(comments)
    target = commented.get("target")
    ends = (target.curve, target.gamut) if target else (None, None)
    out = (*ends, None, display_in_comments(comments) is not None)
    source = commented.get("source")
    # In a calibrated LUT the target's range is not that of the display's code values.
    ranges = (source.range if source else None, target.range if target and not out[-1] else None)
    if named is not None:
        return LevelsSubject(name, named, lut, *ranges, exposure, "", "", *out)
    if source is None:
        return LevelsSubject(
            name,
            None,
            lut,
            note="the file does not say which curve it expects: name it with --curve",
        )
    curve = _commented_curve(source.curve, path, catalogue)
    return LevelsSubject(name, curve, lut, *ranges, exposure, f"{BY_COMMENTS} {path} say", "", *out)


def _commented_curve(name: str, path: str, catalogue: Catalogue) -> Curve:
    """The curve that the comments of a file name.

    Raises LutbenchError when it is neither a known one nor in the user's definitions.
    """
    from lutbench.errors import UnknownNameError

    try:
        return catalogue.curve(name, exact=False)
    except UnknownNameError as unknown:
        raise LutbenchError(
            f"its comments name the curve {name!r}, which is not known here",
            where=path,
            accepted="the file that defines it with --definitions, or another name with --curve",
        ) from unknown


def _identified(subject: LevelsSubject, path: str, catalogue: Catalogue) -> LevelsSubject:
    """The LUT with its recording identified from its numbers, which `how` calls a guess."""
    from lutbench.inspection.ends import identified
    from lutbench.inspection.inspection import inspect

    if subject.lut is not None:
        found, _ = identified(inspect(path, catalogue=catalogue), catalogue)
        if found.source_curve is not None:
            how = "a guess from the numbers of the LUT: name it with --curve to be sure"
            ranges = (found.source_range, found.target_range)
            return LevelsSubject(subject.name, found.source_curve, subject.lut, *ranges, None, how)
    raise LutbenchError(
        "neither the comments nor the numbers of the LUT show which curve it expects",
        where=path,
        accepted="--curve NAME",
    )


def say_how(subjects: Sequence[LevelsSubject]) -> None:
    """Print how the curves are known, each way once."""
    stated = [each for each in subjects if each.curve and each.how]
    ways: dict[str, None] = {}
    by_comments = sum(each.how.startswith(BY_COMMENTS) for each in stated) > 1
    for each in stated:
        assert each.curve is not None
        several = by_comments and each.how.startswith(BY_COMMENTS)
        how = "as the comments of the LUTs say" if several else each.how
        ways[f"curve {each.curve.name}, {how}"] = None
    for way in ways:
        say(way)


def members(
    subjects: Sequence[LevelsSubject], read: Callable[[LevelsSubject], Levels]
) -> tuple[SetMember, ...]:
    """The subjects with their levels as the members of a set."""
    from lutbench.exposure.sets import SetMember

    return tuple(
        SetMember(
            each.name,
            None if each.curve is None or each.lut is None else read(each),
            each.exposure,
            each.note,
        )
        for each in subjects
    )


def only_one(subjects: Sequence[LevelsSubject], option: str) -> None:
    """Refuse, for a set, the option that shows a single LUT."""
    raise LutbenchError(
        f"a card shows one LUT, but {len(subjects)} were given",
        where=option,
        accepted="one LUT, or RECIPE.toml#NAME",
    )
