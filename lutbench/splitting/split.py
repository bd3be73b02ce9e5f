"""Split: a LUT into its gamut part, its curve part and the look that remains."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.given import one_of, texts
from lutbench.identification import identify
from lutbench.identification.look import view_for
from lutbench.identification.result import Identification
from lutbench.measure.delta_e import View
from lutbench.measure.difference import Spread, measure
from lutbench.measure.samples import SampledColours, chart_patches, neutral_ramp, random_points
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Conversion
from lutbench.model.grade import Cdl
from lutbench.model.transforms import Array, Pipeline, Transform, plain
from lutbench.results import Result
from lutbench.splitting.clean import Tasks, clean_conversion, description_of, noise_of, parted
from lutbench.splitting.frame import LARGEST, MOST, Frame
from lutbench.splitting.look import Compared, LookPart, look_between, on_full_scale
from lutbench.tables.lut import Lut, Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import sample_1d

Part = Literal["curve", "gamut", "look"]
PARTS: tuple[Part, ...] = get_args(Part)

ROWS = (4096, 16384, 65536)
"""The sizes of a curve part that are tried; the first that is accurate enough is used."""

CURVE_ERROR = 0.05
"""10-bit codes of error half-way between rows, 99th percentile, up to which a size is enough."""


@dataclass(frozen=True, eq=False, repr=False)
class Split(Result):
    """The parts of a LUT, in the order in which they act: gamut, curve, look.

    Parameters
    ----------
    gamut
        Converts the gamut and keeps the source's curve. Values beyond 0..1 that matter to
        the curve part are not clipped.
    curve_1d
        Tone, exposure and range, from the source's curve to the target's.
    look
        Acts on the output signal; the identity where the LUT has no look.
    cdl
        The ASC CDL that explains the look, on the output signal; None where none does.
    conversion
        Gamut and curve as a description.
    error
        Of the three chained again against the LUT, by set of test colours (``nodes``:
        the LUT's own nodes, ``chart``, ``neutral``, ``random``: between them) and
        measure (``delta_e_2000``, ``delta_e_itp``, ``code_10bit``).
    own_error
        Of the LUT itself between its nodes, against the conversion (and the CDL) that
        it samples, likewise; empty where a look without parameters leaves it unknown.
    measure
        The measure to judge by: ``delta_e_2000``, or ``delta_e_itp`` for HDR and log.
    recipe
        A recipe that gives the LUT to its rounding, with the settings of its tone,
        compression, white balance and grade; else None.
    """

    gamut: Lut3D | ShaperLut3D
    curve_1d: Lut1D
    look: Lut3D
    cdl: Cdl | None
    conversion: Conversion
    identification: Identification
    error: dict[str, dict[str, Spread]]
    own_error: dict[str, dict[str, Spread]]
    measure: str
    frame: Frame = field(repr=False)
    recipe: Conversion | None = None

    @property
    def description(self) -> Conversion:
        """The recipe where it is known, else gamut and curve."""
        return self.conversion if self.recipe is None else self.recipe

    @property
    def tasks(self) -> Tasks:
        """The gamut part and the curve part as descriptions."""
        return Tasks.of(self.conversion)

    def chained(self) -> Pipeline:
        """The three parts, one after the other."""
        return self.gamut | self.curve_1d | self.look

    @property
    def curve_3d(self) -> Lut3D | ShaperLut3D:
        """The curve part as a 3D LUT, for a device that loads only 3D LUTs."""
        return self.frame.sampled(self.tasks.curve.pipeline(), title="curve part")

    def kept(self, parts: Collection[Part]) -> Lut:
        """A LUT with some of the parts, for use on its own.

        - ``{"gamut"}``: the gamut with the source's curve left as it was, clipped to 0..1;
        - ``{"curve"}``: tone, exposure and range without gamut or look;
        - ``{"look"}``: the look on the output signal;
        - ``{"gamut", "curve"}``: the LUT without its look, the clean conversion;
        - ``{"curve", "look"}``: the LUT without its conversion of the gamut.

        Of the size, domain and shaper of the LUT that was split; 1D where that was and
        no gamut or look is kept.

        Raises
        ------
        LutbenchError
            For no parts or all, and for gamut and look where a curve stands between them.
        """
        wanted = check_parts(parts)
        if wanted == {"look"}:
            return self.look
        tasks = self.tasks
        if wanted == {"gamut", "look"} and tasks.converts_tone:
            raise LutbenchError(
                "the look acts on the signal that the curve gives, so it does not fit"
                " the gamut alone",
                accepted="gamut, look, or the curve with either",
            )
        task = {
            frozenset({"gamut"}): tasks.gamut,
            frozenset({"gamut", "look"}): tasks.gamut,
            frozenset({"curve"}): tasks.curve,
            frozenset({"curve", "look"}): tasks.curve,
        }.get(frozenset(wanted), self.conversion)
        alone = "gamut" in wanted and "curve" not in wanted and not tasks.converts_gamut
        transform: Transform = Pipeline() if alone else task.pipeline()
        if "look" in wanted:
            transform = transform | self.look
        title = " and ".join(each for each in ("gamut", "curve", "look") if each in wanted)
        if self.frame.rows and "look" not in wanted and "curve" in wanted:
            return self.frame.curve(transform, title=title)
        return self.frame.sampled(transform, title=title)

    def without_look(self) -> Lut:
        """The clean conversion: the LUT without its look."""
        return self.kept({"curve", "gamut"})

    def to_data(self) -> dict[str, Any]:
        """The report as plain data."""
        return {
            "kind": self.identification.kind,
            "conversion": self.conversion.to_data(),
            "recipe": self.recipe.to_data() if self.recipe else None,
            "confidence": self.identification.confidence,
            "explanation": self.identification.explanation,
            "look": self.identification.look.to_data(),
            "cdl": plain(self.cdl),
            "measure": self.measure,
            "error": _spreads(self.error),
            "own_error": _spreads(self.own_error),
        }


def check_parts(parts: Collection[str]) -> set[str]:
    """The parts, in any letter case. No part, every part and what is none are refused."""
    found = {one_of("part", each, PARTS) for each in texts(parts, "parts")}
    if not found:
        raise LutbenchError("no part is kept", accepted="one or two of " + ", ".join(PARTS))
    if len(found) == len(PARTS):
        raise LutbenchError("every part is kept, so nothing is taken away", accepted="one or two")
    return found


def split(
    lut: Transform,
    *,
    catalogue: Catalogue | None = None,
    identification: Identification | None = None,
) -> Split:
    """The parts of a LUT.

    The conversion is that of the best candidate of `lutbench.identify`; a tone curve
    that has no name is taken from the nodes as a table. The look is what remains: a
    CDL where one explains it, and what no CDL explains fitted to the LUT's own nodes.

    Parameters
    ----------
    lut
        A `Lut1D`, `Lut3D` or `ShaperLut3D`; another transform is sampled over 0..1.
    catalogue
        The curves and gamuts to look among; by default those of `open_catalogue()`.
    identification
        Of the same LUT, where it was made already, with what the user knows.

    Raises
    ------
    LutbenchError
        When no known conversion explains the LUT, so that there is nothing to
        take it apart by.

    >>> import lutbench
    >>> lut = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg",
    ...                      target_gamut="BT.709", size=17)
    >>> parts = lutbench.split(lut)
    >>> parts.conversion.source.curve.name, parts.conversion.target.gamut.name, parts.cdl
    ('ACEScct', 'BT.709', None)
    >>> parts.error["nodes"]["code_10bit"].p95 < 0.5
    True
    >>> parts.kept({"gamut"}).apply([0.4, 0.4, 0.4]).round(6).tolist()
    [0.4, 0.4, 0.4]
    """
    found = identification or identify(lut, catalogue=catalogue)
    recipe = description_of(found, lut, catalogue)
    whole = parted(recipe) or clean_conversion(found, lut)
    frame = Frame.of(lut)
    tasks = Tasks.of(whole)
    gamut = frame.sampled(tasks.open_gamut(frame.outer), size=frame.finer(), title="gamut part")
    curve = _curve_part(tasks, gamut, frame)
    nodes = _thinned(frame.nodes().reshape(-1, 3), MOST)
    given = np.asarray(lut.apply(nodes), dtype=np.float64)
    hypothesis = found.best.hypothesis if found.best else None
    look = look_between(
        Compared(np.asarray((gamut | curve).apply(nodes)), given, whole.target.range),
        grade=hypothesis.grade if hypothesis else (),
        expected=found.look.present,
        noise=noise_of(found, lut),
        clamp=whole.clamp,
    )
    view = view_for(hypothesis)
    chained = gamut | curve | look.lut
    between = _between_nodes(whole, frame)
    own: dict[str, dict[str, Spread]] = {}
    left_out = hypothesis is not None and bool(hypothesis.left_out)
    if (look.cdl or not found.look.present) and not left_out:
        described = whole.pipeline() | on_full_scale(
            (look.cdl,) if look.cdl else (), whole.target.range
        )
        own = _errors(lut, described, between, view)
    error = _errors(lut, chained, [SampledColours("nodes", nodes), *between], view)
    return Split(
        gamut, curve, look.lut, look.cdl, whole, found, error, own, view.measure, frame, recipe
    )


def _curve_part(tasks: Tasks, gamut: Lut3D | ShaperLut3D, frame: Frame) -> Lut1D:
    """The curve part over all that the gamut part gives, in as many rows as it needs."""
    low = min(float(frame.outer[0].min()), float(gamut.table.min()))
    high = max(float(frame.outer[1].max()), float(gamut.table.max()))
    domain = np.array([[low] * 3, [high] * 3])
    if not tasks.converts_tone and not tasks.curve.clamp:
        return Lut1D(domain.copy(), domain, "curve part")
    pipeline = tasks.curve.pipeline()
    for rows in ROWS:
        table = _finite(sample_1d(pipeline, rows, domain=domain).table)
        part = Lut1D(table, domain, "curve part")
        middles = np.repeat(
            low + (high - low) * (np.arange(rows - 1)[:, None] + 0.5) / (rows - 1), 3, 1
        )
        off = np.abs(part.apply(middles) - _finite(pipeline.apply(middles)))
        if np.percentile(off, 99) * 1023 <= CURVE_ERROR:
            break
    return part


def _finite(values: Array) -> Array:
    return np.asarray(np.nan_to_num(values, nan=0.0, posinf=LARGEST, neginf=-LARGEST))


def _thinned(points: Array, most: int) -> Array:
    """At most `most` of the points, the same each time, with both ends."""
    if len(points) <= most:
        return points
    some = np.random.default_rng(2).choice(len(points), most, replace=False)
    return np.asarray(points[np.unique(np.concatenate([some, [0, len(points) - 1]]))])


def _between_nodes(whole: Conversion, frame: Frame) -> list[SampledColours]:
    """Test colours that fall between the nodes of a LUT."""
    sets = [neutral_ramp(domain=frame.outer), random_points(domain=frame.outer)]
    try:
        return [chart_patches(whole.source), *sets]
    except LutbenchError:
        # A source with very little range of light holds no patch.
        return sets


def _errors(
    lut: Transform, other: Transform, sets: list[SampledColours], view: View
) -> dict[str, dict[str, Spread]]:
    return {
        each.name: measure(
            np.asarray(lut.apply(each.signals), dtype=np.float64),
            _finite(np.asarray(other.apply(each.signals), dtype=np.float64)),
            view,
        ).spreads()
        for each in sets
    }


def _spreads(errors: dict[str, dict[str, Spread]]) -> dict[str, Any]:
    return {
        name: {unit: spread.to_data() for unit, spread in spreads.items()}
        for name, spreads in errors.items()
    }


__all__ = ["PARTS", "LookPart", "Part", "Split", "check_parts", "split"]
