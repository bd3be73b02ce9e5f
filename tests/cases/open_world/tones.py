"""Tone curves from the literature, for scene light (0.18 is mid grey) to display light 0..1."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.interpolate import PchipInterpolator

from open_world.case import Array, Function

GREY = 0.18


def some_tone(rng: np.random.Generator) -> Function:
    """One of the curves, with parameters at random."""
    kind: Callable[[np.random.Generator], Function] = KINDS[int(rng.integers(len(KINDS)))]
    return kind(rng)


def photographic(rng: np.random.Generator) -> Function:
    """ "Photographic tone reproduction for digital images", 2002, equation 4."""
    key, white = rng.uniform(0.8, 1.6), rng.uniform(4, 14)
    return lambda x: _held(x, lambda y: y * key * (1 + y * key / white**2) / (1 + y * key))


def exponential(rng: np.random.Generator) -> Function:
    """1 - exp(-kx): the exposure law in common practice of rendering."""
    k = rng.uniform(0.8, 1.8)
    return lambda x: _held(x, lambda y: 1 - np.exp(-k * y))


def photoreceptor(rng: np.random.Generator) -> Function:
    """x^n / (x^n + s^n): the response of photoreceptors, with grey where it is asked."""
    n, grey = rng.uniform(0.8, 1.35), rng.uniform(0.10, 0.20)
    s = GREY * ((1 - grey) / grey) ** (1 / n)
    return lambda x: _held(x, lambda y: y**n / (y**n + s**n))


def rational(rng: np.random.Generator) -> Function:
    """(x(ax+b)) / (x(cx+d)+e): a fit to a reference rendering that is common in real-time work."""
    a, b = rng.uniform(2.3, 2.7), rng.uniform(0.01, 0.05)
    c, d, e = rng.uniform(2.35, 2.55), rng.uniform(0.5, 0.7), rng.uniform(0.12, 0.18)
    return lambda x: _held(x, lambda y: y * (a * y + b) / (y * (c * y + d) + e))


def rational_with_toe(rng: np.random.Generator) -> Function:
    """((x(Ax+CB)+DE) / (x(Ax+B)+DF)) - E/F over its value at white; common in real-time work."""
    a, b, c = rng.uniform(0.15, 0.25), rng.uniform(0.3, 0.5), rng.uniform(0.05, 0.12)
    d, e, f = 0.20, rng.uniform(0.01, 0.03), 0.30
    white = rng.uniform(8, 14)

    def raw(y: Array) -> Array:
        return ((y * (a * y + c * b) + d * e) / (y * (a * y + b) + d * f)) - e / f

    gain = rng.uniform(1.6, 2.6)
    top = float(raw(np.array(white * gain)))
    return lambda x: _held(x, lambda y: raw(y * gain) / top)


def sigmoid_in_stops(rng: np.random.Generator) -> Function:
    """A logistic curve over the stops, with grey where it is asked."""
    slope, grey = rng.uniform(0.9, 1.3), rng.uniform(0.11, 0.20)
    shift = np.log(grey / (1 - grey))
    return lambda x: _held(
        x,
        lambda y: np.where(
            y > 0,
            1 / (1 + np.exp(-(slope * np.log2(np.maximum(y, 1e-12) / GREY) * np.log(2) + shift))),
            0.0,
        ),
    )


def spline_in_stops(rng: np.random.Generator) -> Function:
    """A monotone spline (scipy's PCHIP) through rising points over the stops."""
    stops = np.array([-14.0, -8, -5, -2.5, 0, 2, 4, 6.5, 12])
    light = np.array([0.0, 0.0003, 0.0035, 0.028, 0.16, 0.42, 0.72, 0.93, 1.0])
    light[1:-1] *= np.exp(rng.normal(0, 0.05, 7))
    curve = PchipInterpolator(stops, np.minimum(light, 1))
    return lambda x: _held(
        x,
        lambda y: np.where(
            y > 0, curve(np.clip(np.log2(np.maximum(y, 1e-9) / GREY), -14, 12)), 0.0
        ),
    )


def _held(x: Array, function: Function) -> Array:
    """The function of light, which is not under zero."""
    return function(np.maximum(np.asarray(x, dtype=float), 0))


KINDS = (
    photographic,
    exponential,
    photoreceptor,
    rational,
    rational_with_toe,
    sigmoid_in_stops,
    spline_in_stops,
)
