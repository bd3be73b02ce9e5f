"""A LUT file, a recipe's LUT or a pipeline, from one line of text.

- ``day.cube``: a LUT file of any format that is read.
- ``day.toml#monitor``: the LUT ``monitor`` that the recipe ``day.toml`` makes; the name may be
  left out where the recipe makes only one. ``day.toml#monitor; exact`` is the transform that
  is sampled for this LUT.
- ``ACEScct, ACEScg to BT.1886, BT.709``: the conversion between two encodings, exact. The
  options of ``lutbench build`` may follow: ``...; exposure=1; tone=shoulder``; with ``size=33``
  it is a LUT.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from lutbench.errors import DefinitionError, LutbenchError, unknown_name
from lutbench.formats.registry import open_lut
from lutbench.model.transforms import Transform
from lutbench.recipes.settings import ENDS, SETTINGS, Settings, setting_named

if TYPE_CHECKING:
    from lutbench.formats.comments import EndInComments
    from lutbench.model.catalogue import Catalogue
    from lutbench.model.conversion import Conversion
    from lutbench.model.encoding import Encoding
    from lutbench.model.signal import Range
    from lutbench.recipes.schema import LutJob, Recipe

ACCEPTED = 'a LUT file, RECIPE.toml#NAME, or "CURVE, GAMUT to CURVE, GAMUT"'

_OPTIONS = tuple(each for each in SETTINGS if each.name not in (*ENDS, "title", "measured_display"))
"""The settings that may follow a pipeline in words; it names its ends itself, and reads no file."""


@dataclass(frozen=True, eq=False)
class NamedTransform:
    """A transform, and what is known about it.

    `source` and `target` are its encodings, where a recipe, a pipeline or the comments of a LUT
    state them; `task` is the conversion of a recipe or a pipeline.
    """

    name: str
    transform: Transform
    source: Encoding | None = None
    target: Encoding | None = None
    path: Path | None = None
    task: Conversion | None = None

    @property
    def ranges(self) -> tuple[Range | None, Range | None]:
        """The signal ranges of its input and output, where they are stated."""
        return (
            None if self.source is None else self.source.range,
            None if self.target is None else self.target.range,
        )


def open_subject(
    text: str,
    catalogue: Catalogue,
    folder: str | Path = ".",
    placed: Callable[[str], Path] | None = None,
) -> NamedTransform:
    """The subject that `text` names; paths are relative to `folder`.

    Every file that is opened has the path that `placed` makes of its name, where it is given:
    it refuses those that are not to be read.

    Raises LutbenchError when a file cannot be read, a name is not known, or the text has none of
    the forms.
    """
    at = placed or Path(folder).joinpath
    path = Path(folder, text)
    if text == "-" and str(folder) == ".":  # on a command line only; a suite has no input
        return lut_subject(text, open_lut(text), catalogue)
    if _is_file(path):
        if path.suffix.lower() == ".toml":
            return _of_recipe(text, at(text), "", [], catalogue)
        return lut_subject(text, open_lut(at(text)), catalogue, path)
    head, *options = (part.strip() for part in text.split(";"))
    file, _, name = head.partition("#")
    if file.lower().endswith(".toml"):
        return _of_recipe(text, at(file), name, options, catalogue)
    if re.search(r"\sto\s", head):
        return _quick(text, catalogue)
    if options:
        raise DefinitionError(
            "is neither a LUT nor a pipeline", where=repr(text), accepted=ACCEPTED
        )
    return lut_subject(text, open_lut(at(text)), catalogue, path)


def lut_subject(
    name: str, lut: Transform, catalogue: Catalogue, path: Path | None = None
) -> NamedTransform:
    """A LUT, with the encodings that its comments name and the catalogue knows.

    A LUT that is calibrated for a measured display gives that display's codes, not its target's.
    """
    from lutbench.formats.comments import display_in_comments, ends_in_comments

    comments = getattr(lut, "comments", ())
    named = ends_in_comments(comments)
    if display_in_comments(comments) is not None:
        named.pop("target", None)
    source, target = (_encoding(named.get(side), catalogue) for side in ("source", "target"))
    return NamedTransform(name, lut, source, target, path)


def _encoding(end: EndInComments | None, catalogue: Catalogue) -> Encoding | None:
    """The encoding that comments name; None where its gamut or a known curve is missing."""
    if end is None or end.gamut is None:
        return None
    from lutbench.model.encoding import Encoding

    try:
        curve = catalogue.curve(end.curve, exact=False)
        return Encoding(curve, catalogue.gamut(end.gamut), end.range)
    except LutbenchError:
        return None


def same_subject(first: NamedTransform, second: NamedTransform) -> bool:
    """Whether two subjects are the same, so that comparing them proves nothing.

    They are the same when both come from one file, under any name, and are equal; when both
    are the same pipeline; or when they are one object. A copy of a file counts as another subject.
    """
    if first.transform is second.transform:
        return True
    if first.path is None or second.path is None:
        pipelines = first.path is None and second.path is None and first.task is not None
        return pipelines and first.transform == second.transform
    return os.path.samefile(first.path, second.path) and first.transform == second.transform


def refuse_same(first: NamedTransform, second: NamedTransform, where: str) -> None:
    """Refuse to check a subject against itself, with a DefinitionError."""
    if same_subject(first, second):
        raise DefinitionError(
            "the LUT is compared with itself, so nothing is checked",
            where=where,
            accepted="another LUT, a recipe's transform, a pipeline",
        )


def recipe_job(recipe: Recipe, name: str, where: str) -> LutJob:
    """The job of that name; the only one when no name is given."""
    names = [job.name for job in recipe.jobs]
    if not name and len(names) == 1:
        return recipe.jobs[0]
    if not name:
        listed = ", ".join(f"#{each}" for each in names[:6]) + (" …" if len(names) > 6 else "")
        raise DefinitionError(
            f"the recipe makes {len(names)} LUTs: name one", where=where, accepted=listed
        )
    for job in recipe.jobs:
        if job.name.casefold() == name.casefold():
            return job
    raise unknown_name("LUT", name, names, where)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def _of_recipe(
    text: str, path: Path, name: str, options: list[str], catalogue: Catalogue
) -> NamedTransform:
    from lutbench.recipes.make import make
    from lutbench.recipes.schema import read_recipe

    if options not in ([], ["exact"]):
        raise DefinitionError(
            f"{'; '.join(options)!r} does not apply to a recipe's LUT",
            where=text,
            accepted="exact",
        )
    recipe = read_recipe(path, catalogue)
    job = recipe_job(recipe, name, str(path))
    transform = job.transform() if options else make(job, recipe.digest)
    return _subject(text, transform, job, path)


def _subject(
    text: str, transform: Transform, job: LutJob, path: Path | None = None
) -> NamedTransform:
    from lutbench.model.conversion import Conversion

    if isinstance(job.task, Conversion):
        return NamedTransform(text, transform, job.task.source, job.task.result, path, job.task)
    return NamedTransform(text, transform, path=path)


def quick_settings(text: str) -> Settings:
    """The settings of a pipeline in words.

    >>> quick_settings("ACEScct, ACEScg to BT.1886, BT.709; exposure=1")["exposure"]
    1.0
    """
    head, *options = (part.strip() for part in text.split(";"))
    ends = re.split(r"\s+to\s+", head)
    sides = [[part.strip() for part in end.split(",")] for end in ends]
    if len(ends) != 2 or not all(1 <= len(side) <= 2 and all(side) for side in sides):
        raise DefinitionError("is not a pipeline", where=repr(text), accepted=ACCEPTED)
    (source_curve, *source_gamut), (target_curve, *target_gamut) = sides
    settings = Settings(
        source_curve=source_curve,
        target_curve=target_curve,
        source_gamut="".join(source_gamut),
        target_gamut="".join(target_gamut),
    )
    for option in options:
        name, _, value = (part.strip() for part in option.partition("="))
        setting = setting_named(name, repr(text), _OPTIONS)
        settings[setting.name] = setting.value(value, repr(text))  # type: ignore[literal-required]
    return settings


def _quick(text: str, catalogue: Catalogue) -> NamedTransform:
    from lutbench.recipes.make import make, quick_job

    settings = quick_settings(text)
    job = quick_job(settings, catalogue)
    sampled = "size" in settings or "dimensions" in settings
    return _subject(text, make(job) if sampled else job.transform(), job)
