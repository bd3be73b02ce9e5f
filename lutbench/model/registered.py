"""What is needed of colour-science's registries, without the second that its import takes.

`registries` looks like the part of the ``colour`` module that is used: names to
functions, names to colour spaces. Names, primaries and matrices come from a file in
the user's cache folder. The functions are of two kinds:

- exact: imports colour-science when it is first called;
- near: the function sampled, within `LIMIT` of it wherever that is measured. What a
  curve is told by, or shown as, needs no more; nothing is built from it.

The file is made anew when colour-science or the code that makes it changes. It is read
only where nobody but the user (and the administrator) can have written it, and only if
its digest holds; else all comes from colour-science itself.
"""

from __future__ import annotations

import inspect
import logging
import sys
import warnings
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
from lutbench.model.transforms import Array

FUNCTIONS = ("LOG_ENCODINGS", "LOG_DECODINGS", "OETFS", "OETF_INVERSES")
_TO_LIGHT = ("LOG_DECODINGS", "OETF_INVERSES")

LIMIT = 1e-6
"""Of signal, and of light relative to itself or a thousandth: 0.001 10-bit codes at the worst.
Where a function neither jumps nor has a pole the samples are within 1e-11."""

_AIMS = (1e-12, 1e-10, 1e-8, 1e-6)
"""What a piece is made to hold where it is tried; the later ones near poles and jumps."""

_SIGNALS = (-2.0, 3.0)
"""Between which decodings are sampled: far beyond what codes hold."""

_LIGHTS = (-10.0, 1e13)
"""Between which encodings are sampled: beyond the light that any curve gives back."""

_SCALE = 1e-3
"""Light is laid out as asinh(light / _SCALE): evenly below the scale, in stops above."""
_ORDER = 8  # coefficients of a piece
_FIRST = 64  # pieces to begin with
_FINEST = 1e-11  # the least width of a piece: where a function jumps
_DEPTH = 60
"""Times that a piece may be halved: beyond the digits of float64."""

_MOST = 8_000  # pieces of one function


_log = logging.getLogger("lutbench")


@dataclass(frozen=True)
class RegisteredSpace:
    """An RGB colour space as it is registered."""

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
        """The parameters of the registered function, with those defaults that are plain."""
        kind = inspect.Parameter.POSITIONAL_OR_KEYWORD
        return inspect.Signature(
            [inspect.Parameter(name, kind, default=default) for name, default in self.parameters]
        )


@dataclass(frozen=True, eq=False)
class Near(Exact):
    """A registered function from its samples; what lies outside them is asked of `Exact`."""

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
    """The part of the ``colour`` module that is used here, under its names."""

    LOG_ENCODINGS: dict[str, Callable[..., Any]]
    LOG_DECODINGS: dict[str, Callable[..., Any]]
    OETFS: dict[str, Callable[..., Any]]
    OETF_INVERSES: dict[str, Callable[..., Any]]
    RGB_COLOURSPACES: dict[str, RegisteredSpace]


