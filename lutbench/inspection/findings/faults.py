"""Findings on the file: order of rows and channels, codes, repeated parts, false colour, title."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import product

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection import lattice as measures
from lutbench.inspection.finding import CHANNELS, Examined, Finding, FindingKind, Limit
from lutbench.inspection.plateaus import islands, stuck_in_channel, stuck_runs
from lutbench.inspection.subject import CODES
from lutbench.model.curves.base import Curve
from lutbench.tables.nodes import TOPS, code_scale, domain_scale


class IntegerValues(FindingKind):
    """The values are codes of some bit depth."""

    code = "integer_values"
    limit = Limit(2.0, "signal", "no display signal reaches twice its white")
    severity = "error"
    decides = True
    cure = "scale"
    seen = "a white frame: every value is far above white"
    advice = "divide the table by its highest code: `lutbench rework repair` does it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        planes = lut.subject.planes
        if float(planes.max()) <= self.limit_for(lut):
            return
        if (top := code_scale(planes)) is None:
            return
        message = (
            f"the values are {TOPS[top]}-bit codes, up to {planes.max():g}, "
            "but should be signals from 0 to 1"
        )
        yield self.finding(lut, message, float(planes.max()))


class DomainInCodes(FindingKind):
    """The input is expected as codes of some bit depth."""

    code = "domain_in_codes"
    unit = "top of the domain"
    severity = "error"
    decides = True
    cure = "domain"
    seen = "a black frame: every signal from 0 to 1 falls on the first nodes of the table"
    advice = "set the domain to 0..1: `lutbench rework repair` does it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if (top := domain_scale(lut.subject.domain)) is not None:
            low = lut.subject.domain[0, 0]
            message = (
                f"the domain is given in {TOPS[top]}-bit codes, {low:g} to {top}, "
                "but the input is a signal from 0 to 1"
            )
            yield self.finding(lut, message, float(top))


class Constant(FindingKind):
    """Every grey comes out the same."""

    code = "constant"
    limit = Limit(1.0, "10-bit codes", "less than one code from black to white is not a picture")
    severity = "error"
    decides = True
    seen = "no picture at all"
    advice = "the table, or its shaper, is empty: make it again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis = lut.subject.neutral
        value = float(np.ptp(axis.outputs, axis=0).max()) * CODES
        if value <= self.limit_for(lut):
            message = f"every grey comes out the same, at {100 * axis.black:.1f} %"
            yield self.finding(lut, message, value, place=lut.on_axis(0))


JUMP_SIGNAL = 0.08
"""Signal: R − G or B − G changes by more than this between two grey nodes at the edge of a band."""

SAME_DIRECTION = 0.7
"""Cosine of 45°: two jumps in a row that differ in direction by less are one edge."""

SWAPPED_NODES = 3
"""Jumps in a row that two grey nodes make when they have changed places."""

CALM_SIGNAL = 0.01
"""Signal: the most that R − G and B − G change within bands (median); noise changes them more."""


class FalseColourBands(FindingKind):
    """The colour of the grey scale jumps from band to band."""

    code = "false_colour"
    limit = Limit(3.0, "jumps", "looks change the colour of grey in two jumps at most")
    severity = "info"
    decides = True
    seen = "each level of exposure is painted in its own colour"
    advice = "for judging exposure only; never grade or deliver through it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        outputs = lut.subject.neutral.outputs
        chroma = outputs[:, [0, 2]] - outputs[:, [1]]
        moves = np.diff(chroma, axis=0)
        steps = np.abs(moves).max(axis=1)
        over = steps > JUMP_SIGNAL
        # Jumps in a row in one direction count as one.
        onwards = over[1:] & over[:-1] & (_alignment(moves) >= SAME_DIRECTION)
        jumps = int(over.sum()) - int(onwards.sum())
        if over.sum() == SWAPPED_NODES and (over[1:] & over[:-1]).sum() == over.sum() - 1:
            return
        calm = (
            float(np.median(steps[steps <= JUMP_SIGNAL])) if (steps <= JUMP_SIGNAL).any() else 1.0
        )
        if jumps >= self.limit_for(lut) and calm < CALM_SIGNAL:
            message = f"false colour: the colour of grey jumps {jumps} times from black to white"
            yield self.finding(lut, message, float(jumps))


FEWEST_PAINTED_SHARE = 1 / 8
"""Of the nodes of a plane: a band crosses the whole table, and has about as many as a plane; rows
that are stuck are fewer, and so are the six coloured corners of a table of two nodes."""

SAME_COLOUR_DECIMALS = 4
"""Decimals to which painted nodes have the same colour, as files with few decimals have them."""


class PaintedBands(FindingKind):
    """As `FalseColourBands`, by the whole table: grey, but for a few flat colours."""

    code = "false_colour"
    limit_code = "painted_bands"
    limit = Limit(16.0, "colours", "nobody can tell more bands apart")
    severity = "info"
    decides = True
    seen = FalseColourBands.seen
    advice = FalseColourBands.advice

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None or any(FalseColourBands().examine(lut)):
            return
        values = lut.subject.planes.reshape(3, -1)
        spread = np.ptp(values, axis=0)
        painted = spread > JUMP_SIGNAL
        if not painted.any() or spread[~painted].max(initial=0.0) > CALM_SIGNAL:
            return
        fewest, most = max(2, FEWEST_PAINTED_SHARE * lut.subject.size**2), self.limit_for(lut)
        if len(_colours(values[:, painted][:, : int(fewest * most) + 1])[0]) > most:
            return  # the whole table need not be sorted
        colours, counts = _colours(values[:, painted])
        if len(colours) <= most and counts.min() >= fewest:
            many = f"{len(colours)} bands" if len(colours) > 1 else "one band"
            message = f"false colour: the picture is grey, with {many} of brightness in colour"
            yield self.finding(lut, message, float(len(colours)))


def _colours(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The different colours of values of shape (3, m), and how many there are of each."""
    return np.unique(np.round(values.T, SAME_COLOUR_DECIMALS), axis=0, return_counts=True)


