"""Convert LUT files: to another format, signal range, size or dimension; save a transform."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from numpy.typing import ArrayLike

from lutbench import files
from lutbench.errors import LutbenchError
from lutbench.formats.registry import LutFile, Writing, format_for
from lutbench.model.signal import CODES_10_BIT, RangeChange
from lutbench.model.transforms import Array, Pipeline, Rgb, Transform, steps_of
from lutbench.results import PlainData
from lutbench.tables.lut import (
    UNIT_DOMAIN,
    USUAL_ROWS,
    USUAL_SIZE,
    Interpolation,
    Lut,
    Lut1D,
    Lut3D,
    ShaperLut3D,
)
from lutbench.tables.nodes import greys, sample, sample_1d

if TYPE_CHECKING:
    from lutbench.measure.difference import Spread

AS_GIVEN = RangeChange()


@dataclass(frozen=True)
class ConvertOptions:
    """The settings of a conversion; None leaves the property unchanged."""

    size: int | None = None
    dimensions: int | None = None
    ranges: RangeChange = AS_GIVEN
    interpolation: Interpolation | None = None
    title: str | None = None
    decimals: int | None = 6
    """Digits after the point in a .cube; None writes as many as come back exactly."""


@dataclass(frozen=True)
class ConvertedFile(PlainData):
    """One side of a conversion."""

    file: str
    format: str
    kind: str
    steps: list[str]
    size: int | None
    domain: Annotated[Array | None, tuple[Rgb, Rgb] | None]
    title: str
    notes: tuple[str, ...]

    @classmethod
    def of(cls, name: str, read: LutFile[Transform]) -> ConvertedFile:
        """What the file `name` holds."""
        lut: Any = read.lut
        steps = [step.kind for step in steps_of(lut)]
        size, domain = getattr(lut, "size", None), getattr(lut, "domain", None)
        return cls(name, read.format, lut.kind, steps, size, domain, read.title, read.notes)


@dataclass(frozen=True)
class LossWorst(PlainData):
    """The input with the largest loss."""

    input: Annotated[Array, Rgb]
    wanted: Annotated[Array, Rgb]
    given: Annotated[Array, Rgb]


@dataclass(frozen=True)
class Loss(PlainData):
    """The difference between the file as read back and the original."""

    inputs: int
    code_10bit: Spread
    worst: LossWorst


@dataclass(frozen=True)
class Converted:
    """The result of a conversion, not yet written.

    `wanted` is the exact transform, `read_back` what the bytes `data` hold when read again;
    `domain`, shape (2, 3), is the range of inputs of both.
    """

    data: bytes
    format: str
    wanted: Transform
    read_back: LutFile[Transform]
    domain: Array
    notes: tuple[str, ...]

    @property
    def loss(self) -> Loss:
        """How far the file as read back is from the original, over the inputs of `difference`."""
        from lutbench.measure.difference import Spread

        points, difference = self.difference()
        codes = np.abs(difference).max(axis=-1) * CODES_10_BIT
        at = points[int(codes.argmax())]
        worst = LossWorst(at, self.wanted.apply(at), self.read_back.lut.apply(at))
        return Loss(len(points), Spread.of(codes), worst)

    def difference(self, count: int = 20_000) -> tuple[Array, Array]:
        """Test inputs in the domain, and read-back minus wanted outputs; shape (n, 3) each.

        The inputs are a coarse lattice, every 10-bit code on the neutral axis, and `count`
        random points (always the same).

        Raises
        ------
        LutbenchError
            When an output is not finite.
        """
        low, high = self.domain
        rng = np.random.default_rng(18)
        coarse = np.stack(np.meshgrid(*[np.linspace(0, 1, 9)] * 3, indexing="ij"), axis=-1)
        ramp = greys(np.linspace(0, 1, 1024))
        points = np.concatenate([coarse.reshape(-1, 3), ramp, rng.random((count, 3))])
        points = low + points * (high - low)
        with np.errstate(over="ignore", invalid="ignore"):  # raised just below
            wanted, given = self.wanted.apply(points), self.read_back.lut.apply(points)
        if not (np.isfinite(wanted).all() and np.isfinite(given).all()):
            raise LutbenchError(
                "the transform gives NaN or infinity for inputs of its domain",
                accepted="finite outputs",
            )
        return points, np.asarray(given - wanted)


def convert(source: LutFile[Transform], path: str | Path, options: ConvertOptions) -> Converted:
    """`source` in the format that the suffix of `path` names; nothing is written.

    Raises
    ------
    LutbenchError
        When the format cannot hold it: a CDL file holds only a CDL, a 1D LUT no channels
        that act on each other.
    """
    form = format_for(path)
    transform = source.lut.with_interpolation(options.interpolation)
    steps = (*options.ranges.before, *steps_of(transform), *options.ranges.after)
    wanted = steps[0] if len(steps) == 1 else Pipeline(steps)
    domain = _domain(transform, options.ranges)
    held = wanted
    if form.tables_only or options.size is not None or options.dimensions is not None:
        held = _as_lut(transform, wanted, domain, options)
    interpolation = _interpolation(held) if form.tables_only else options.interpolation
    how = Writing(
        title=source.title if options.title is None else options.title,
        comments=source.comments,
        size=options.size or USUAL_SIZE,
        domain=domain,
        interpolation=interpolation or "tetrahedral",
        decimals=options.decimals,
        where=str(path),
    )
    data, notes = form.write(held, how)
    back = form.parse(data, str(path), None)
    if form.tables_only:
        # The file cannot say how to interpolate; here it is as was asked for.
        back = replace(back, lut=back.lut.with_interpolation(how.interpolation))
        if not isinstance(transform, Lut):
            notes += ("sampled; inputs outside the domain are clamped",)
        if isinstance(held, Lut3D | ShaperLut3D) and how.interpolation != "tetrahedral":
            notes += (f"a {form.suffix} does not say how to interpolate: its reader decides",)
    return Converted(data, form.name, wanted, back, domain, notes)


def _interpolation(lut: Any) -> Interpolation:
    if isinstance(lut, ShaperLut3D):
        return lut.lut.interpolation
    return lut.interpolation if isinstance(lut, Lut3D) else "tetrahedral"


def _domain(transform: Transform, ranges: RangeChange) -> Array:
    """The range of inputs of the result: that of the LUT, or 0..1; shape (2, 3)."""
    if isinstance(transform, Lut) and not ranges.before:
        return transform.domain
    return np.array(UNIT_DOMAIN)


def _as_lut(transform: Transform, wanted: Transform, domain: Array, options: ConvertOptions) -> Lut:
    """The LUT for a table format: the same one if nothing changes, else sampled."""
    is_1d = isinstance(transform, Lut1D)
    dimensions = options.dimensions or (1 if is_1d else 3)
    same_form = isinstance(transform, Lut1D if dimensions == 1 else Lut3D | ShaperLut3D)
    same_size = same_form and options.size in (None, getattr(transform, "size", None))
    unchanged = not options.ranges.before and not options.ranges.after
    if same_size and unchanged:
        assert isinstance(transform, Lut)
        return transform
    size = options.size or (transform.size if same_form else None)  # type: ignore[attr-defined]
    if dimensions == 1:
        return sample_1d(wanted, size or USUAL_ROWS, domain=domain)
    interpolation = _interpolation(transform)
    if isinstance(transform, ShaperLut3D):
        return _with_shaper(transform, domain, options, size or transform.size)
    return sample(wanted, size or USUAL_SIZE, domain=domain, interpolation=interpolation)


def _with_shaper(
    lut: ShaperLut3D, domain: ArrayLike, options: ConvertOptions, size: int
) -> ShaperLut3D:
    """A LUT whose shaper and lattice are converted separately, so that the shaper is kept."""
    ranges = options.ranges
    shaper = lut.shaper
    if ranges.before:
        before = Pipeline((*ranges.before, shaper))
        shaper = sample_1d(before, max(shaper.size, USUAL_ROWS), domain=domain)
    after = Pipeline((lut.lut, *ranges.after)) if ranges.after else lut.lut
    inner = sample(after, size, domain=lut.lut.domain, interpolation=lut.lut.interpolation)
    return ShaperLut3D(shaper, inner)


def save(transform: Transform, path: str | Path, *, force: bool = False) -> Transform:
    """Write a transform, and return it as it reads back from the file.

    Raises LutbenchError when the format cannot hold it, or the file cannot be written.
    """
    if not isinstance(path, str | Path):
        raise LutbenchError(f"{path!r:.60} is not a path", accepted="a file name")
    title = getattr(transform, "title", "")
    converted = convert(LutFile(transform, "", title=title), path, ConvertOptions())
    files.write_bytes(path, converted.data, force=force)
    return converted.read_back.lut
