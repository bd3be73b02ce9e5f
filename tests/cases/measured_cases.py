"""LUTs with a curve or primaries that nobody registered, and how far what is measured is off.

Curves are parametric logs at random, primaries points near the spectral locus, targets
drawn at random; 33 nodes, six decimals. What such a LUT cannot tell is not asked for:
the scale of light, and, where its own tone curve or one curve at both ends hides it, the
light that is added to all (`affine`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from open_world.case import Array, Function, Step, cube_text, lattice, run
from open_world.ends import Ends, some_ends
from open_world.parametric_log import parametric
from open_world.spaces import D65, gamut_matrix, primaries_of
from open_world.tones import some_tone
from open_world.unregistered_gamut import primaries

from lutbench.formats.cube import parse_cube
from lutbench.identification.measured import Measured

FORMS = (
    "own primaries, gamut alone",
    "own curve, gamut alone",
    "own curve and primaries, gamut alone",
    "own primaries, to a display",
    "own curve, to a display",
    "own curve and primaries, to a display",
    "own primaries, under a tone curve",
    "own curve, under a tone curve",
    "own curve and primaries, under a tone curve",
)

SIZE, DECIMALS = 33, 6


@dataclass(frozen=True)
class MeasuredCase:
    """A LUT's file, the light of its hidden curve by signal, its hidden primaries (3, 2)."""

    text: bytes
    curve: Function | None
    primaries: Array | None
    affine: bool

    @property
    def lut(self) -> object:
        """The LUT that the file's text holds."""
        return parse_cube(self.text, "measured").lut


def case_of(form: str, seed: int) -> MeasuredCase:
    """The case of a form with a seed."""
    rng = np.random.default_rng([FORMS.index(form), seed])
    ends = some_ends(rng, legal=0.0)
    hidden_curve, hidden_gamut = "curve" in form.split(",")[0], "primaries" in form
    curve = parametric(rng) if hidden_curve else None
    space = (primaries(rng), np.array(D65)) if hidden_gamut else primaries_of(ends.source_gamut)
    array = gamut_matrix(space, primaries_of(ends.target_gamut))
    steps = [*_opening(ends, curve), Step("gamut", lambda rgb: rgb @ array.T)]
    if form.endswith("alone"):
        steps.append(_closing(ends, curve))
    else:
        tone = [Step("tone", some_tone(rng))] if form.endswith("tone curve") else []
        steps += [*tone, *ends.closing()]
    rows = np.clip(run(steps, lattice(SIZE)), 0, 1)
    return MeasuredCase(
        cube_text(rows, SIZE, DECIMALS),
        None if curve is None else curve[0],
        space[0] if hidden_gamut else None,
        affine=not form.endswith("to a display"),
    )


def _opening(ends: Ends, curve: tuple[Function, Function] | None) -> Sequence[Step]:
    return ends.opening() if curve is None else [Step("hidden curve", curve[0])]


def _closing(ends: Ends, curve: tuple[Function, Function] | None) -> Step:
    if curve is not None:
        return Step("hidden curve", curve[1])
    same = Ends(ends.source_curve, ends.source_gamut, ends.source_curve, ends.target_gamut)
    return same.closing()[0]


def light_error(case: MeasuredCase, measured: Measured | None) -> float | None:
    """The median error of light, relative, where the LUT shows it within four stops of grey.

    Up to a gain, and up to an added light too where the case is `affine`. None where no
    curve is hidden; infinite where none was measured.
    """
    if case.curve is None:
        return None
    if measured is None or measured.curve is None:
        return float("inf")
    signal = np.linspace(measured.curve.curve.signal[0], measured.curve.curve.signal[-1], 400)
    truth = case.curve(signal)
    inside = (truth > 0.18 / 16) & (truth < 0.18 * 16)
    signal, truth = signal[inside], truth[inside]
    seen = np.asarray(measured.curve.curve.decode(signal))
    parts = np.stack([seen, np.ones_like(seen)], axis=1) if case.affine else seen[:, None]
    factors, *_ = np.linalg.lstsq(parts / truth[:, None], np.ones_like(truth), rcond=None)
    return float(np.median(np.abs(parts @ factors / truth - 1)))


def primaries_error(case: MeasuredCase, measured: Measured | None) -> float | None:
    """The largest distance of a coordinate in xy; None where no primaries are hidden."""
    if case.primaries is None:
        return None
    if measured is None or measured.gamut is None:
        return float("inf")
    return float(np.abs(np.array(measured.gamut.primaries) - case.primaries).max())
