"""Read the Common LUT Format: each operator becomes a step, nothing is sampled.

Source: Academy S-2014-006 (Common LUT Format 3.0) and SMPTE ST 2136-1 (from
memory). The elements are read by colour-clf-io. This module checks what that library
does not: sizes, words that are not numbers, missing attributes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lutbench import long_work
from lutbench.errors import FormatError, LutbenchError, MissingExtraError
from lutbench.foreign import foreign
from lutbench.formats import operators
from lutbench.formats import safe_xml as xml
from lutbench.formats.decimals import LARGEST_NUMBER, number
from lutbench.formats.operators import Channels, Exponent, HalfLut1D, Log
from lutbench.formats.registry import LutFile
from lutbench.model.grade import Cdl
from lutbench.model.transforms import Matrix, Pipeline, Transform
from lutbench.tables.lut import SIZES_1D, SIZES_3D, Lut1D, Lut3D

if TYPE_CHECKING:
    from lxml.etree import _Element as Element
else:
    Element = Any

ROOT = "ProcessList"
ACADEMY_NAMESPACE = "urn:AMPAS:CLF:v3.0"
_NAMESPACES = ("urn:AMPAS:CLF:", "urn:NATAS:ASC:LUT:", "http://www.smpte-ra.org/ns/2136-1/")
_ABOUT = ("Description", "InputDescriptor", "OutputDescriptor", "Info")
_OPERATORS = ("LUT1D", "LUT3D", "Matrix", "Range", "Log", "Exponent", "ASC_CDL")
_OLD_CDL_STYLES = {"v1.2_Fwd": "Fwd", "v1.2_Rev": "Rev"}


def parse_clf(data: bytes, where: str = "", _id: str | None = None) -> LutFile[Transform]:
    """The transform in the bytes of a CLF file; several steps become a pipeline.

    Raises
    ------
    FormatError
        When the file does not follow the format, with the line.
    MissingExtraError
        When lxml or colour-clf-io is not installed.
    """
    return _ClfReader(where).read(xml.parse(data, where))


class _ClfReader:
    def __init__(self, where: str) -> None:
        self.where = where
        self.notes: dict[str, None] = {}
        self.numbers: dict[Element, NDArray[np.float64]] = {}

    def read(self, root: Element) -> LutFile[Transform]:
        try:
            clf = foreign("colour_clf_io")
        except ImportError as error:
            raise MissingExtraError("colour-clf-io", "clf", "reading and writing CLF") from error
        self.clf = clf
        self._check_root(root)
        for element in root.iter():
            element.tag = xml.name(element)
        steps: list[Transform] = []
        depth = None
        elements = [each for each in root if each.tag not in _ABOUT]
        if not elements:
            self._fail(root, "no operator", ", ".join(_OPERATORS))
        for element in elements:
            node = self._node(element)
            if depth is not None and node.in_bit_depth != depth:
                self._fail(
                    element,
                    f"inBitDepth {node.in_bit_depth.value} after outBitDepth {depth.value}",
                    "the same depth on both sides",
                )
            depth = node.out_bit_depth
            if element.get("bypass") == "true":
                self.notes[f"{element.tag} with bypass was ignored"] = None
                continue
            steps.append(self._guarded(element, self._step, node))
        title = " ".join((root.get("name") or "").split())
        comments = tuple(filter(None, map(xml.text, xml.children(root, "Description"))))
        lut = _whole(_with_domains(steps), title, comments)
        return LutFile(lut, "clf", tuple(self.notes), title, comments)

    def _check_root(self, root: Element) -> None:
        if xml.name(root) != ROOT:
            self._fail(root, f"<{xml.name(root)}> is not a CLF", ROOT)
        namespace = xml.namespace(root)
        if namespace and not namespace.startswith(_NAMESPACES):
            self._fail(root, f"the namespace {namespace[:60]!r}", ACADEMY_NAMESPACE)
        if not namespace:
            self.notes["no namespace"] = None
        elif namespace != ACADEMY_NAMESPACE:
            self.notes[f"the namespace {namespace} is read as CLF 3.0"] = None
        is_academy = not namespace.startswith("http:")
        version = root.get("compCLFversion")
        if is_academy and version is None:
            self.notes["no compCLFversion"] = None
        if version is not None and number(version.encode()) not in (1, 1.2, 2, 3):
            self.notes[f"compCLFversion {version[:20]!r} is read as 3.0"] = None

    # From an element to a node of colour-clf-io

    def _node(self, element: Element) -> Any:
        tag = str(element.tag)
        if tag not in _OPERATORS:
            self._fail(element, f"the operator <{tag[:40]}> is not known", ", ".join(_OPERATORS))
        if xml.children(element, "IndexMap"):
            self._fail(element, "IndexMap of CLF 2.0 is not read", "a Range before the LUT")
        for array in xml.children(element, "Array"):
            self._check_array(array, tag)
        for parameter in xml.children(element, "LogParams", "ExponentParams"):
            for key, value in parameter.attrib.items():
                if key != "channel":
                    self._check_number(parameter, str(key), str(value))
        if tag == "Range":
            for limit in element:
                if limit.tag != "Description":
                    self._check_number(limit, str(limit.tag), xml.text(limit))
        if tag == "LUT3D" and element.get("interpolation") is None:
            element.set("interpolation", "trilinear")  # the format's default
        if tag == "ASC_CDL":
            style = element.get("style")
            if style in _OLD_CDL_STYLES:
                self.notes[f"ASC_CDL style {style} of CLF 2.0"] = None
            element.set("style", _OLD_CDL_STYLES.get(style or "Fwd", style or "Fwd"))
        node = self._guarded(
            element,
            self.clf.process_nodes.parse_process_node,
            element,
            self.clf.parsing.ParserConfig(namespace=None),
        )
        for array in xml.children(element, "Array"):
            node.array.values = self.numbers.pop(array)
        return node

    def _check_array(self, array: Element, tag: str) -> None:
        """Check sizes and the count of numbers before memory is allocated for them."""
        words = (array.get("dim") or "").split()
        if not all(word.isascii() and word.isdigit() and len(word) < 9 for word in words):
            self._fail(array, f"dim {array.get('dim')!r:.60}", "whole numbers")
        dim = tuple(map(int, words))
        low, high = SIZES_1D if tag == "LUT1D" else SIZES_3D
        if tag == "LUT1D":
            fits = len(dim) == 2 and dim[1] in (1, 3) and low <= dim[0] <= high
            accepted = f"n 1 or n 3, n from {low} to {high}"
        elif tag == "LUT3D":
            fits = len(dim) == 4 and dim[3] == 3 and len(set(dim[:3])) == 1
            fits = fits and low <= dim[0] <= high
            accepted = f"n n n 3, n from {low} to {high}"
        else:
            fits = dim in ((3, 3), (3, 4), (3, 3, 3), (3, 4, 3))
            accepted = "3 3 or 3 4"
        if not fits:
            self._fail(array, f"dim {' '.join(words)!r:.60}", accepted)
        count = math.prod(dim if tag != "Matrix" else dim[:2])
        found, numbers, wrong = _numbers(array.text or "", count)
        if found != count:
            self._fail(array, f"{found} numbers in an Array of dim {' '.join(words)}", f"{count}")
        if wrong:
            self._fail(array, f"{tag} cannot be read: {wrong[:40]!r} is not a number", "numbers")
        self.numbers[array] = numbers
        array.text = "0"  # colour-clf-io would turn the numbers into a list
        if tag == "Matrix":
            array.set("dim", " ".join(words[:2]))

    def _check_number(self, element: Element, key: str, value: str) -> None:
        if number(value.strip().encode()) is None:
            self._fail(element, f"{key} {value[:40]!r}", "a finite number")

    # From a node to a step

    def _step(self, node: Any) -> Transform:
        clf = self.clf
        match node:
            case clf.Matrix():
                return _matrix(node)
            case clf.LUT1D():
                return self._lut_1d(node)
            case clf.LUT3D():
                return self._lut_3d(node)
            case clf.Range():
                return _range(node, clf.RangeStyle.NO_CLAMP)
            case clf.Log():
                return _log(node)
            case clf.Exponent():
                return _exponent(node)
            case _:
                return _cdl(node)

    def _lut_1d(self, node: Any) -> Transform:
        table = _table(node)
        if table.shape[1] == 1:
            table = np.repeat(table, 3, axis=1)
        if node.half_domain:
            return HalfLut1D(table)
        return Lut1D(table)

    def _lut_3d(self, node: Any) -> Lut3D:
        if node.half_domain:
            raise FormatError("halfDomain of a LUT3D is not read", accepted="a LUT1D before it")
        return Lut3D(_table(node), interpolation=node.interpolation.value)

    # Errors

    def _guarded(self, element: Element, function: Callable[..., Any], *args: Any) -> Any:
        """`function` of `args`; errors are raised with the place of `element`."""
        errors = self.clf.errors
        place = xml.at(element, self.where)
        try:
            return function(*args)
        except LutbenchError as error:
            raise FormatError(
                f"{element.tag}: {error.what}", where=place, accepted=error.accepted
            ) from error
        except (
            errors.ParsingError,
            errors.ValidationError,
            ValueError,
            TypeError,
            AttributeError,
            OverflowError,
        ) as error:
            # colour-clf-io raises these for a missing attribute or an unknown value.
            raise FormatError(
                f"{element.tag} cannot be read: {str(error)[:120]}",
                where=place,
                accepted="attributes and elements of CLF 3.0",
            ) from error

    def _fail(self, element: Element, what: str, accepted: str) -> None:
        raise FormatError(what, where=xml.at(element, self.where), accepted=accepted)


PIECE_CHARACTERS = 1 << 20
"""Characters of an Array that are split at a time, to limit memory."""


def _numbers(text: str, most: int) -> tuple[int, NDArray[np.float64], str]:
    """The number of words in a text, the first `most` as numbers, the first that is no number."""
    numbers = np.empty(min(most, len(text) // 2 + 1))
    count, wrong, start = 0, "", 0
    while start < len(text):
        stop = start + PIECE_CHARACTERS
        while stop < len(text) and not text[stop].isspace():
            stop += 1
        words = text[start:stop].split()
        try:
            values = list(map(float, words))
        except ValueError:
            wrong = wrong or next(word for word in words if number(word.encode()) is None)
        else:
            room = numbers[count : count + len(values)]
            room[:] = values[: len(room)]
        count, start = count + len(words), stop
        long_work.report("reading", start / len(text))
    return count, numbers, wrong


def _scales(node: Any) -> tuple[float, float]:
    return node.in_bit_depth.scale_factor(), node.out_bit_depth.scale_factor()


def _table(node: Any) -> NDArray[np.float64]:
    values = np.asarray(node.array.values)
    if node.raw_halfs:
        whole = values.astype(np.int64)
        if not ((whole == values) & (whole >= 0) & (whole < 2**16)).all():
            raise FormatError("rawHalfs are not 16-bit whole numbers", accepted="0 to 65535")
        values = whole.astype(np.uint16).view(np.float16).astype(np.float64)
    elif not (np.abs(values) <= LARGEST_NUMBER).all():
        raise FormatError("a number of the Array is not finite", accepted="finite numbers")
    return np.asarray(values.reshape(node.array.dim) / _scales(node)[1])


def _matrix(node: Any) -> Matrix:
    scale_in, scale_out = _scales(node)
    values = np.array(node.array.values).reshape(3, -1)
    if not np.isfinite(values).all():
        raise FormatError("a number of the Array is not finite", accepted="finite numbers")
    offset = values[:, 3] / scale_out if values.shape[1] == 4 else np.zeros(3)
    return Matrix.from_array(values[:, :3] * (scale_in / scale_out), offset)


def _range(node: Any, no_clamp: Any) -> operators.Range:
    scale_in, scale_out = _scales(node)

    def scaled(value: float | None, scale: float) -> float | None:
        return None if value is None else value / scale

    return operators.Range(
        scaled(node.min_in_value, scale_in),
        scaled(node.max_in_value, scale_in),
        scaled(node.min_out_value, scale_out),
        scaled(node.max_out_value, scale_out),
        clamp=node.style != no_clamp,
    )


def _by_channel(parameters: list[Any], step: Callable[[Any], Log | Exponent]) -> Transform:
    """One step for all channels, or one for each that is named."""
    if len(parameters) == 1 and parameters[0].channel is None:
        return step(parameters[0])
    named: dict[str, Log | Exponent] = {}
    for each in parameters:
        if each.channel is None or each.channel.value in named:
            raise FormatError(
                "parameters for a channel twice, or without a channel",
                accepted="one each for R, G and B",
            )
        named[each.channel.value] = step(each)
    return Channels(named.get("R"), named.get("G"), named.get("B"))


def _log(node: Any) -> Transform:
    style = node.style.value
    forward = style in ("log10", "log2", "linToLog", "cameraLinToLog")
    if style in ("log10", "log2", "antiLog10", "antiLog2"):
        return Log(base=10.0 if style.endswith("10") else 2.0, forward=forward)
    camera = style.startswith("camera")

    def one(parameters: Any) -> Log:
        if camera and parameters.lin_side_break is None:
            raise FormatError(f"{style} without linSideBreak", accepted="linSideBreak")
        given = {
            key: getattr(parameters, key)
            for key in ("base", "log_side_slope", "log_side_offset")
            + ("lin_side_slope", "lin_side_offset")
            + (("lin_side_break", "linear_slope") if camera else ())
        }
        return Log(**{k: v for k, v in given.items() if v is not None}, forward=forward)

    if not node.log_params:
        if camera:
            raise FormatError(f"{style} without LogParams", accepted="LogParams")
        return Log(forward=forward)
    return _by_channel(node.log_params, one)


def _exponent(node: Any) -> Transform:
    style = node.style.value
    forward = style.endswith("Fwd")
    negative = "mirror" if "Mirror" in style else "pass" if "PassThru" in style else "plain"
    monitor = style.startswith("monCurve")

    def one(parameters: Any) -> Exponent:
        if not monitor and parameters.offset:
            raise FormatError(f"{style} with an offset", accepted="an offset with monCurve only")
        offset = (parameters.offset or 0.0) if monitor else None
        return Exponent(parameters.exponent, offset, negative, forward)

    return _by_channel(node.exponent_params, one)


def _cdl(node: Any) -> Transform:
    style = node.style.value
    saturation = 1.0 if node.sat_node is None else node.sat_node.saturation
    sop = node.sopnode
    numbers = {} if sop is None else {k: getattr(sop, k) for k in ("slope", "offset", "power")}
    cdl = Cdl(**numbers, saturation=saturation, clamp=not style.endswith("NoClamp"))
    return cdl.inverse() if style.startswith("Rev") else cdl


def _with_domains(steps: list[Transform]) -> list[Transform]:
    """The steps, where a Range to 0..1 before a LUT becomes the LUT's domain."""
    result: list[Transform] = []
    for step in steps:
        before = result[-1] if result else None
        if (
            isinstance(step, Lut1D | Lut3D)
            and isinstance(before, operators.Range)
            and before.clamp
            and (before.min_out, before.max_out) == (0.0, 1.0)
        ):
            domain = (before.min_in, before.max_in)
            interpolation = (step.interpolation,) if isinstance(step, Lut3D) else ()
            result[-1] = type(step)(step.table, domain, "", (), *interpolation)  # type: ignore[arg-type]
        else:
            result.append(step)
    return result


def _whole(steps: list[Transform], title: str, comments: tuple[str, ...]) -> Transform:
    if len(steps) != 1:
        return Pipeline(tuple(steps))
    only = steps[0]
    if isinstance(only, Lut1D):
        return Lut1D(only.table, only.domain, title, comments)
    if isinstance(only, Lut3D):
        return Lut3D(only.table, only.domain, title, comments, only.interpolation)
    return only
