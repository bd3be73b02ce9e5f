"""Write the Common LUT Format: with its operators where it has them, else sampled.

Source: Academy S-2014-006 (Common LUT Format 3.0; from memory). `_Writer.exactly` says
which step becomes which operator. A step without an operator is sampled: into a 1D LUT
if it treats each channel separately (behind a root if its input is light); otherwise the
whole pipeline becomes one 3D LUT.
"""

from __future__ import annotations

import hashlib
import math
import uuid

import numpy as np
from numpy.typing import ArrayLike

from lutbench.errors import FormatError
from lutbench.formats import safe_xml as xml
from lutbench.formats.clf_nodes import NodeMaker, Nodes
from lutbench.formats.clf_read import parse_clf
from lutbench.formats.comments import exact_signature, unsigned
from lutbench.formats.operators import Channels, Exponent, HalfLut1D, Log, Range
from lutbench.formats.registry import Writing
from lutbench.model.curves.base import Curve, Decode, Encode
from lutbench.model.curves.log import AcesCct, CameraLog, PrintingDensity
from lutbench.model.curves.video import Bt709, Bt1886, Linear, Power, Srgb
from lutbench.model.grade import Cdl, CdlInverse, Exposure, Saturation
from lutbench.model.signal import RangeFromSignal, SignalFromRange
from lutbench.model.tone import ToneInverse, ToneMapper
from lutbench.model.transforms import Array, Clamp, Matrix, Pipeline, Transform, steps_of
from lutbench.tables.lut import (
    UNIT_DOMAIN,
    USUAL_SIZE,
    Interpolation,
    Lut1D,
    Lut3D,
    ShaperLut3D,
    lattice,
)
from lutbench.tables.nodes import greys
from lutbench.tables.shaping import greys_off, half_floats, rows_at

NEAR_SIGNAL = 2e-5
"""Signal, a fiftieth of a 10-bit code: the largest error of an operator against its step."""

SAMPLED_1D_SIZES = (4096, 16384, 65536)
"""Rows of a sampled curve: the sizes that are tried in turn."""

SAMPLED_1D_ERROR = 1e-6
"""Relative error, a thousandth of a 10-bit code: the first size below it is used."""

_LIGHT_SHAPER = Exponent(6.0, None, "mirror", forward=False)
"""Light is sampled behind its sixth root: equal steps of that are about equal steps in stops, and
include zero and negative values."""


def format_clf(
    transform: Transform,
    *,
    title: str = "",
    comments: tuple[str, ...] = (),
    size: int = USUAL_SIZE,
    domain: ArrayLike = UNIT_DOMAIN,
    interpolation: Interpolation = "tetrahedral",
) -> tuple[bytes, tuple[str, ...]]:
    """The bytes of a CLF file with `transform`, and notes on what is not exact in it.

    `size` is that of a 3D LUT, if one has to be sampled; `domain` is the range of inputs
    for which sampled parts are right.

    Raises
    ------
    FormatError
        When the domain is empty.
    MissingExtraError
        When colour-clf-io is not installed.
    """
    writer = _Writer(transform, np.asarray(domain, float), size, interpolation)
    return writer.write(title, comments)


def write_as_clf(transform: Transform, how: Writing) -> tuple[bytes, tuple[str, ...]]:
    """As `format_clf`, with the settings of a `Writing` and a checksum of the steps."""
    domain = np.asarray(how.domain, float)
    try:
        writer = _Writer(transform, domain, how.size, how.interpolation)
        return writer.write(how.title, how.comments, signed=True)
    except FormatError as error:
        raise FormatError(error.what, where=how.where, accepted=error.accepted) from error


