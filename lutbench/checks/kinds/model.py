"""Kinds of checks for the colour model: curves and gamuts against published values and registries.

They make up the suite that checks an installation, and can check a user's own definitions.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar, Literal

import numpy as np

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.independent import independent_curve, independent_matrix
from lutbench.checks.judging import verdict
from lutbench.checks.limits import CheckFigure, checked_limit, greatest_distance
from lutbench.errors import DefinitionError, LutbenchError
from lutbench.given import number
from lutbench.model.catalogue import Catalogue
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import (
    ADAPTATIONS,
    BT709,
    BT2020,
    Gamut,
    check_adaptation,
    conversion,
    xyz_of_xy,
)
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array
from lutbench.recipes import keys
from lutbench.recipes.keys import Unchecked

MOST_OF_AN_ENTRY = 1.0
"""The largest difference of a matrix's entry: the whole of a channel."""


@dataclass(frozen=True, kw_only=True)
class CurveCheck(Check):
    """A curve against published values."""

    # Light 1.0 is a perfect white diffuser; for ST 2084 it is 203 cd/m².
    kind: ClassVar[str] = "curve"
    curve: Curve
    points: Annotated[Any, list[tuple[float, float]]]
    """[[light, signal], ...]"""
    within: Unchecked = 5e-6
    """The tolerance in signal."""

    def __post_init__(self) -> None:
        rows, where = self.points, self.at("points")
        if not isinstance(rows, list) or not all(
            isinstance(row, list) and len(row) == 2 for row in rows
        ):
            raise DefinitionError(
                "is not a list of points", where=where, accepted="[[light, signal], ...]"
            )
        for value in itertools.chain(*rows):
            number(value, where)

    def run(self, context: Context) -> CheckResult:
        if not self.points:
            raise DefinitionError("no points are given", where=self.where, accepted="points")
        light, signal = np.array(self.points).T
        most = max(greatest_distance(float(each), 1.0) for each in signal)
        within = checked_limit(self.within, self.at("within"), most)
        encoded = self.curve.encode(light)
        # The decoded light is encoded again, so that the error is in signal.
        again = self.curve.encode(self.curve.decode(signal))
        figures = []
        for name, values in (("encodes", encoded), ("decodes", again)):
            off = np.abs(values - signal)
            at = int(off.argmax())
            label = (
                f"{self.curve.name} {name} light {light[at]:g} as {values[at]:.7g}, "
                f"published {signal[at]:.7g}: off by"
            )
            figures.append(CheckFigure(name, float(off[at]), within, label))
        return verdict(figures)


@dataclass(frozen=True, kw_only=True)
class MatrixCheck(Check):
    """The matrix between two gamuts against published values."""

    kind: ClassVar[str] = "matrix"
    source: Gamut
    target: Gamut
    adaptation: Annotated[str, keys.words(lambda: (*ADAPTATIONS, "none"))] = "bradford"
    rows: Annotated[Any, list[list[float]]]
    """Three rows of three numbers."""
    within: Unchecked = 5.1e-5

    def __post_init__(self) -> None:
        check_adaptation(self.adaptation, self.where)
        _matrix(self.rows, self.at("rows"))

    def run(self, context: Context) -> CheckResult:
        within = checked_limit(self.within, self.at("within"), MOST_OF_AN_ENTRY)
        found = conversion(self.source, self.target, self.adaptation).array
        rows = _matrix(self.rows, self.at("rows"))
        off = np.abs(found - rows)
        row, column = np.unravel_index(int(off.argmax()), off.shape)
        label = (
            f"{self.source.name} to {self.target.name}, row {row + 1} column {column + 1} is "
            f"{found[row, column]:.6f}, published {rows[row, column]:.6g}: off by"
        )
        return verdict([CheckFigure("matrix", float(off.max()), within, label)])


def _matrix(rows: Any, where: str) -> Array:
    """Three rows of three finite numbers."""
    fits = isinstance(rows, list) and len(rows) == 3
    if not fits or not all(isinstance(row, list) and len(row) == 3 for row in rows):
        raise DefinitionError(
            "is not a matrix", where=where, accepted="three rows of three numbers"
        )
    matrix = np.array([[number(value, where) for value in row] for row in rows])
    if not np.isfinite(matrix).all():
        raise DefinitionError("the matrix is not finite", where=where, accepted="finite numbers")
    return matrix


