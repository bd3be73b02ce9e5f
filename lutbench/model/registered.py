"""The registries of colour-science from a cache, since importing it takes a second.

`registries` looks like the part of the ``colour`` module that is used: functions and colour
spaces by name. Names, primaries and matrices come from a file in the user's cache folder.
The functions are of two kinds:

- exact: colour-science is imported when the function is first called;
- near: the function is interpolated from samples, within `LIMIT` of it. That is enough to
  recognise or to show a curve; nothing is built from it.

The file is made again when colour-science or the code here changes. It is read only if
nobody but the user (and the administrator) can have written it and its checksum is right;
otherwise everything comes from colour-science itself.
"""

from __future__ import annotations

import inspect
import logging
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from lutbench import files
from lutbench.errors import LutbenchError
from lutbench.foreign import foreign
from lutbench.model import kept
from lutbench.model.curves.registered import called
from lutbench.model.transforms import Array

FUNCTIONS = ("LOG_ENCODINGS", "LOG_DECODINGS", "OETFS", "OETF_INVERSES")
_TO_LIGHT = ("LOG_DECODINGS", "OETF_INVERSES")

LIMIT = 1e-6
"""Largest error of the samples, in signal or in relative light (0.001 10-bit codes). Where a
function has no jump and no pole they are within 1e-11."""

_AIMS = (1e-12, 1e-10, 1e-8, 1e-6)
"""Errors that pieces are made for, tried in turn; the later ones are for poles and jumps."""

_SIGNALS = (-2.0, 3.0)
"""Signals between which decodings are sampled: far outside those of codes."""

_LIGHTS = (-10.0, 1e13)
"""Light between which encodings are sampled: more than any curve decodes to."""

_SCALE_LIGHT = 1e-3
"""Light is sampled as asinh(light / _SCALE_LIGHT): linear below this scale, in stops above."""

_ORDER = 8
"""Coefficients of a piece."""

_FIRST = 64
"""Pieces at the start, before any is halved."""

_FINEST = 1e-11
"""Least width of a piece, which is reached where a function jumps."""

_DEPTH = 60
"""Times that a piece may be halved: more than the digits of float64 allow."""

_MOST = 8_000
"""Pieces of one function: with more it is not sampled."""


_log = logging.getLogger("lutbench")


@dataclass(frozen=True)
class RegisteredSpace:
    """A registered RGB colour space."""

    primaries: tuple[tuple[float, float], ...]
    whitepoint: tuple[float, float]
    matrix_RGB_to_XYZ: tuple[tuple[float, ...], ...]
    matrix_XYZ_to_RGB: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Exact:
    """A registered function; colour-science is imported when it is called."""

    registry: str
    name: str
    parameters: tuple[tuple[str, Any], ...] = ()

    def __call__(self, value: Any) -> Any:
        colour = foreign("colour")

        return getattr(colour, self.registry)[self.name](value)

    @property
    def __signature__(self) -> inspect.Signature:
        """The parameters of the registered function, with their defaults if those are simple."""
        kind = inspect.Parameter.POSITIONAL_OR_KEYWORD
        return inspect.Signature(
            [inspect.Parameter(name, kind, default=default) for name, default in self.parameters]
        )


@dataclass(frozen=True, eq=False)
class Near(Exact):
    """A registered function interpolated from samples; outside them it is computed exactly."""

    pieces: Array | None = None

    def __call__(self, value: Any) -> Any:
        given = np.asarray(value, dtype=np.float64)
        low, high = _SIGNALS if self.registry in _TO_LIGHT else _LIGHTS
        inside = np.isnan(given) | ((given >= low) & (given <= high))
        if self.pieces is None or not inside.all():
            return super().__call__(value)
        return looked_up(self.registry, self.pieces, given)


@dataclass(frozen=True)
class Registries:
    """The part of the ``colour`` module that is used, under the same names."""

    LOG_ENCODINGS: dict[str, Callable[..., Any]]
    LOG_DECODINGS: dict[str, Callable[..., Any]]
    OETFS: dict[str, Callable[..., Any]]
    OETF_INVERSES: dict[str, Callable[..., Any]]
    RGB_COLOURSPACES: dict[str, RegisteredSpace]


def registries(*, exact: bool = True) -> Any:
    """The registries of colour-science; the module itself if others were registered since."""
    header, samples = _kept()
    colour = sys.modules.get("colour")
    # While another thread imports it, the module lacks some: nothing was registered since.
    if all(hasattr(colour, key) for key in FUNCTIONS) and any(
        list(getattr(colour, key)) != list(header["functions"][key]) for key in FUNCTIONS
    ):
        return colour
    return _tables(header, samples, exact=exact)


