"""The kind `baseline`: a LUT, recipe or pipeline compared with its recorded output."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, ClassVar

import numpy as np

from lutbench import files
from lutbench.checks import baselines
from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.judging import judge, judge_sides, verdict, view_for
from lutbench.checks.limits import NAMES, CheckFigure, checked_limits
from lutbench.checks.settings import End
from lutbench.errors import DefinitionError, LutbenchError
from lutbench.measure.comparison import ASSUMED_SOURCE
from lutbench.measure.delta_e import View
from lutbench.measure.samples import nodes_of
from lutbench.model.transforms import Array, Transform
from lutbench.recipes import keys
from lutbench.recipes.subjects import NamedTransform
from lutbench.tables.lut import Lut
from lutbench.tables.nodes import domain_of

PARTS = "part_mean_code_10bit"
DEFAULT_LIMITS = {"code_10bit": 0.1, PARTS: 0.0005}
"""In 10-bit codes. The mean of a plane of 33² nodes moves by 0.0005 when one node moves by 0.54."""


@dataclass(frozen=True, kw_only=True)
class BaselineCheck(Check):
    """A LUT against its recorded output."""

    kind: ClassVar[str] = "baseline"
    lut: str
    """A file, RECIPE.toml#NAME, or a pipeline in words."""
    baseline: str
    """A .csv or .cube that `verify --record` writes."""
    limits: Annotated[dict[str, Any] | None, keys.limits(lambda: (*NAMES, PARTS))] = None
    source: End = None
    target: End = None

    def __post_init__(self) -> None:
        self.respell("limits", "limit", (*NAMES, PARTS))

    @property
    def recording(self) -> str:
        return self.baseline

    def run(self, context: Context) -> CheckResult:
        given = DEFAULT_LIMITS if self.limits is None else self.limits
        limits = checked_limits(given, self.at("limits"))
        side = context.subject(self.lut)
        path = context.path(self.baseline)
        not_itself(side.path, path, self.where, "the LUT is its own baseline")
        whole = path.suffix.lower() == ".cube"
        if context.record:
            return self._recorded(context, side, path, whole)
        if not path.exists():
            raise LutbenchError(
                "there is no baseline",
                where=path,
                accepted="one made with `lutbench verify --record`",
            )
        return (
            self._against_lut(context, side, limits)
            if whole
            else self._against_table(context, side, limits)
        )

    def _recorded(
        self, context: Context, side: NamedTransform, path: Path, whole: bool
    ) -> CheckResult:
        if whole:
            lut = side.transform
            if not isinstance(lut, Lut):
                raise LutbenchError(
                    "a pipeline cannot be recorded as a LUT",
                    where=self.where,
                    accepted="a baseline that ends in .csv, or a size for the pipeline",
                )
            data = baselines.format_lut(self.lut, lut)
        else:
            source = self.source or side.source or ASSUMED_SOURCE
            table = baselines.record_table(self.lut, side.transform, source)
            data = baselines.format_table(table).encode("utf-8")
        return record(context, context.place(self.baseline, self.where), data)

    def _against_lut(
        self, context: Context, side: NamedTransform, limits: dict[str, float]
    ) -> CheckResult:
        limits = {name: limit for name, limit in limits.items() if name != PARTS}
        checked_limits(limits, self.at("limits"))
        stored = baselines.read_baseline_lut(context.path(self.baseline))
        found = side.transform
        if baselines.shape_of(found) != baselines.shape_of(stored):
            return _shapes_differ(baselines.shape_of(found), baselines.shape_of(stored))
        if not np.allclose(domain_of(found), domain_of(stored), rtol=1e-6, atol=1e-9):
            return CheckResult(False, "the domain is not that of the baseline")
        tests = [each for each in (nodes_of(stored),) if each is not None]
        show = ("lutbench", "compare", context.shown(self.lut), context.shown(self.baseline))
        view = view_for(self.target or side.target)
        return judge_sides(tests, found, stored, view, limits, show)

    def _against_table(
        self, context: Context, side: NamedTransform, limits: dict[str, float]
    ) -> CheckResult:
        stored = baselines.read_table(context.path(self.baseline))
        show = (*context.itself, "-k", self.name)
        view = view_for(self.target or side.target)
        return compare_with_table(side.transform, stored, limits, view, show)


def compare_with_table(
    side: Transform,
    stored: baselines.RecordedTable,
    limits: Mapping[str, float],
    view: View,
    show: tuple[str, ...] = (),
) -> CheckResult:
    """Compare the current output of `side` with a recorded table.

    Raises LutbenchError when the limits compare nothing here, or the output is NaN.
    """
    shape = baselines.shape_of(side)
    if shape != stored.shape:
        return _shapes_differ(shape, stored.shape)
    figures: list[CheckFigure] = []
    where = ""
    outer = {name: limit for name, limit in limits.items() if name != PARTS}
    if outer:
        samples = stored.samples
        found = side.apply(samples.signals)
        judged = judge([samples], [found], [stored.outputs], view, outer, show)
        figures += judged.figures
        where = judged.where
    if PARTS in limits and stored.means:
        moved = {
            part: np.abs(means - stored.means[part])
            for part, means in baselines.part_means(side).items()
        }
        most = max(float(each.max()) for each in moved.values())
        label = "mean of a part of the table has moved by"
        figures.append(CheckFigure(PARTS, most, limits[PARTS], label, "10-bit codes"))
        if most > limits[PARTS]:
            where = where or _parts_in_words(moved)
    if not figures:
        raise LutbenchError("the limits given compare nothing here", accepted="code_10bit")
    return verdict(figures, where, show)


def not_itself(given: Path | None, stored: Path, where: str, what: str) -> None:
    """Refuse a recording that is the same file as the one that is checked."""
    if given is not None and stored.exists() and stored.samefile(given):
        raise DefinitionError(
            f"{what}, so nothing is checked", where=where, accepted="another file"
        )


def _shapes_differ(found: str, stored: str) -> CheckResult:
    return CheckResult(False, f"the LUT is {found}, the baseline is of {stored} (kind and size)")


def _parts_in_words(moved: dict[str, Array]) -> str:
    """The parts that moved most; in a 3D LUT three planes, which cross at a node that moved."""
    most = [f"{part} {int(np.argmax(means.max(axis=1)))}" for part, means in moved.items()]
    return f"moved most: {', '.join(most)}"


def record(context: Context, path: Path, data: bytes) -> CheckResult:
    """Write a recording, unless the file holds it already."""
    if path.is_file() and path.read_bytes() == data:
        return CheckResult(True, "the recording is unchanged", recorded=str(path))
    if path.exists() and not context.force:
        raise LutbenchError(
            "there is another recording already",
            where=path,
            accepted="`lutbench verify --record --force` to replace it",
        )
    files.make_folder(path.parent)
    files.write_bytes(path, data, force=context.force)
    return CheckResult(True, f"recorded in {path.name}", recorded=str(path))
