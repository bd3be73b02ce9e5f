"""What post takes over from a set: each LUT's transform as a CLF, and its look as a CDL.

The CLF holds the exact transform where the format has operators for it. A look that is one CDL
before or after the conversion comes out by itself, with a CLF of the conversion without it, so
that a colourist can go on from the CDL; both in a row are the whole again.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from lutbench.files import make_folder, read_bytes, refuse_existing, write_bytes
from lutbench.formats.cdl import Correction, write_cdl
from lutbench.formats.clf_write import format_clf
from lutbench.formats.open import open_lut
from lutbench.formats.registry import MAX_BYTES
from lutbench.measure.difference import Spread, measure
from lutbench.measure.view import view_of
from lutbench.model.conversion import Conversion
from lutbench.model.grade import Cdl, Saturation
from lutbench.model.transforms import Array, Pipeline, Transform
from lutbench.recipes.make import Made

SIZE = 65
"""Nodes of a 3D LUT in a CLF where one has to be sampled: the largest that is in general use."""

FOLDER = "post"


@dataclass(frozen=True)
class PostFile:
    """A file for post with its SHA-256."""

    path: Path
    sha256: str

    @classmethod
    def of(cls, path: Path) -> PostFile:
        """The file as it lies there."""
        return cls(path, hashlib.sha256(read_bytes(path, limit=MAX_BYTES)).hexdigest())


@dataclass(frozen=True, eq=False)
class PostLut:
    """A LUT of the set, what post has instead, and how the CDL and the conversion chain.

    `look` is the CDL with the CLF of the conversion without it, in the order in which they are
    put through; None where the look cannot be taken out. `notes` say what is not exact.
    """

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
        """CDL and conversion in a row, where there are both."""
        if self.look is None:
            return None
        return Pipeline(tuple(open_lut(each.path) for each in self.look))

    def files(self) -> list[PostFile]:
        """All files, each once."""
        return [self.cube, self.clf, *(self.look or ())]


@dataclass(frozen=True)
class Apart:
    """How far two transforms are apart on a picture's pixels."""

    measure: str
    delta_e: Spread
    code_10bit: Spread


def write_post(made: Sequence[Made], folder: Path, *, force: bool = False) -> list[PostLut]:
    """Write the files for post of a set that was made; false colour is left out.

    Raises
    ------
    LutbenchError
        When a file exists and `force` is not set, or cannot be written.
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
        size=SIZE,
        domain=made.lut.domain,
    )
    write_bytes(path, data, force=force)
    return notes


def _single_cdl(task: Conversion) -> Cdl | None:
    """The look as one CDL that stands outside of the conversion; None where it is none."""
    steps = task.grade
    if task.grade_place == "light" or len(steps) != 1:
        return None
    step = steps[0]
    if isinstance(step, Saturation):
        return Cdl(saturation=step.amount, clamp=False) if step == Saturation(step.amount) else None
    return step if isinstance(step, Cdl) else None


def _without_look(task: Conversion) -> Conversion:
    # What a look after the conversion gets is not held to the codes in between.
    return replace(task, grade=(), clamp=task.clamp if task.grade_place == "before" else False)


def apart(first: Transform, second: Transform, values: Array, task: Conversion) -> Apart:
    """How far two transforms are apart on input values, shape (n, 3), seen as the target is."""
    view = view_of(task.result)
    a, b = (np.asarray(each.apply(values), dtype=np.float64) for each in (first, second))
    found = measure(a, b, view).spreads()
    return Apart(view.measure, found[view.measure], found["code_10bit"])


def to_data(luts: Sequence[PostLut]) -> list[dict[str, Any]]:
    """The files for post as plain data."""
    return [
        {
            "name": each.made.job.name,
            "files": [{"file": str(f.path), "sha256": f.sha256} for f in each.files()],
            "look": None if each.look is None else [str(f.path) for f in each.look],
            "notes": list(each.notes),
        }
        for each in luts
    ]