class _Writer(NodeMaker):
    def __init__(
        self, transform: Transform, domain: Array, size: int, interpolation: Interpolation
    ) -> None:
        super().__init__(half=any(isinstance(step, HalfLut1D) for step in steps_of(transform)))
        self.transform = transform
        self.size = size
        self.interpolation = interpolation
        self.domain = np.broadcast_to(domain.reshape(2, -1), (2, 3))
        self.notes: list[str] = []

    def write(
        self, title: str, comments: tuple[str, ...], *, signed: bool = False
    ) -> tuple[bytes, tuple[str, ...]]:
        steps = steps_of(self.transform)
        nodes = self._nodes(steps)
        if nodes is None:
            nodes = self._sampled_3d()
        if not nodes:
            nodes = [self._matrix(np.eye(3))]
        clf = self.clf
        process_list = clf.ProcessList(
            id="",
            compatible_CLF_version="3.0",
            name=xml.fit(title) or None,
            inverse_of=None,
            description=[xml.fit(line) for line in unsigned(comments) if line.strip()],
            input_descriptor=None,
            output_descriptor=None,
            process_nodes=nodes,
            info=None,
        )
        content = xml.serialised(process_list.to_xml(clf.parsing.Namespaces.AMPAS))
        if signed:
            # The checksum is that of the numbers as read back, which differ in float64.
            read = parse_clf(content, "what was written").lut
            process_list.description.append(exact_signature(steps_of(read)))
            content = xml.serialised(process_list.to_xml(clf.parsing.Namespaces.AMPAS))
        # The id depends on the content only.
        digest = hashlib.sha256(content).hexdigest()
        process_list.id = f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_OID, digest)}"
        return xml.serialised(process_list.to_xml(clf.parsing.Namespaces.AMPAS)), tuple(self.notes)

    def _nodes(self, steps: tuple[Transform, ...]) -> Nodes | None:
        """The operators of all steps; None when one of them has to be sampled in 3D."""
        nodes: Nodes = []
        values = self._probes()
        run: list[Transform] = []  # steps that are to be sampled together in 1D
        into_run = values
        for step in steps:
            exact = self.exactly(step, values)
            if exact is None and not _by_channel(step):
                return None
            if exact is None:
                into_run = into_run if run else values
                run.append(step)
            else:
                nodes += self._sampled_1d(run, into_run)
                run = []
                nodes += exact
            values = np.asarray(step.apply(values), np.float64)
        return nodes + self._sampled_1d(run, into_run)

    def _probes(self) -> Array:
        """Inputs over the domain with its extremes, shape (n, 3)."""
        ramp = np.linspace(self.domain[0], self.domain[1], 513)
        return np.concatenate([lattice(9, self.domain).reshape(-1, 3), ramp])

    # Steps that the format has an operator for

    def exactly(self, step: Transform, values: Array) -> Nodes | None:
        """The operators of one step for the inputs `values`; None if the format has none."""
        match step:
            case Matrix():
                return [self._matrix(step.array, step.offset)]
            case Exposure():
                return [self._matrix(np.eye(3) * 2.0**step.stops)]
            case Saturation():
                luma = np.tile(np.array(step.weights) * (1 - step.amount), (3, 1))
                return [self._matrix(luma + step.amount * np.eye(3))]
            case Clamp():
                low, high = (v if np.isfinite(v) else None for v in (step.low, step.high))
                return [] if low is high is None else [self._range(Range(low, high, low, high))]
            case Cdl():
                return [self._cdl(step, "Fwd")]
            case CdlInverse():
                return [self._cdl(step.cdl, "Rev")]
            case SignalFromRange() | RangeFromSignal():
                low, high = step.apply(np.array([[0.0] * 3, [1.0] * 3]))[:, 0].tolist()
                return [self._range(Range(0.0, 1.0, low, high, clamp=False))]
            case Decode():
                return self._curve(step.curve, False, values)
            case Encode():
                return self._curve(step.curve, True, values)
            case Range():
                return [self._range(step)]
            case Log() | Exponent() | Channels():
                return [self._by_channel(step)]
            case Lut1D():
                return [*self._onto_unit(step.domain), self._lut_1d(step.table)]
            case Lut3D():
                return [*self._onto_unit(step.domain), self._lut_3d(step)]
            case ShaperLut3D():
                return [*(self.exactly(step.shaper, values) or []), *self._lut_nodes(step.lut)]
            case HalfLut1D():
                return [self._lut_1d(step.table, half_domain=True)]
            case _:
                return None

    def _curve(self, curve: Curve, encode: bool, values: Array) -> Nodes | None:
        """The operators of a curve; None if none is near enough."""
        match curve:
            case Linear():
                return []
            case Power():
                return [self._by_channel(Exponent(curve.gamma, None, "mirror", not encode))]
            case Bt1886():
                return self._bt1886(curve, encode)
            case AcesCct():
                log = Log(2.0, 1 / 17.52, 9.72 / 17.52, 1.0, 0.0, curve.LIGHT_BREAK, curve.SLOPE)
                return [self._by_channel(log if encode else log.inverse())]
            case CameraLog():
                log = _camera_log(curve)
                return [self._by_channel(log if encode else log.inverse())]
            case PrintingDensity():
                return self._printing_density(curve, encode)
            case Srgb():
                return self._near(Exponent(2.4, 0.055, forward=not encode), curve, encode, values)
            case Bt709():
                power = Exponent(1 / 0.45, curve.alpha - 1, forward=not encode)
                return self._near(power, curve, encode, values)
            case _:
                return None

    def _near(self, operator: Exponent, curve: Curve, encode: bool, values: Array) -> Nodes | None:
        """The operator that the format names for a curve, if it is within `NEAR_SIGNAL` of it."""
        grid = np.union1d(np.linspace(values.min(), values.max(), 20001), [0.0])
        error = np.abs((curve.encode if encode else curve.decode)(grid) - operator._apply(grid))
        if error.max() > NEAR_SIGNAL:
            return None
        self.notes.append(
            f"{curve.name} {'encoding' if encode else 'decoding'}: as the format's monitor curve, "
            f"within {_figure(error.max(), 2)}"
        )
        return [self._by_channel(operator)]

    def _bt1886(self, curve: Bt1886, encode: bool) -> Nodes:
        if curve.black == 0:
            return [self._by_channel(Exponent(2.4, None, "mirror", not encode))]
        a, b = curve.gain_and_lift
        unit = np.eye(3)
        if encode:
            power = self._by_channel(Exponent(2.4, None, "plain", forward=False))
            return [self._matrix(unit / a), power, self._matrix(unit, [-b] * 3)]
        power = self._by_channel(Exponent(2.4, None, "plain", forward=True))
        return [self._matrix(unit, [b] * 3), power, self._matrix(unit * a)]

    def _printing_density(self, curve: PrintingDensity, encode: bool) -> Nodes:
        per_decade = curve.gamma / curve.DENSITY_PER_CODE
        offset = float(10 ** ((curve.black - curve.white) / per_decade))
        log = Log(10.0, per_decade / 1023, curve.white / 1023, 1 - offset, offset)
        if not encode:
            return [self._by_channel(log.inverse())]
        # The curve clamps the argument of its logarithm to 1e-6, the format only to above zero.
        floor = (1e-6 - offset) / (1 - offset)
        return [self._range(Range(floor, None, floor, None)), self._by_channel(log)]

    # Steps that have to be sampled

    def _sampled_1d(self, run: list[Transform], values: Array) -> Nodes:
        """One 1D LUT for steps that treat each channel separately, over the range of `values`."""
        if not run:
            return []
        low, high = float(values.min()), float(values.max())
        if not low < high:
            low, high = low - 0.5, low + 0.5
        shapers: list[Transform] = []
        before: Nodes = []
        ends = np.array([low, high])
        if not isinstance(run[0], Decode | Lut1D):
            shapers, before = [_LIGHT_SHAPER], [self._by_channel(_LIGHT_SHAPER)]
            ends = _LIGHT_SHAPER._apply(ends)
        if ends.tolist() != [0.0, 1.0]:
            shapers.append(Range(float(ends[0]), float(ends[1]), 0.0, 1.0))
            before += self._onto_unit(greys(ends))
        back = Pipeline(tuple(shapers)).inverse()

        def wanted(at: Array) -> Array:
            rgb = back.apply(greys(at))
            for step in run:
                rgb = np.asarray(step.apply(rgb), np.float64)
            return rgb

        for size in SAMPLED_1D_SIZES:
            table = wanted(np.linspace(0, 1, size))
            between = (np.arange(size - 1) + 0.5) / (size - 1)
            error = np.abs((table[1:] + table[:-1]) / 2 - wanted(between))
            relative = (error / np.maximum(np.abs(table).max(), 1.0)).max()
            if relative <= SAMPLED_1D_ERROR:
                break
        self.notes.append(
            f"{', then '.join(map(_words, run))}: sampled in a 1D LUT of {size} rows, "
            f"within {_figure(error.max(), 2)}, for inputs {_figure(low, 4)} to {_figure(high, 4)}"
        )
        return [*before, self._lut_1d(table)]

    def _sampled_3d(self) -> Nodes:
        low, high = self.domain
        if not (low < high).all():
            raise FormatError("the domain is empty", accepted="a minimum under the maximum")
        self.notes = [f"sampled as a whole in a 3D LUT of size {self.size}"]
        if self._takes_light():
            inputs = half_floats(self.domain[0].min(), self.domain[1].max())
            if len(inputs) >= self.size:
                return self._behind_half_floats(inputs)
        table = self.transform.apply(lattice(self.size, self.domain))
        lut = Lut3D(table, self.domain, interpolation=self.interpolation)
        return self._lut_nodes(lut)

    def _takes_light(self) -> bool:
        """Whether the input is linear light, for which equal steps are too coarse in the dark."""
        first = steps_of(self.transform)[0]
        return isinstance(first, Decode) and isinstance(first.curve, Linear)

    def _behind_half_floats(self, inputs: Array) -> Nodes:
        """A 1D LUT with a row for each half float, fitted to the transform, and a 3D LUT."""
        rows = rows_at(inputs, self.transform, Decode(Linear()), self.size)
        axis = np.interp(np.linspace(0, 1, self.size), rows, inputs)
        grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
        lut = Lut3D(self.transform.apply(grid), interpolation=self.interpolation)
        shaper = HalfLut1D.through(inputs, rows)
        off = greys_off(Pipeline((shaper, lut)), self.transform, Decode(Linear()), inputs)
        self.notes[0] += (
            f" behind a 1D LUT over half floats, for light of {inputs[0]:g} to {inputs[-1]:g}: "
            f"greys from -10 to +6 stops around mid grey are within {off:.2f} 10-bit codes"
        )
        # Only the input has 16 bits; between the shaper and the lattice numbers stay exact.
        return [self._lut_1d(shaper.table, half_domain=True), *self._lut_nodes(lut)]


