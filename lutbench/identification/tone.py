"""The tone of a LUT: where mid grey lands, contrast, roll-off, white, and the curve as a table."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import LutbenchError
from lutbench.identification.common import GREYS, SIX_DECIMALS
from lutbench.identification.curvebank import scale_of
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.result import Identification, Tone
from lutbench.identification.rising import rising_run
from lutbench.identification.samples import CODES, NOISE, Samples
from lutbench.model.curves.base import MID_GREY
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.grade import Saturation
from lutbench.model.interpolation import Pchip
from lutbench.model.signal import code_from_signal
from lutbench.model.transforms import Array, Matrix

ROLL_OFF = 0.95
"""As in an inspection: a stop that gains less than this share of the steepest one rolls off."""

CLIP_STOPS = 0.55
"""White so near after the roll-off is a clip: a stop, half to either side, reaches into it."""

FINE = 48
"""Steps to a stop in which roll-off and white are looked for."""

BETWEEN = 4
"""Points of the table per step of the lattice."""

NEAR = 20 / CODES
"""Full-scale value within which coloured nodes must lie near the curve of the greys."""

REACHED = 1 / CODES
"""Signal below the highest at which it counts as reached: one 10-bit code."""


def tone_of(hypothesis: Hypothesis, samples: Samples, *, dense: bool = True) -> Tone | None:
    """The tone of the grey scale, including a look; None where it does not rise.

    `dense` is whether coloured nodes help, as they do where there is no look.
    """
    table = tone_table(hypothesis, samples, dense=dense)
    if table is None:
        return None
    low, span = scale_of(hypothesis.target.range)
    top = float(((samples.neutral.mean(axis=1) - low) / span).max())
    black = float(_grey(np.array([0.0]), hypothesis, samples)[0])
    recorded = float(hypothesis.source.decode(np.array(samples.neutral_in[-1])))
    stops = np.arange(-8 * FINE, 16 * FINE + 1) / FINE
    stops = stops[MID_GREY * 2.0**stops <= recorded * (1 + 1e-9)]
    grey = float(np.clip(table.encode(MID_GREY), 0, 1))
    around = np.clip(table.encode(MID_GREY * 2.0 ** np.array([-0.5, 0.5])), black, top)
    signal = np.clip(table.encode(MID_GREY * 2.0**stops), min(black, top), top)
    roll_off, white = _roll_off(stops, signal), _white(stops, signal, top)
    if roll_off is not None and white is not None and white - roll_off <= CLIP_STOPS:
        # A window of one stop reaches into a clip: this is no roll-off before it.
        roll_off = None
    return Tone(
        plain=not hypothesis.has_tone,
        grey_signal=grey,
        grey_code=int(code_from_signal(grey, 10, hypothesis.target.range)),
        signal_per_stop=float(around[1] - around[0]),
        contrast=_contrast(hypothesis, table),
        roll_off_stops=roll_off,
        white_stops=white,
        white_signal=top,
        black_signal=black,
        curve=tuple(zip(table.light, table.signal, strict=True)),
    )


def _contrast(hypothesis: Hypothesis, table: Tabulated) -> float | None:
    end = hypothesis.target_end
    if end is None:
        return None
    ends = table.encode(MID_GREY * 2.0 ** np.array([-0.25, 0.25]))
    light = end.curve.curve.decode(ends)
    if not (light > 0).all():
        return None
    return float(2 * np.diff(np.log2(light))[0])


def _roll_off(stops: Array, signal: Array) -> float | None:
    """The first point above the steepest stop where a stop gains less than `ROLL_OFF` of it."""
    if len(stops) <= FINE:
        return None
    gains = signal[FINE:] - signal[:-FINE]
    steepest = int(np.argmax(gains))
    after = np.flatnonzero(gains[steepest:] < ROLL_OFF * gains[steepest])
    if not len(after):
        return None
    # A gain belongs to the middle of its stop.
    return float(stops[steepest + after[0]] + 0.5)


def _white(stops: Array, signal: Array, top: float) -> float | None:
    there = np.flatnonzero(signal >= top - REACHED)
    if not len(there) or there[0] == len(stops) - 1:
        return None
    return float(stops[there[0]])


def _grey(light: Array, hypothesis: Hypothesis, samples: Samples) -> Array:
    """The LUT's signal for greys of some light, shape (n,)."""
    low, span = scale_of(hypothesis.target.range)
    places = hypothesis.source.encode(light)
    neutral = (samples.neutral.mean(axis=1) - low) / span
    return np.asarray(np.interp(places, samples.neutral_in, neutral))


def tone_table(hypothesis: Hypothesis, samples: Samples, *, dense: bool = True) -> Tabulated | None:
    """Source light to signal as a table; None where the grey scale does not rise.

    The grey nodes of the LUT give it; with `dense` coloured nodes, whose channels
    fall between those, fill it in.
    """
    run = rising_run(samples)
    if run is None:
        return None
    low, span = scale_of(hypothesis.target.range)
    places = samples.neutral_in[run]
    signal = (samples.neutral[run].mean(axis=1) - low) / span
    keep = _rising(signal)
    places, signal = places[keep], signal[keep]
    if len(places) < GREYS:
        return None
    if dense:
        places, signal = _filled(places, signal, hypothesis, samples)
    places, signal = _with_corners(places, signal, hypothesis, samples)
    light = hypothesis.source.decode(places)
    keep = _rising(light) & _rising(signal)
    light, signal = _past_plateaus(light[keep], signal[keep], samples, hypothesis)
    try:
        return Tabulated("tone curve", tuple(light.tolist()), tuple(signal.tolist()))
    except LutbenchError:
        return None