def _tables(header: dict[str, Any], samples: Array, *, exact: bool) -> Registries:
    tables: dict[str, dict[str, Callable[..., Any]]] = {}
    for key in FUNCTIONS:
        tables[key] = {}
        for name, entry in header["functions"][key].items():
            parameters = tuple((each[0], each[1]) for each in entry["parameters"])
            if exact or not entry["count"]:
                tables[key][name] = Exact(key, name, parameters)
            else:
                part = samples[entry["begin"] : entry["begin"] + entry["count"]]
                tables[key][name] = Near(key, name, parameters, part)
    spaces = {name: RegisteredSpace(**entry) for name, entry in header["spaces"].items()}
    return Registries(**tables, RGB_COLOURSPACES=spaces)


@dataclass(frozen=True)
class Judged:
    """Why a registered curve cannot be used, and where it falls; empty if it can, and does not."""

    unusable: str
    falls: str


def judged() -> dict[str, Judged]:
    """The judgement on each registered curve, by name."""
    return {name: Judged(*each) for name, each in _kept()[0]["judged"].items()}


def looked_up(registry: str, pieces: Array, given: Array) -> Array:
    """The sampled function at `given`.

    `pieces`, shape (n, 2 + `_ORDER`), has the start and width of each piece, and the
    coefficients, lowest first, of a polynomial over −1..1. Light is on the asinh scale.
    """
    with np.errstate(invalid="ignore"):  # where the function is not defined
        if registry in _TO_LIGHT:
            return np.asarray(_SCALE_LIGHT * np.sinh(_polynomials(pieces, given)))
        return _polynomials(pieces, np.arcsinh(given / _SCALE_LIGHT))


def _polynomials(pieces: Array, at: Array) -> Array:
    index = np.maximum(np.searchsorted(pieces[:, 0], at.reshape(-1), side="right") - 1, 0)
    begin, width, *factors = pieces.T[:, index]
    t = (at.reshape(-1) - begin) / width * 2 - 1
    found = factors[-1]
    for factor in factors[-2::-1]:
        found = found * t + factor
    # A piece without a slope is constant; its value may be infinite.
    level = (factors[1] == 0) & ~np.isnan(t)
    return np.asarray(np.where(level, factors[0], found)).reshape(at.shape)


# -- Sampling -----------------------------------------------------------------


def _made() -> tuple[dict[str, Any], Array]:
    """The header and the samples, from colour-science itself."""
    colour = foreign("colour")

    functions: dict[str, dict[str, Any]] = {}
    parts: list[Array] = []
    begin = 0
    for key in FUNCTIONS:
        functions[key] = {}
        for name, function in getattr(colour, key).items():
            sampled = _sampled(key, function)
            count = len(sampled)
            functions[key][name] = {
                "parameters": _parameters(function),
                "begin": begin,
                "count": count,
            }
            parts.append(sampled)
            begin += count
    spaces = {
        name: {
            "primaries": np.asarray(space.primaries, dtype=np.float64).tolist(),
            "whitepoint": np.asarray(space.whitepoint, dtype=np.float64).tolist(),
            "matrix_RGB_to_XYZ": np.asarray(space.matrix_RGB_to_XYZ, np.float64).tolist(),
            "matrix_XYZ_to_RGB": np.asarray(space.matrix_XYZ_to_RGB, np.float64).tolist(),
        }
        for name, space in colour.RGB_COLOURSPACES.items()
    }
    header: dict[str, Any] = {"functions": functions, "spaces": spaces}
    samples = np.concatenate(parts)
    return header | {"judged": _judged(_tables(header, samples, exact=False))}, samples


def _judged(near: Registries) -> dict[str, list[str]]:
    from lutbench.model.curves.registered import curves_of
    from lutbench.model.curves.usable import falls, why_unusable

    found: dict[str, list[str]] = {}
    for name, curve in curves_of(near)[0].items():
        unusable = why_unusable(curve)
        found[name] = [unusable, "" if unusable else falls(curve)]
    return found


def _parameters(function: Callable[..., Any]) -> list[list[Any]]:
    plain = (bool, int, float, str, type(None))
    found: list[list[Any]] = []
    for each in inspect.signature(function).parameters.values():
        if each.default is not inspect.Parameter.empty or not found:
            default = each.default if isinstance(each.default, plain) else None
            found.append([each.name, default])
    return found


# From the values at Chebyshev points, including both ends, to coefficients.
_POINTS = -np.cos(np.pi * np.arange(_ORDER) / (_ORDER - 1))
_THROUGH = np.linalg.inv(np.vander(_POINTS, increasing=True))
_TRIED = (_POINTS[1:] + _POINTS[:-1]) / 2