def _words(step: Transform) -> str:
    """What a step that is sampled does, in a few words."""
    tone = step.tone if isinstance(step, ToneInverse) else step
    if isinstance(tone, ToneMapper):
        return f"tone {tone.method}{' undone' if tone is not step else ''}"
    if isinstance(step, Decode | Encode):
        return f"{step.curve.name} {'decoding' if isinstance(step, Decode) else 'encoding'}"
    return "1D LUT" if isinstance(step, Lut1D) else repr(step)


def _by_channel(step: Transform) -> bool:
    """Whether a step treats each channel separately."""
    tone = step.tone if isinstance(step, ToneInverse) else step
    if isinstance(tone, ToneMapper):
        return tone.per_channel
    return isinstance(step, Decode | Encode | Lut1D)


def _camera_log(curve: CameraLog) -> Log:
    # In base 2, which every reader supports; the slope makes up for it.
    slope = curve.log_side_slope / math.log2(curve.base)
    return Log(
        2.0,
        slope,
        curve.log_side_offset,
        curve.lin_side_slope,
        curve.lin_side_offset,
        curve.toe_end,
        curve.linear_slope,
    )


def _figure(value: float, digits: int) -> str:
    """A number to so many digits, without exponent, with a minus sign.

    >>> _figure(1.1e-7, 2), _figure(-157.1, 4), _figure(65504.0, 4)
    ('0.00000011', '−157.1', '65500')
    """
    text = np.format_float_positional(value, precision=digits, fractional=False, trim="-")
    return text.replace("-", "−")
