"""The nodes of a CLF file, made with the classes of colour-clf-io."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench import long_work
from lutbench.errors import FormatError, MissingExtraError
from lutbench.foreign import foreign
from lutbench.formats import safe_xml as xml
from lutbench.formats.operators import Channels, Exponent, Log, Range
from lutbench.model.grade import Cdl
from lutbench.model.transforms import Array
from lutbench.tables.lut import UNIT_DOMAIN, Lut3D

Nodes = list[Any]


class NodeMaker:
    """Makes the nodes of one file; with `half` its numbers have 16 bits.

    Raises MissingExtraError when colour-clf-io is not installed.
    """

    def __init__(self, *, half: bool) -> None:
        try:
            clf = foreign("colour_clf_io")
        except ImportError as error:
            raise MissingExtraError("colour-clf-io", "clf", "reading and writing CLF") from error
        self.clf = clf
        self.streamed = _streamed(clf)
        # Both are floating point; a halfDomain LUT needs 16 bits.
        self.depth = clf.BitDepth.f16 if half else clf.BitDepth.f32

    def _common(self) -> dict[str, Any]:
        return {
            "id": None,
            "name": None,
            "in_bit_depth": self.depth,
            "out_bit_depth": self.depth,
            "description": None,
        }

    def _array(self, values: NDArray[Any], dim: tuple[int, ...]) -> Any:
        return self.streamed(values=(values + 0).ravel(), dim=dim)

    def _matrix(self, array: Array, offset: ArrayLike = (0.0, 0.0, 0.0)) -> Any:
        column = np.asarray(offset, float).reshape(3, 1)
        rows = np.hstack([array, column]) if column.any() else array
        return self.clf.Matrix(array=self._array(rows, rows.shape), **self._common())

    def _range(self, step: Range) -> Any:
        styles = self.clf.RangeStyle
        return self.clf.Range(
            min_in_value=step.min_in,
            max_in_value=step.max_in,
            min_out_value=step.min_out,
            max_out_value=step.max_out,
            style=styles.CLAMP if step.clamp else styles.NO_CLAMP,
            **self._common(),
        )

    def _cdl(self, cdl: Cdl, direction: str) -> Any:
        clf = self.clf
        return clf.ASC_CDL(
            style=clf.ASC_CDLStyle(direction + ("" if cdl.clamp else "NoClamp")),
            sopnode=clf.SOPNode(cdl.slope, cdl.offset, cdl.power),
            sat_node=clf.SatNode(cdl.saturation),
            **self._common(),
        )

    def _by_channel(self, step: Log | Exponent | Channels) -> Any:
        """A Log or Exponent node, with one set of parameters or one for each channel."""
        clf = self.clf
        if isinstance(step, Channels):
            pairs = [
                (each, channel)
                for each, channel in zip(step.steps, clf.Channel, strict=True)
                if each is not None
            ]
        else:
            pairs = [(step, None)]
        first = pairs[0][0]
        if isinstance(first, Log):
            style = "LinToLog" if first.forward else "LogToLin"
            has_break = first.lin_side_break is not None
            style = f"camera{style}" if has_break else style[0].lower() + style[1:]
            return clf.Log(
                style=clf.LogStyle(style),
                log_params=[
                    _log_parameters(clf, each, channel)
                    for each, channel in pairs
                    if isinstance(each, Log)
                ],
                **self._common(),
            )
        negative = {"mirror": "Mirror", "pass": "PassThru", "plain": ""}[first.negative]
        style = f"{'basic' if first.offset is None else 'monCurve'}{negative}"
        return clf.Exponent(
            style=clf.ExponentStyle(f"{style}{'Fwd' if first.forward else 'Rev'}"),
            exponent_params=[
                clf.ExponentParams(each.exponent, each.offset, channel)
                for each, channel in pairs
                if isinstance(each, Exponent)
            ],
            **self._common(),
        )

    def _onto_unit(self, domain: Array) -> Nodes:
        """Nodes that scale the domain of a LUT to 0..1, the only domain that CLF LUTs have."""
        if np.array_equal(domain, UNIT_DOMAIN):
            return []
        if (domain == domain[:, :1]).all():
            return [self._range(Range(float(domain[0, 0]), float(domain[1, 0]), 0.0, 1.0))]
        scale = 1 / (domain[1] - domain[0])
        return [self._matrix(np.diag(scale), -domain[0] * scale)]

    def _lut_1d(self, table: NDArray[Any], *, half_domain: bool = False) -> Any:
        alike = (table == table[:, :1]).all()
        values = table[:, :1] if alike else table
        common = self._common()
        if half_domain:
            common["in_bit_depth"] = self.clf.BitDepth.f16
        return self.clf.LUT1D(
            array=self._array(values, values.shape),
            half_domain=half_domain,
            raw_halfs=False,
            interpolation=self.clf.Interpolation1D.LINEAR,
            **common,
        )

    def _lut_nodes(self, lut: Lut3D) -> Nodes:
        return [*self._onto_unit(lut.domain), self._lut_3d(lut)]

    def _lut_3d(self, lut: Lut3D) -> Any:
        return self.clf.LUT3D(
            array=self._array(lut.table, lut.table.shape),
            half_domain=False,
            raw_halfs=False,
            interpolation=self.clf.Interpolation3D(lut.interpolation),
            **self._common(),
        )


NUMBERS_AT_ONCE = 3 << 15
"""Numbers that are Python objects at a time, to limit memory; a lattice may have fifty million."""


def _streamed(clf: Any) -> Any:
    """The Array class of colour-clf-io, for a numpy array and written piece by piece."""

    class Streamed(clf.Array):  # type: ignore[misc]
        def to_xml(self) -> Any:
            numbers: NDArray[Any] = self.values
            self.values: Any = []
            element = super().to_xml()
            self.values = numbers
            element.text = f"\n{array_text(numbers, self.dim[-1])}\n"
            return element

    return Streamed


def array_text(numbers: NDArray[Any], row: int) -> str:
    """Numbers as the text of a CLF Array, `row` of them on a line.

    Raises FormatError when the text would be longer than the largest XML file that is read.
    """
    pieces, length = [], 0
    step = max(1, NUMBERS_AT_ONCE // row) * row
    for start in range(0, len(numbers), step):
        part = numbers[start : start + step]
        # As float32 a number is written with the fewest digits that read back exactly.
        words = list(map(str, part if part.dtype == np.float32 else part.tolist()))
        lines = (" ".join(words[at : at + row]) for at in range(0, len(words), row))
        pieces.append("\n".join(lines))
        length += len(pieces[-1]) + 1
        if length > xml.MAX_BYTES:
            raise FormatError(
                f"{len(numbers)} numbers are too many for XML",
                accepted=f"up to {xml.MAX_BYTES} bytes of text: fewer nodes, or a .cube",
            )
        long_work.report("writing", (start + len(part)) / len(numbers))
    return "\n".join(pieces)


def _log_parameters(clf: Any, log: Log, channel: Any) -> Any:
    slope = log.linear_slope
    if log.lin_side_break is not None and slope is None:
        slope = log.line(log.lin_side_break)[1]  # not every reader computes it
    return clf.LogParams(
        log.base,
        log.log_side_slope,
        log.log_side_offset,
        log.lin_side_slope,
        log.lin_side_offset,
        log.lin_side_break,
        slope,
        channel,
    )