def _sampled(key: str, function: Callable[..., Any]) -> Array:
    """The pieces, shape (n, 2 + `_ORDER`), within `LIMIT`; n = 0 if that cannot be reached."""
    for aim in _AIMS:
        pieces = _pieces(key, function, aim)
        if len(pieces) and _error(key, function, pieces) <= LIMIT:
            return pieces
    return np.empty((0, 2 + _ORDER))


def _pieces(key: str, function: Callable[..., Any], aim: float) -> Array:
    """The pieces of a function with errors below `aim`, halved until they are; n = 0 if not."""

    def scaled(at: Array) -> Array:
        if key in _TO_LIGHT:
            return np.asarray(np.arcsinh(called(function, at) / _SCALE_LIGHT))
        return called(function, _SCALE_LIGHT * np.sinh(at))

    ends = np.array(_SIGNALS) if key in _TO_LIGHT else np.arcsinh(np.array(_LIGHTS) / _SCALE_LIGHT)
    # A piece begins at light and signal 0, where many functions change.
    knots = np.unique(np.concatenate([np.linspace(ends[0], ends[1], _FIRST + 1), [0.0]]))
    begin, width = knots[:-1], np.diff(knots)
    done: list[Array] = []
    for _ in range(_DEPTH):
        values = scaled(begin[:, None] + width[:, None] * (_POINTS + 1) / 2)
        there = np.isfinite(values).all(axis=1)
        right = scaled(begin[:, None] + width[:, None] * (_TRIED + 1) / 2)
        with np.errstate(invalid="ignore"):
            factors = values @ _THROUGH.T
            found = factors @ np.vander(_TRIED, _ORDER, increasing=True).T
            good = np.abs(found - right) <= aim * np.maximum(1, np.abs(right))
        # Pieces that are NaN, infinite or as narrow as allowed become constant.
        same = _alike(values, values[:, :1]).all(axis=1) & _alike(right, values[:, :1]).all(axis=1)
        least = width <= _FINEST * np.maximum(1, np.abs(begin))
        flat = (same & ~there) | (least & ~good.all(axis=1)) | (least & ~there)
        factors[flat] = 0.0
        factors[flat, 0] = values[flat, 0]
        end = flat | (there & good.all(axis=1))
        done.append(np.column_stack([begin, width, factors])[end])
        half = width[~end] / 2
        begin = np.concatenate([begin[~end], begin[~end] + half])
        width = np.concatenate([half, half])
        count = len(begin) + sum(map(len, done))
        if not len(begin) or count > _MOST:
            break
    if len(begin):
        return np.empty((0, 2 + _ORDER))
    pieces = np.concatenate(done)
    pieces = pieces[np.argsort(pieces[:, 0])]
    return np.asarray(pieces)


def _alike(one: Array, other: Array) -> Any:
    """Whether two values are equal, or both NaN."""
    return (one == other) | (np.isnan(one) & np.isnan(other))


def _error(key: str, function: Callable[..., Any], pieces: Array) -> float:
    """The largest error of the samples between them, over the usual range of light or signal."""
    random = np.random.default_rng(1)
    if key in _TO_LIGHT:
        tried = random.uniform(-0.2, 1.2, 20_000)
    else:
        stops = 0.18 * 2.0 ** random.uniform(-20, 14, 20_000)
        tried = np.concatenate([stops, random.uniform(-0.05, 1.5, 20_000)])
    right, found = called(function, tried), looked_up(key, pieces, tried)
    if (np.isfinite(right) != np.isfinite(found)).any():
        return np.inf
    there = np.isfinite(right)
    gap = np.abs(found - right)[there]
    if key in _TO_LIGHT:
        gap = gap / np.maximum(np.abs(right[there]), _SCALE_LIGHT)
    return float(gap.max(initial=0.0))


# -- The cache ----------------------------------------------------------------


@cache
def _kept() -> tuple[dict[str, Any], Array]:
    """The header and the samples, from the cached file; else computed, and cached."""
    file, columns = kept_file(), 2 + _ORDER
    if file is not None and file.exists():
        if not kept.only_ours(file):
            _log.debug("%s is not read, since others can write to it", file)
        else:
            try:
                return kept.read(file, columns)
            except (LutbenchError, ValueError, KeyError, OSError) as error:
                _log.warning("%s is damaged (%s) and is made again", file, error)
    header, samples = _made()
    # Unpacked again, so that the result is the same with and without a cached file.
    data = kept.packed(header, samples)
    if file is not None:
        with suppress(LutbenchError, OSError):
            file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            if kept.only_ours(file.parent):
                files.write_bytes(file, data, force=True)
                file.chmod(0o600)
                _log.debug("%s: the registries of colour-science were cached", file)
    return kept.unpacked(data, columns)


def kept_file() -> Path | None:
    """The cache file for this version of colour-science and of this code, or None."""
    here = Path(__file__)
    return kept.file_for((here, here.with_name("kept.py"), here.parent / "curves" / "usable.py"))