def _alignment(moves: NDArray[np.float64]) -> NDArray[np.float64]:
    """The cosine between each step and the next, shape (m − 1,) of steps (m, 2)."""
    lengths = np.maximum(np.linalg.norm(moves, axis=1), 1e-12)
    return np.asarray((moves[1:] * moves[:-1]).sum(axis=1) / (lengths[1:] * lengths[:-1]))


MOST_RUNS = 3
"""Runs in a whole table: a look with plateaus has them on many more lines."""

LEAST_OFF_CODES = 1.0
"""10-bit codes: a run nearer to the plateau around it is not seen, and comes from rounding."""


class StuckValues(FindingKind):
    """A channel never changes or sticks at a value, or rows repeat where red should rise."""

    code = "stuck_values"
    unit = "rows"
    severity = "error"
    decides = True
    seen = "a patch, or the whole picture, of one wrong colour"
    advice = "the right values cannot be guessed: make the LUT again, or get the file again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None:
            return
        spans = np.ptp(lut.subject.planes.reshape(3, -1), axis=1) * CODES
        still = [CHANNELS[c] for c in range(3) if spans[c] < 0.01]
        if still and spans.max() > 1:
            message = f"{' and '.join(still)} has one value in the whole table"
            yield self.finding(lut, message, float(lut.subject.size**3))
            return
        planes = lut.subject.planes
        runs = {"the same colour": stuck_runs(planes)}
        for name, plane in zip(CHANNELS, planes, strict=True):
            # Coarse values repeat because they were rounded.
            runs[f"the same {name}"] = [
                *(() if lut.coarse_bits else stuck_in_channel(plane)),
                *(each for each in islands(plane) if each.count > 1
                  and each.codes > LEAST_OFF_CODES + lut.coarse_step),
            ]  # fmt: skip
        for what, found in runs.items():
            if 0 < len(found) <= MOST_RUNS:
                worst = max(found, key=lambda each: each.count)
                message = f"{worst.count} rows repeat {what}, from row {worst.first + 1} on"
                place = lut.at(worst.node(planes[0].shape))
                yield self.finding(lut, message, float(worst.count), place=place)
                return


class DuplicateNodes(FindingKind):
    """A whole plane equals the one before it, between planes that differ."""

    code = "duplicate_nodes"
    limit = Limit(
        0.0,
        "share of planes",
        "clipping makes planes equal only at an end of the scale",
    )
    seen = "flat patches with hard edges where colour should be smooth"
    advice = "it was enlarged without interpolation, or a plane was written twice: make it again"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.lattice is None or lut.coarse_bits:
            return  # coarse values repeat because they were rounded
        planes = measures.repeated_planes(lut.subject)
        share = len(planes) / (3 * (lut.subject.size - 1))
        if planes and share > self.limit_for(lut):
            axis, index = planes[0]
            node = [0, 0, 0]
            node[axis] = index
            where = f"{['red', 'green', 'blue'][axis]} plane {index + 1}"
            message = f"{len(planes)} planes of the table are written twice, the first {where}"
            if len(planes) == 1:
                message = f"a plane of the table is written twice: {where}"
            yield self.finding(lut, message, share, place=lut.at(tuple(node)))


UNCLEAR = "red and blue have changed places, in the rows or in the channels: it cannot tell which"
ASK = (
    "try both, `lutbench rework repair --only axes` and `--only channels`, and take the one "
    "with natural colours"
)


