"""Assertions about LUTs, for any test framework; the pytest plugin offers them too.

A side of an assertion is a transform (a LUT, a pipeline), or a text that names one:
a LUT file, ``RECIPE.toml#NAME``, or ``"CURVE, GAMUT to CURVE, GAMUT"``.

>>> assert_lut_close("ACEScct to BT.1886; kind=curve", "ACEScct to BT.1886; kind=curve; size=33",
...                  colours=["nodes"], codes=0.01)
"""

from __future__ import annotations

from collections.abc import Sequence
from os import PathLike
from pathlib import Path
from typing import Any

from lutbench.checks import baselines
from lutbench.checks.base import CheckResult
from lutbench.checks.independent import independent_conversion
from lutbench.checks.judging import colours_for_both, judge, judge_sides, view_for
from lutbench.checks.kinds.baseline import PARTS, compare_with_table
from lutbench.checks.kinds.reference import read_values
from lutbench.checks.limits import checked_limits
from lutbench.errors import LutbenchError
from lutbench.files import make_folder, read_bytes, write_text
from lutbench.measure.comparison import ASSUMED_SOURCE
from lutbench.measure.samples import SampledColours
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.conversion import Encoding
from lutbench.model.transforms import Transform
from lutbench.recipes.subjects import NamedTransform, open_subject, refuse_same

Side = Transform | str | PathLike[str]

DEFAULT_CODES = 0.1
"""Limit in 10-bit codes: passes the same LUT after the rounding of a file."""

MAX_CSV_BYTES = 64 * 1024 * 1024
"""Bytes of the largest CSV file of reference values: about a million rows."""


def assert_lut_close(
    a: Side,
    b: Side,
    *,
    delta_e: float | None = None,
    delta_e_itp: float | None = None,
    codes: float | None = None,
    colours: Sequence[str] | None = None,
    source: Encoding | None = None,
    target: Encoding | None = None,
    catalogue: Catalogue | None = None,
) -> None:
    """Assert that two LUTs or pipelines differ by no more than the limits, anywhere.

    Parameters
    ----------
    delta_e, delta_e_itp, codes
        The largest ΔE 2000, ΔE ITP, and difference in 10-bit codes. With none of
        them, 0.1 codes.
    colours
        Some of ``chart``, ``neutral``, ``random``, ``nodes``; all of them unless given.
    source, target
        The encodings of input and output, where `a` and `b` do not state them.

    Raises
    ------
    AssertionError
        With the worst colour, the figure and the limit.
    LutbenchError
        When nothing would be compared: a limit that everything is within, no colours, or a LUT
        with itself.
    """
    __tracebackhide__ = True
    known = catalogue or open_catalogue()
    first, second = _subject(a, known), _subject(b, known)
    refuse_same(first, second, "assert_lut_close")
    limits = _limits(delta_e, delta_e_itp, codes)
    tests = colours_for_both(
        colours, first.transform, second.transform, source or first.source or second.source
    )
    view = view_for(target or first.target or second.target)
    finding = judge_sides(tests, first.transform, second.transform, view, limits)
    _raise(finding, f"{first.name} is not close to {second.name}")


