"""Curves and gamuts that a user defines in TOML.

::

    [curves."House Log"]
    kind = "log"                # or "power", "table"
    base = 10.0
    log_side_slope = 0.25
    log_side_offset = 0.6
    lin_side_slope = 1.0
    lin_side_offset = 0.01
    lin_side_break = 0.01
    codes = "full"              # these values times 1023 are full-range codes, or "legal" ones

    [curves."Measured"]
    kind = "table"
    file = "measured.csv"       # light,signal; beside this file

    [gamuts."House Wide"]
    primaries = [[0.75, 0.27], [0.17, 0.91], [0.10, -0.05]]
    white = "D65"               # or [x, y]
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lutbench.errors import DefinitionError
from lutbench.files import beside
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import WHITES, Gamut
from lutbench.model.signal import Range

if TYPE_CHECKING:
    from lutbench.model.curves.tabulated import Tabulated
from lutbench.files import read_toml
from lutbench.given import number

MAX_ENTRIES = 100
"""Curves in one file, and gamuts: each takes time, as it is tested first."""


@dataclass(frozen=True)
class Definitions:
    """The curves and gamuts of a user's files, by name."""

    curves: dict[str, Curve] = field(default_factory=dict)
    gamuts: dict[str, Gamut] = field(default_factory=dict)

    def merged(self, other: Definitions) -> Definitions:
        """These definitions and those of `other`, which take precedence."""
        return Definitions(self.curves | other.curves, self.gamuts | other.gamuts)


def read_definitions(path: str | Path) -> Definitions:
    """The curves and gamuts of a definitions file.

    Raises
    ------
    DefinitionError
        When the file cannot be read, or a definition is not valid, with its place.
    """
    return parse_definitions(read_toml(path), Path(path))


def parse_definitions(data: dict[str, Any], file: Path) -> Definitions:
    """The curves and gamuts of a parsed definitions file, whose path is `file`."""
    unknown = set(data) - {"curves", "gamuts"}
    if unknown:
        raise DefinitionError(
            f"the key {min(unknown)!r} is not known", where=file, accepted="curves, gamuts"
        )
    curves = {
        name: _curve(name, table, file) for name, table in _tables(data, "curves", file).items()
    }
    gamuts = {
        name: _gamut(name, table, file) for name, table in _tables(data, "gamuts", file).items()
    }
    return Definitions(curves, gamuts)


def _tables(data: dict[str, Any], key: str, file: Path) -> dict[str, dict[str, Any]]:
    tables = data.get(key, {})
    if not isinstance(tables, dict) or not all(isinstance(each, dict) for each in tables.values()):
        raise DefinitionError(
            f"{key} is not a set of tables", where=file, accepted=f'[{key}."A name"]'
        )
    if len(tables) > MAX_ENTRIES:
        raise DefinitionError(
            f"{len(tables)} {key}", where=file, accepted=f"up to {MAX_ENTRIES} in a file"
        )
    for name in tables:
        if not name.strip() or len(name) > 100 or not name.isprintable():
            raise DefinitionError(
                f"{name[:40]!r} is not a name", where=file, accepted="1 to 100 printable characters"
            )
    return tables


def _curve(name: str, table: dict[str, Any], file: Path) -> Curve:
    from lutbench.model.curves.log import CameraLog
    from lutbench.model.curves.usable import why_unusable
    from lutbench.model.curves.video import Power

    where = f"{file}: curve {name!r}"
    values = dict(table)
    kind = values.pop("kind", None)
    codes = _codes(values.pop("codes", "full"), f"{where}, codes")
    try:
        if kind == "log":
            keys = {each.name for each in fields(CameraLog)} - {"name", "formula_codes"}
            numbers = _numbers(values, keys, where)
            curve: Curve = CameraLog(name, formula_codes=codes, **numbers)
        elif kind == "power":
            curve = Power(name, formula_codes=codes, **_numbers(values, {"gamma"}, where))
        elif kind == "table":
            curve = replace(_tabulated(name, values, file, where), formula_codes=codes)
        else:
            raise DefinitionError(f"no kind is named {kind!r:.60}", accepted="log, power, table")
    except DefinitionError as error:
        if error.where.startswith(str(file)):
            raise
        raise DefinitionError(error.what, where=where, accepted=error.accepted) from error
    reason = why_unusable(curve)
    if reason:
        raise DefinitionError(reason, where=where, accepted="a curve that rises and has an inverse")
    return curve


def _codes(value: Any, where: str) -> Range:
    if not isinstance(value, str) or value.casefold() not in ("full", "legal"):
        raise DefinitionError(
            f"{value!r:.60} is not a range of code values", where=where, accepted="full, legal"
        )
    return value.casefold()  # type: ignore[return-value]


def _numbers(values: dict[str, Any], known: set[str], where: str) -> dict[str, Any]:
    unknown = set(values) - known
    if unknown:
        raise DefinitionError(
            f"the key {min(unknown)!r} is not known",
            where=where,
            accepted=", ".join(sorted(known)),
        )
    return {key: number(value, f"{where}, {key}") for key, value in values.items()}


def _tabulated(name: str, values: dict[str, Any], file: Path, where: str) -> Tabulated:
    from lutbench.model.curves.tabulated import Tabulated, read_curve_csv

    if set(values) == {"file"} and isinstance(values["file"], str):
        return read_curve_csv(beside(file.parent, values["file"], where, "definitions"), name)
    if set(values) == {"light", "signal"} and all(isinstance(v, list) for v in values.values()):
        light, signal = (
            tuple(number(v, where) for v in values[key]) for key in ("light", "signal")
        )
        return Tabulated(name, light, signal)
    raise DefinitionError(
        "the table is missing", accepted="file = a CSV, or light = [...] and signal = [...]"
    )


def _gamut(name: str, table: dict[str, Any], file: Path) -> Gamut:
    where = f"{file}: gamut {name!r}"
    unknown = set(table) - {"primaries", "white", "source"}
    if unknown:
        raise DefinitionError(
            f"the key {min(unknown)!r} is not known",
            where=where,
            accepted="primaries, white, source",
        )
    primaries, white = table.get("primaries"), table.get("white", "D65")
    if isinstance(white, str):
        if white.upper() not in WHITES:
            raise DefinitionError(
                f"no white is named {white!r}", where=where, accepted=", ".join(WHITES)
            )
        white = WHITES[white.upper()]
    if not isinstance(primaries, list) or len(primaries) != 3:
        raise DefinitionError(
            "primaries are not three xy points", where=where, accepted="[[x, y], [x, y], [x, y]]"
        )
    red, green, blue = (_point(each, where) for each in primaries)
    try:
        return Gamut(
            name, (red, green, blue), _point(white, where), str(table.get("source", "user"))
        )
    except DefinitionError as error:
        raise DefinitionError(error.what, where=where, accepted=error.accepted) from error


def _point(value: Any, where: str) -> tuple[float, float]:
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise DefinitionError(f"{value!r:.60} is not an xy point", where=where, accepted="[x, y]")
    return number(value[0], where), number(value[1], where)
