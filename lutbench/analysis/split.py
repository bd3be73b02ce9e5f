"""Split: a LUT into its gamut part, its curve part and the look that remains."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from lutbench.analysis.difference import Spread, measure
from lutbench.analysis.identify import identify
from lutbench.analysis.identify.result import Candidate, Identification
from lutbench.analysis.samples import chart_patches, neutral_ramp, random_points
from lutbench.analysis.view import view_of
from lutbench.errors import LutbenchError
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.conversion import Conversion, Encoding, Kind
from lutbench.model.curves.hdr import PqDisplay, PqScene
from lutbench.model.signal import check_range
from lutbench.model.transforms import Array, Clamp, Pipeline, Transform
from lutbench.tables.lut import Lut1D, Lut3D, lattice
from lutbench.tables.sampling import sample, sample_1d

Part = Literal["curve", "gamut", "look"]

CURVE_ROWS = 4096


@dataclass(frozen=True, eq=False)
class Split:
    """The parts of a LUT, in the order in which they act: gamut, curve, look.

    The gamut part converts the gamut and leaves the source's curve; the curve
    part converts tone and range; the look acts on the output signal. `error` is
    of the three chained again against the LUT, by set of test colours (``chart``,
    ``neutral``, ``random``) and measure (``delta_e_2000``, ``code_10bit``).
    """

    gamut: Lut3D
    curve: Lut3D
    curve_1d: Lut1D
    look: Lut3D
    conversion: Conversion
    identification: Identification
    error: dict[str, dict[str, Spread]]

    def chained(self) -> Pipeline:
        """The three parts, one after the other."""
        return self.gamut | self.curve_1d | self.look

    def kept(self, part: Part) -> Lut3D:
        """One part alone as a LUT that stands on its own.

        ``curve`` is the tone without gamut or look, ``gamut`` the gamut with the
        log curve left as it was, ``look`` the look on the output signal.
        """
        return {"curve": self.curve, "gamut": self.gamut, "look": self.look}[part]

    def without_look(self, size: int) -> Lut3D:
        """The clean conversion: the LUT without its look."""
        return sample(self.conversion.pipeline(), size)

    def to_data(self) -> dict[str, Any]:
        """The report as plain data."""
        return {
            "conversion": self.conversion.to_data(),
            "confidence": self.identification.confidence,
            "explanation": self.identification.explanation,
            "look": self.identification.look.to_data(),
            "error": {
                name: {unit: spread.to_data() for unit, spread in spreads.items()}
                for name, spreads in self.error.items()
            },
        }


def split(
    lut: Transform,
    *,
    catalogue: Catalogue | None = None,
    identification: Identification | None = None,
) -> Split:
    """The parts of a LUT.

    The conversion is that of the best candidate of `lutbench.identify`. The look
    is what remains: for each output value of the clean conversion, what the LUT
    gives where the clean conversion gives that value.

    Raises
    ------
    LutbenchError
        When no known conversion explains the LUT, so that there is nothing to
        take it apart by.
    """
    known = catalogue or open_catalogue()
    found = identification or identify(lut, catalogue=known)
    best = found.candidates[0] if found.candidates else None
    if best is None or best.confidence == "none" or best.source.curve is None:
        raise LutbenchError(
            "no known conversion explains this LUT, so it cannot be taken apart",
            accepted="a LUT that `lutbench identify` can name, or more definitions",
        )
    whole = conversion_of(best, found.kind, known)
    size = int(getattr(lut, "size", 33)) if not isinstance(lut, Lut1D) else 33
    size = min(max(size, 33), 65)
    gamut_task, curve_task = _parts_of(whole)
    gamut = sample(gamut_task.pipeline(), size, title="gamut part")
    curve_1d = sample_1d(curve_task.pipeline(), CURVE_ROWS, title="curve part")
    curve = sample(curve_task.pipeline(), size, title="curve part")
    look = _look(lut, whole, size)
    chained = gamut | curve_1d | look
    return Split(gamut, curve, curve_1d, look, whole, found, _error(lut, chained, whole))


def conversion_of(candidate: Candidate, kind: str, catalogue: Catalogue) -> Conversion:
    """The clean conversion that a candidate stands for."""
    source = _encoding(candidate.source, catalogue)
    target = _encoding(candidate.target, catalogue)
    kinds: dict[str, Kind] = {"curve": "curve", "gamut": "gamut"}
    return Conversion(
        source,
        target,
        kinds.get(kind, "combined"),
        candidate.exposure_stops,
        adaptation=candidate.adaptation or "bradford",
    )


def _encoding(side: Any, catalogue: Catalogue) -> Encoding:
    curve = catalogue.curve(side.curve or "linear")
    if side.rendering == "display" and isinstance(curve, PqScene):
        curve = PqDisplay()
    return Encoding(curve, catalogue.gamut(side.gamut or "BT.709"), check_range(side.range))


def _parts_of(whole: Conversion) -> tuple[Conversion, Conversion]:
    """The gamut part (in full-scale source values) and the curve part that follows it."""
    source, target = whole.source, whole.target
    converted = Encoding(source.curve, target.gamut, source.range, source.bits)
    gamut = Conversion(source, converted, "gamut", adaptation=whole.adaptation)
    if whole.kind == "curve":
        same = Encoding(source.curve, source.gamut, source.range, source.bits)
        gamut = Conversion(source, same, "gamut")
    if whole.kind == "gamut":
        end = Encoding(source.curve, target.gamut, target.range, target.bits)
        return gamut, Conversion(converted, end, "curve", whole.exposure)
    return gamut, Conversion(converted, target, "curve", whole.exposure)


def _look(lut: Transform, whole: Conversion, size: int) -> Lut3D:
    """What the LUT makes of each value that the clean conversion gives."""
    wanted = lattice(size)
    free = Conversion(
        whole.source,
        whole.target,
        whole.kind,
        whole.exposure,
        adaptation=whole.adaptation,
        clamp=False,
    ).pipeline()
    with np.errstate(all="ignore"):
        inputs = np.nan_to_num((free.inverse() | Clamp()).apply(wanted))
    # Where an input had to be held inside the table, the clean conversion does
    # not give the wanted value; the change it does show is carried there.
    return Lut3D(wanted + _change(lut, whole, inputs), title="look")


def _change(lut: Transform, whole: Conversion, inputs: Array) -> Array:
    """What the LUT gives beyond the clean conversion at some inputs.

    Taken on the nodes, where a LUT is exact, and interpolated from there: so the
    LUT's own error between its nodes is no part of the look.
    """
    if isinstance(lut, Lut3D):
        change = Lut3D(lut.table - _clean(whole, lut.nodes), lut.domain)
        return np.asarray(change.apply(inputs), dtype=np.float64)
    return np.asarray(lut.apply(inputs), dtype=np.float64) - _clean(whole, inputs)


def _clean(whole: Conversion, inputs: Array) -> Array:
    return np.asarray(whole.pipeline().apply(inputs))


def _error(lut: Transform, chained: Transform, whole: Conversion) -> dict[str, dict[str, Spread]]:
    view = view_of(whole.result)
    return {
        each.name: measure(
            np.asarray(lut.apply(each.signals), dtype=np.float64),
            np.asarray(chained.apply(each.signals), dtype=np.float64),
            view,
        ).spreads()
        for each in (chart_patches(whole.source), neutral_ramp(), random_points())
    }


def recipe_text(split_lut: Split, name: str) -> str:
    """A recipe that builds the nearest clean LUT."""

    def side(key: str, encoding: Encoding) -> str:
        curve = json.dumps(encoding.curve.name, ensure_ascii=False)
        gamut = json.dumps(encoding.gamut.name, ensure_ascii=False)
        return f'[{key}]\ncurve = {curve}\ngamut = {gamut}\nrange = "{encoding.range}"\n'

    task = split_lut.conversion
    return (
        "# The nearest clean conversion of a LUT that was taken apart.\n\n"
        f"{side('source', task.source)}\n{side('target', task.target)}\n"
        f'[gamut]\nadaptation = "{task.adaptation}"\n\n'
        f"[[lut]]\nname = {json.dumps(name, ensure_ascii=False)}\n"
        f'kind = "{task.kind}"\nexposure = {task.exposure:.6g}\n'
    )