ENCODE_LIMIT_CODES = 0.01
"""In 10-bit codes: both sides use the same published constants."""

DECODE_LIMIT_CODES = 0.3
"""In 10-bit codes: where published constants leave a gap at a break, either side is right."""

ROUND_TRIP_LIMIT_CODES = 0.5
"""In 10-bit codes: the error of rounding to whole codes."""

MATRIX_LIMIT = 1e-9
"""For an entry of a matrix or white: float64 stays far below it, published decimals do not."""


@dataclass(frozen=True, kw_only=True)
class RegistryCheck(Check):
    """All curves or gamuts of the catalogue against colour-science."""

    # Curves: the standard ones against colour-science's own functions, and the round trip of each
    # usable one. Gamuts: the matrices to BT.709 and BT.2020 with each adaptation against
    # colour-science's derivation, and that white is mapped to white.
    kind: ClassVar[str] = "registry"
    what: Annotated[str, Literal["curves", "gamuts"]]

    def __post_init__(self) -> None:
        if self.what not in ("curves", "gamuts"):
            raise DefinitionError(
                f"{self.what!r} is not a registry",
                where=self.at("what"),
                accepted="curves, gamuts",
            )

    def run(self, context: Context) -> CheckResult:
        return _curves(context.catalogue) if self.what == "curves" else _gamuts(context.catalogue)


def _curves(catalogue: Catalogue) -> CheckResult:
    signal = np.linspace(0, 1, 4097)
    worst = dict.fromkeys(("encode", "decode", "round_trip"), (0.0, ""))

    def note(name: str, values: Array, curve: Curve) -> None:
        off = CODES_10_BIT * float(np.abs(values).max())
        if not off <= worst[name][0]:
            worst[name] = (off, curve.name)

    count = 0
    for entry in catalogue.curves():
        curve = entry.curve
        if curve is None or entry.unusable:
            continue
        light = curve.decode(signal)
        note("round_trip", curve.encode(light) - signal, curve)
        count += 1
        if entry.origin == "standard":
            other = independent_curve(curve.name)
            shown = light if other.is_log else np.maximum(light, 0)
            note("encode", curve.encode(shown) - other.encode(shown), curve)
            note("decode", curve.encode(other.decode(signal)) - signal, curve)
    if not count:
        raise LutbenchError("the catalogue holds no curve, so nothing is checked")
    limits = {
        "encode": ENCODE_LIMIT_CODES,
        "decode": DECODE_LIMIT_CODES,
        "round_trip": ROUND_TRIP_LIMIT_CODES,
    }
    words = {
        "encode": "encoding off colour-science's by",
        "decode": "decoding off colour-science's by",
        "round_trip": "round trip off by",
    }
    figures = [
        CheckFigure(
            name,
            off,
            limits[name],
            f"{count} curves, {words[name]} at most ({curve or 'none'})",
            "10-bit codes",
        )
        for name, (off, curve) in worst.items()
    ]
    return verdict(sorted(figures, key=lambda figure: figure.holds))


def _gamuts(catalogue: Catalogue) -> CheckResult:
    worst, where, count = 0.0, "", 0
    white_off = 0.0
    for entry in catalogue.gamuts():
        gamut = entry.gamut
        # colour-science has no colour space with the axes of XYZ as primaries.
        if gamut is None or entry.origin == "user" or gamut.name == "XYZ":
            continue
        count += 1
        for target in (BT709, BT2020):
            for adaptation in ("bradford", "cat02", "cat16", "none"):
                ours = conversion(gamut, target, adaptation).array
                theirs = independent_matrix(gamut.name, target.name, adaptation)
                off = float(np.abs(ours - theirs).max())
                if not off <= worst:
                    worst, where = off, f"{gamut.name} to {target.name}, {adaptation}"
                if adaptation != "none":
                    white_off = max(white_off, float(np.abs(ours.sum(axis=1) - 1).max()))
        scale = np.abs(gamut.to_xyz.sum(axis=1) - xyz_of_xy(gamut.white)).max()
        white_off = max(white_off, float(scale))
    if not count:
        raise LutbenchError("the catalogue holds no gamut, so nothing is checked")
    label = f"{count} gamuts, matrices off colour-science's by at most ({where or 'none'})"
    return verdict(
        [
            CheckFigure("matrix", worst, MATRIX_LIMIT, label),
            CheckFigure("white", white_off, MATRIX_LIMIT, f"{count} gamuts, white off white by"),
        ]
    )