class AxisOrder(FindingKind):
    """The rows were written with blue running fastest."""

    code = "axis_order"
    unit = "channels"
    severity = "error"
    cure = "axes"
    decides = True
    seen = "red and blue change places: blue skin, orange sky"
    advice = (
        "in this format red runs fastest: put the rows in that order (`lutbench rework repair` "
        "does it)"
    )

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.swapped == "rows":
            message = "the rows are in the wrong order: blue runs fastest instead of red"
            yield self.finding(lut, message, 2.0)
        elif lut.swapped == "unclear":
            choice = {"by_default": False, "other_cure": ChannelOrder.cure, "advice": ASK}
            yield self.finding(lut, UNCLEAR, 2.0, **choice)


class ChannelOrder(FindingKind):
    """An output channel follows the input of another."""

    code = "channel_order"
    unit = "channels"
    severity = "error"
    cure = "channels"
    decides = True
    seen = "red and blue (or others) change places: blue skin, orange sky"
    advice = "put R, G and B back in order: `lutbench rework repair` does it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        order = lut.order
        if order == measures.RIGHT:
            return
        if lut.swapped in ("rows", "unclear"):
            return
        swapped = [(out, source) for out, source in enumerate(order) if out != source]
        moved = ", ".join(f"{'RGB'[out]} follows {'RGB'[source]}" for out, source in swapped)
        yield self.finding(lut, f"the channels are swapped: {moved}", float(len(swapped)))


def order_of(lut: Examined) -> tuple[int, ...]:
    """The index that puts the channels back in the order R, G, B."""
    return tuple(int(each) for each in np.argsort(lut.order))


LOGS = ("ACEScct", "Cineon")
DISPLAYS = ("BT.1886", "BT.709")

WORDS = {
    "log": LOGS,
    "acescct": ("ACEScct",),
    "cineon": ("Cineon",),
    "video": DISPLAYS,
    "display": DISPLAYS,
    "rec709": DISPLAYS,
    "709": DISPLAYS,
    "bt709": DISPLAYS,
    "rec 709": DISPLAYS,
    "bt.709": DISPLAYS,
    "rec.709": DISPLAYS,
    "bt.1886": ("BT.1886",),
    "srgb": ("sRGB",),
    "sdr": DISPLAYS,
    "linear": ("linear",),
    "lin": ("linear",),
    "pq": ("BT.2100 PQ",),
    "hlg": ("BT.2100 HLG",),
}
"""The curves that a word in a title may stand for."""

_BETWEEN = re.compile(
    r"(.+?)(?:[\s_-]+to[\s_-]+|\s*(?:->|→)\s*|(?<=[a-z])2(?=[a-z]))(.+)", re.IGNORECASE
)


class InverseOfTitle(FindingKind):
    """The title names a conversion, and the table does it backwards."""

    code = "inverse_of_title"
    limit = Limit(
        0.5, "of the misfit", "the inverse fits twice as well; no look reverses a tone curve"
    )
    severity = "error"
    cure = "inverse"
    decides = True
    seen = "log comes out even flatter, or a finished picture comes out as log"
    advice = (
        "if the title is right, use the inverse (`lutbench rework repair` makes it); if not, "
        "correct the title"
    )

    def examine(self, lut: Examined) -> Iterator[Finding]:
        ends = named_ends(lut.title)
        if ends is None:
            return
        forwards, backwards = _misfit(lut, *ends), _misfit(lut, *ends[::-1])
        if backwards < self.limit_for(lut) * forwards:
            message = f"it does the opposite of what its title says ({lut.title.strip()[:60]!r})"
            yield self.finding(lut, message, backwards / forwards)


def named_ends(title: str) -> tuple[tuple[Curve, ...], tuple[Curve, ...]] | None:
    """The curves that a title may mean before and after "to"; None if it names none."""
    found = _BETWEEN.search(title)
    if found is None:
        return None
    sides = tuple(_names(side) for side in found.groups())
    if not all(sides) or set(sides[0]) & set(sides[1]):
        return None
    from lutbench.model.catalogue import open_catalogue

    known = open_catalogue(user=False)
    first, second = (tuple(known.curve(name) for name in side) for side in sides)
    return first, second


def _names(side: str) -> tuple[str, ...]:
    """The curves that the longest known word in the text stands for."""
    text = f" {re.sub(r'[_(),/-]', ' ', side.lower())} "
    hits = [word for word in WORDS if f" {word} " in text]
    return WORDS[max(hits, key=len)] if hits else ()


def _misfit(lut: Examined, source: tuple[Curve, ...], target: tuple[Curve, ...]) -> float:
    """RMS difference of the grey scale from the nearest of these conversions, in signal."""
    axis = lut.subject.neutral
    signal = np.clip(axis.inputs, 0, 1)
    misfits = []
    for one, other in product(source, target):
        converted = np.nan_to_num(other.encode(np.maximum(one.decode(signal), 0)))
        misfits.append(float(np.sqrt(np.mean((np.clip(converted, 0, 1) - axis.mean) ** 2))))
    return min(misfits)