def assert_matches_reference(
    lut: Side,
    reference: Side,
    *,
    by: str = "colour-science",
    delta_e: float | None = None,
    delta_e_itp: float | None = None,
    codes: float | None = None,
    colours: Sequence[str] | None = None,
    catalogue: Catalogue | None = None,
) -> None:
    """Assert that a LUT matches a reference, at its nodes unless `colours` says otherwise.

    Parameters
    ----------
    reference
        A pipeline as ``"CURVE, GAMUT to CURVE, GAMUT"``; another transform or LUT; or a
        ``.csv`` file with the columns r, g, b, r_out, g_out, b_out, as signal 0..1.
    by
        What computes a pipeline that is given as text: ``colour-science`` alone, or
        lutbench's own exact transform (``lutbench``).

    Raises
    ------
    AssertionError, LutbenchError
        As `assert_lut_close`.
    """
    __tracebackhide__ = True
    known = catalogue or open_catalogue()
    side = _subject(lut, known)
    limits = _limits(delta_e, delta_e_itp, codes)
    if by not in ("colour-science", "lutbench"):
        raise LutbenchError(
            f"no reference library is named {by!r}", accepted="colour-science, lutbench"
        )
    if not isinstance(reference, Transform) and str(reference).lower().endswith(".csv"):
        values = read_values(read_bytes(str(reference), limit=MAX_CSV_BYTES), str(reference))
        tests = [SampledColours(str(reference), values[:, 0])]
        expected = [values[:, 1]]
        target = side.target
    else:
        other = _subject(reference, known)
        refuse_same(side, other, "assert_matches_reference")
        exact = other.transform
        if isinstance(reference, str) and other.path is None and by == "colour-science":
            exact = independent_conversion(reference, known)
        tests = colours_for_both(
            colours or (["nodes"] if baselines.shape_of(side.transform) != "none" else None),
            side.transform,
            None,
            side.source or other.source,
        )
        expected = [exact.apply(each.signals) for each in tests]
        target = side.target or other.target
    found = [side.transform.apply(each.signals) for each in tests]
    finding = judge(tests, found, expected, view_for(target), limits)
    _raise(finding, f"{side.name} does not match {_name(reference)}")


def assert_baseline(
    lut: Side,
    path: str | PathLike[str],
    *,
    record: bool = False,
    replace: bool = False,
    codes: float = DEFAULT_CODES,
    part_mean_codes: float = 0.0005,
    delta_e: float | None = None,
    source: Encoding | None = None,
    target: Encoding | None = None,
    catalogue: Catalogue | None = None,
) -> None:
    """Assert that a LUT or pipeline gives what it gave when `path` was recorded.

    With `record` a missing baseline is written first; with `replace` an existing one is
    replaced first.

    Raises
    ------
    AssertionError
        When it has drifted, or there is no baseline.
    LutbenchError
        When the baseline is corrupt.
    """
    __tracebackhide__ = True
    side = _subject(lut, catalogue or open_catalogue())
    file = Path(path)
    if replace or (record and not file.exists()):
        table = baselines.record_table(
            side.name, side.transform, source or side.source or ASSUMED_SOURCE
        )
        make_folder(file.parent)
        write_text(file, baselines.format_table(table), force=True)
    if not file.exists():
        raise AssertionError(f"there is no baseline {file}: record one first")
    limits = {"code_10bit": codes, PARTS: part_mean_codes}
    if delta_e is not None:
        limits["delta_e_2000"] = delta_e
    stored = baselines.read_table(file)
    view = view_for(target or side.target)
    finding = compare_with_table(side.transform, stored, checked_limits(limits, "limits"), view)
    _raise(finding, f"{side.name} has drifted from {file.name}")


def _subject(side: Side, catalogue: Catalogue) -> NamedTransform:
    if isinstance(side, Transform):
        return NamedTransform(_name(side), side)
    return open_subject(str(side), catalogue)


def _name(side: Side) -> str:
    return repr(side) if isinstance(side, Transform) else str(side)


def _limits(
    delta_e: float | None, delta_e_itp: float | None, codes: float | None
) -> dict[str, float]:
    given: dict[str, Any] = {
        "delta_e_2000": delta_e,
        "delta_e_itp": delta_e_itp,
        "code_10bit": codes,
    }
    limits = {name: value for name, value in given.items() if value is not None}
    return checked_limits(limits or {"code_10bit": DEFAULT_CODES}, "limits")


def _raise(finding: CheckResult, what: str) -> None:
    __tracebackhide__ = True
    if not finding.passed:
        lines = [what, finding.summary, finding.where]
        raise AssertionError("\n".join(line for line in lines if line))