def _rising(values: Array) -> NDArray[np.bool_]:
    """Which values to keep so that each is above all before it."""
    highest = np.maximum.accumulate(values)
    keep = np.ones(len(values), dtype=bool)
    keep[1:] = values[1:] > highest[:-1] + 1e-10
    return keep


def _filled(
    places: Array, signal: Array, hypothesis: Hypothesis, samples: Samples
) -> tuple[Array, Array]:
    """The table with additional points between the grey nodes, from coloured nodes."""
    found = _scattered(hypothesis, samples)
    if found is None:
        return places, signal
    u, y = found
    through = Pchip(places, signal)

    def smooth(x: Array) -> Array:
        # Beyond its ends the grey scale goes on straight.
        inner = np.clip(x, places[0], places[-1])
        slopes = through.slope(places[[0, -1]])
        return np.asarray(
            through(inner)
            + np.minimum(x - places[0], 0) * slopes[0]
            + np.maximum(x - places[-1], 0) * slopes[1]
        )

    step = float(np.median(np.diff(samples.neutral_in))) / BETWEEN
    near = np.abs(y - smooth(u)) < NEAR
    if not near.any():
        return places, signal
    u, y = u[near], y[near]
    number = np.round(u / step).astype(np.int64)
    order = np.argsort(number, kind="stable")
    bins, first = np.unique(number[order], return_index=True)
    off = y - smooth(u)
    more = []
    for place, rows in zip(bins * step, np.split(order, first[1:]), strict=True):
        # A bin on a grey node has nothing to add: the node itself is exact.
        if len(rows) < GREYS or np.abs(places - place).min() <= step / 2:
            continue
        middle = np.median(off[rows])
        if np.median(np.abs(off[rows] - middle)) <= NOISE:
            more.append((place, float(smooth(np.array(place)) + middle)))
    if not more:
        return places, signal
    extra = np.array(more)
    order = np.argsort(np.concatenate([places, extra[:, 0]]), kind="stable")
    return (
        np.concatenate([places, extra[:, 0]])[order],
        np.concatenate([signal, extra[:, 1]])[order],
    )


def _scattered(hypothesis: Hypothesis, samples: Samples) -> tuple[Array, Array] | None:
    """Pairs of the source's full-scale value and the signal out, from coloured nodes."""
    if samples.one_d or not all(isinstance(g, Saturation | Matrix) for g in hypothesis.grade):
        return None
    low, span = scale_of(hypothesis.target.range)
    values = hypothesis.source.decode(samples.nodes)
    light = hypothesis.light(values) / 2.0**hypothesis.stops
    signal = (samples.table - low) / span
    for step in reversed(hypothesis.grade):
        try:
            signal = step.inverse().apply(signal)
        except LutbenchError:
            return None
    good = np.all(samples.inside(samples.table) & (light > 0), axis=-1)
    if good.sum() < GREYS:
        return None
    places, _ = hypothesis.source.values_near(light[good].ravel())
    return places, signal[good].ravel()


def _with_corners(
    places: Array, signal: Array, hypothesis: Hypothesis, samples: Samples
) -> tuple[Array, Array]:
    """The table up to where the LUT's own plateaus begin, between two grey nodes."""
    low, span = scale_of(hypothesis.target.range)
    grey = (samples.neutral.mean(axis=1) - low) / span
    for end, limit in ((-1, float(grey.max())), (0, float(grey.min()))):
        inner = -2 if end else 1
        slope = (signal[end] - signal[inner]) / (places[end] - places[inner])
        beyond = samples.neutral_in > places[end] if end else samples.neutral_in < places[end]
        nodes = samples.neutral_in[beyond]
        if not len(nodes) or abs(limit - signal[end]) < SIX_DECIMALS or slope <= 0:
            continue
        corner = places[end] + (limit - signal[end]) / slope
        # The next node is on the plateau already.
        corner = min(corner, float(nodes.max())) if end else max(corner, float(nodes.min()))
        if abs(corner - places[end]) < 1e-9:
            continue
        at = len(places) if end else 0
        places, signal = np.insert(places, at, corner), np.insert(signal, at, limit)
    return places, signal


def _past_plateaus(
    light: Array, signal: Array, samples: Samples, hypothesis: Hypothesis
) -> tuple[Array, Array]:
    """Rows that hold a plateau which clipping to 0..1 would not."""
    low, span = scale_of(hypothesis.target.range)
    grey = (samples.neutral.mean(axis=1) - low) / span
    flat_top = np.sum(grey > grey.max() - REACHED) > 1
    flat_bottom = np.sum(grey < grey.min() + REACHED) > 1
    if flat_top and signal[-1] < 1 - REACHED:
        light, signal = (
            np.append(light, 8 * light[-1] + 1),
            np.append(signal, signal[-1] + SIX_DECIMALS),
        )
    if flat_bottom and signal[0] > REACHED:
        light, signal = (
            np.append(-1.0 + min(light[0], 0), light),
            np.append(signal[0] - SIX_DECIMALS, signal),
        )
    return light, signal


def tone_csv(tone: Tone, result: Identification) -> str:
    """The table as a CSV file that a curve of kind ``table`` in definitions reads.

    It takes source light to signal, exposure included, so that a conversion with
    it as target curve and no exposure gives the LUT back.
    """
    best = result.best
    of = f" of {best.source.curve}" if best is not None else ""
    rows = [f"{light:.9g},{signal:.8f}" for light, signal in tone.curve]
    return "\n".join([f"# scene light{of} to signal, exposure included", "light,signal", *rows, ""])
