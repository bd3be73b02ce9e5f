"""Files for post-production: each LUT's transform as a CLF, and its look as a CDL.

The CLF holds the exact transform where the format has operators for it. A look that is a single
CDL before or after the conversion is written separately, with a CLF of the conversion without
it, so that a colourist can continue from the CDL; both in sequence give the whole transform.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from lutbench.files import make_folder, read_bytes, refuse_existing, write_bytes
from lutbench.formats.cdl import Correction, write_cdl
from lutbench.formats.clf_write import format_clf
from lutbench.formats.registry import MAX_BYTES, open_lut
from lutbench.measure.delta_e import view_of
from lutbench.measure.difference import Spread, measure
from lutbench.model.conversion import Conversion
from lutbench.model.grade import Cdl, Saturation
from lutbench.model.transforms import Array, Pipeline, Transform
from lutbench.recipes.make import Made
from lutbench.results import PlainData

SAMPLED_NODES = 65
"""Nodes along an edge of a sampled 3D LUT in a CLF: the largest size in general use."""

FOLDER = "post"


@dataclass(frozen=True)
class PostFile(PlainData):
    """A file for post with its SHA-256."""

    KEYS = ("file=path", "sha256")

    path: Path
    sha256: str

    @classmethod
    def of(cls, path: Path) -> PostFile:
        """The file at `path` with the digest of its content."""
        return cls(path, hashlib.sha256(read_bytes(path, limit=MAX_BYTES)).hexdigest())


@dataclass(frozen=True, eq=False)
class PostLut(PlainData):
    """A LUT of the set with its files for post.

    `look` is the CDL and the CLF of the conversion without it, in the order in which they are
    applied; None where the look cannot be separated. `notes` say what is not exact.
    """

    KEYS = ("name=made.job.name", "files", "look=look_files", "notes")

    made: Made
    task: Conversion
    cube: PostFile
    clf: PostFile
    look: tuple[PostFile, PostFile] | None
    notes: tuple[str, ...]

    @property
    def set_transform(self) -> Transform:
        """The LUT as the monitor loads it."""
        return open_lut(self.cube.path)

    @property
    def post_transform(self) -> Transform:
        """The CLF as post loads it."""
        return open_lut(self.clf.path)

    @property
    def look_transform(self) -> Transform | None:
        """CDL and conversion in sequence, where the look is separate."""
        if self.look is None:
            return None
        return Pipeline(tuple(open_lut(each.path) for each in self.look))

    @property
    def files(self) -> list[PostFile]:
        return [self.cube, self.clf, *(self.look or ())]

    @property
    def look_files(self) -> list[Path] | None:
        """The CDL and the conversion without it, in the order in which they are applied."""
        return None if self.look is None else [each.path for each in self.look]


@dataclass(frozen=True)
class Apart:
    """The difference between two transforms on the pixels of a picture."""

    measure: str
    delta_e: Spread
    code_10bit: Spread


def write_post(made: Sequence[Made], folder: Path, *, force: bool = False) -> list[PostLut]:
    """Write the files for post of a set of LUTs; false colour is left out.

    Raises LutbenchError when a file exists and `force` is not set, or cannot be written.
    """
    return [
        _written(each, each.job.task, folder, force)
        for each in made
        if isinstance(each.job.task, Conversion) and each.path is not None
    ]


def _written(made: Made, task: Conversion, folder: Path, force: bool) -> PostLut:
    assert made.path is not None
    base = folder / made.job.name
    clf, cdl, plain = (base.with_name(base.name + end) for end in (".clf", ".cdl", "_no_look.clf"))
    look = _single_cdl(task)
    make_folder(base.parent)
    for path in (clf, *((cdl, plain) if look else ())):
        refuse_existing(path, force)
    notes = _write_clf(task.pipeline(), clf, made, force)
    both = None
    if look is not None:
        correction = Correction(look, made.job.name.rsplit("/", 1)[-1])
        notes = (*notes, *write_cdl(correction, cdl, force=force))
        bare = tuple(line for line in made.lut.comments if not line.startswith("grade ("))
        without = replace(
            made,
            job=replace(made.job, title=f"{made.job.title}, no look"),
            lut=replace(made.lut, comments=bare),
        )
        _write_clf(_without_look(task).pipeline(), plain, without, force)
        order = (cdl, plain) if task.grade_place == "before" else (plain, cdl)
        both = (PostFile.of(order[0]), PostFile.of(order[1]))
    return PostLut(made, task, PostFile.of(made.path), PostFile.of(clf), both, notes)


def _write_clf(transform: Transform, path: Path, made: Made, force: bool) -> tuple[str, ...]:
    data, notes = format_clf(
        transform,
        title=made.job.title,
        comments=made.lut.comments,
        size=SAMPLED_NODES,
        domain=made.lut.domain,
    )
    write_bytes(path, data, force=force)
    return notes


def _single_cdl(task: Conversion) -> Cdl | None:
    """The look as a single CDL before or after the conversion, or None."""
    steps = task.grade
    if task.grade_place == "light" or len(steps) != 1:
        return None
    step = steps[0]
    if isinstance(step, Saturation):
        return Cdl(saturation=step.amount, clamp=False) if step == Saturation(step.amount) else None
    return step if isinstance(step, Cdl) else None


def _without_look(task: Conversion) -> Conversion:
    # A look after the conversion gets its values unclipped.
    return replace(task, grade=(), clamp=task.clamp if task.grade_place == "before" else False)


def apart(first: Transform, second: Transform, values: Array, task: Conversion) -> Apart:
    """The difference between two transforms on input values of shape (n, 3), on the target."""
    view = view_of(task.result)
    a, b = (np.asarray(each.apply(values), dtype=np.float64) for each in (first, second))
    found = measure(a, b, view).spreads()
    return Apart(view.measure, found[view.measure], found["code_10bit"])