def registries(*, exact: bool = True) -> Any:
    """The registries of colour-science: the module itself where it has grown since it was kept."""
    header, samples = _kept()
    colour = sys.modules.get("colour")
    if colour is not None and any(
        list(getattr(colour, key, ())) != list(header["functions"][key]) for key in FUNCTIONS
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
    """Why a registered curve cannot be used, and where it falls; empty where it can, and never."""

    unusable: str
    falls: str


def judged() -> dict[str, Judged]:
    """What is known of registered curves, by name: by their samples, where they have any."""
    return {name: Judged(*each) for name, each in _kept()[0]["judged"].items()}


def looked_up(registry: str, pieces: Array, given: Array) -> Array:
    """The sampled function at `given`.

    `pieces` (n, 2 + `_ORDER`): where a piece begins, how wide it is, and the coefficients
    of a polynomial over −1..1 of it, lowest first, all as light is laid out.
    """
    with np.errstate(invalid="ignore"):  # of what a function has no value for
        if registry in _TO_LIGHT:
            return np.asarray(_SCALE * np.sinh(_polynomials(pieces, given)))
        return _polynomials(pieces, np.arcsinh(given / _SCALE))


def _polynomials(pieces: Array, at: Array) -> Array:
    index = np.maximum(np.searchsorted(pieces[:, 0], at.reshape(-1), side="right") - 1, 0)
    begin, width, *factors = pieces.T[:, index]
    t = (at.reshape(-1) - begin) / width * 2 - 1
    found = factors[-1]
    for factor in factors[-2::-1]:
        found = found * t + factor
    # A piece without a slope is its first value, also where that is infinite.
    level = (factors[1] == 0) & ~np.isnan(t)
    return np.asarray(np.where(level, factors[0], found)).reshape(at.shape)


# -- Making -------------------------------------------------------------------


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


# From the values at Chebyshev's points, both ends among them, to coefficients.
_POINTS = -np.cos(np.pi * np.arange(_ORDER) / (_ORDER - 1))
_THROUGH = np.linalg.inv(np.vander(_POINTS, increasing=True))
_TRIED = (_POINTS[1:] + _POINTS[:-1]) / 2


def _sampled(key: str, function: Callable[..., Any]) -> Array:
    """The pieces (n, 2 + `_ORDER`) that come within `LIMIT`; n = 0 where none do."""
    for aim in _AIMS:
        pieces = _pieces(key, function, aim)
        if len(pieces) and _error(key, function, pieces) <= LIMIT:
            return pieces
    return np.empty((0, 2 + _ORDER))


def _pieces(key: str, function: Callable[..., Any], aim: float) -> Array:

    def laid_out(at: Array) -> Array:
        if key in _TO_LIGHT:
            return np.asarray(np.arcsinh(_called(function, at) / _SCALE))
        return _called(function, _SCALE * np.sinh(at))

    ends = np.array(_SIGNALS) if key in _TO_LIGHT else np.arcsinh(np.array(_LIGHTS) / _SCALE)
    # Light and signal 0 begin a piece: many functions change there.
    knots = np.unique(np.concatenate([np.linspace(ends[0], ends[1], _FIRST + 1), [0.0]]))
    begin, width = knots[:-1], np.diff(knots)
    done: list[Array] = []
    for _ in range(_DEPTH):
        values = laid_out(begin[:, None] + width[:, None] * (_POINTS + 1) / 2)
        there = np.isfinite(values).all(axis=1)
        right = laid_out(begin[:, None] + width[:, None] * (_TRIED + 1) / 2)
        with np.errstate(invalid="ignore"):
            factors = values @ _THROUGH.T
            found = factors @ np.vander(_TRIED, _ORDER, increasing=True).T
            good = np.abs(found - right) <= aim * np.maximum(1, np.abs(right))
        # What is nowhere a number, or the same infinity, or as small as it gets, is one value.
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
    """Whether two values are the same infinity, or both none."""
    return (one == other) | (np.isnan(one) & np.isnan(other))


def _error(key: str, function: Callable[..., Any], pieces: Array) -> float:
    """How far the samples are from the function, between them, where light and signal go."""
    random = np.random.default_rng(1)
    if key in _TO_LIGHT:
        tried = random.uniform(-0.2, 1.2, 20_000)
    else:
        stops = 0.18 * 2.0 ** random.uniform(-20, 14, 20_000)
        tried = np.concatenate([stops, random.uniform(-0.05, 1.5, 20_000)])
    right, found = _called(function, tried), looked_up(key, pieces, tried)
    if (np.isfinite(right) != np.isfinite(found)).any():
        return np.inf
    there = np.isfinite(right)
    gap = np.abs(found - right)[there]
    if key in _TO_LIGHT:
        gap = gap / np.maximum(np.abs(right[there]), _SCALE)
    return float(gap.max(initial=0.0))


def _called(function: Callable[..., Any], value: Array) -> Array:
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        return np.asarray(function(value), dtype=np.float64).reshape(value.shape)


# -- Keeping ------------------------------------------------------------------


@cache
def _kept() -> tuple[dict[str, Any], Array]:
    """The header and the samples: of the kept file, else made, and kept for the next time."""
    file, columns = kept_file(), 2 + _ORDER
    if file is not None:
        with suppress(LutbenchError, ValueError, KeyError, OSError):
            return kept.read(file, columns)
    header, samples = _made()
    # As it will be read: what a process finds does not hang on whether the file was there.
    data = kept.packed(header, samples)
    if file is not None:
        with suppress(LutbenchError, OSError):
            file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            if kept.only_ours(file.parent):
                files.write_bytes(file, data, force=True)
                file.chmod(0o600)
                _log.debug("%s: the registries of colour-science kept", file)
    return kept.unpacked(data, columns)


def kept_file() -> Path | None:
    """Where the registries are kept for this colour-science and this code, or None."""
    here = Path(__file__)
    return kept.file_for((here, here.with_name("kept.py"), here.parent / "curves" / "usable.py"))
