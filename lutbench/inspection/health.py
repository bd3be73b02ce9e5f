"""Health: what is wrong with a LUT, where, what a viewer sees of it, what to do.

Each finding has a code, a severity, the value that was measured and the limit it
was held against. Severities: ``info`` is a fact that is right for some LUTs and
wrong for others; ``warning`` is a defect that shows; ``error`` makes the LUT
useless as it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np

from lutbench.errors import LutbenchError, nearest_names
from lutbench.inspection import lattice as measures
from lutbench.inspection.subject import CODES, Clip, Subject

Severity = Literal["info", "warning", "error"]
SEVERITIES: tuple[Severity, ...] = ("info", "warning", "error")

LEGAL_BLACKS = (64 / 1023, 16 / 255)
LEGAL_WHITES = (940 / 1023, 235 / 255)


@dataclass(frozen=True)
class Limit:
    """The limit of a finding: its default, its unit, and why it is that."""

    default: float
    unit: str
    why: str


LIMITS: dict[str, Limit] = {
    "constant": Limit(1.0, "10-bit codes", "a scale of less than one code is none"),
    "monochrome": Limit(0.5, "10-bit codes", "what rounding to 10 bits may part R, G and B by"),
    "non_monotonic": Limit(
        0.2, "10-bit codes", "twice what rounding to four decimals can turn round"
    ),
    "tint": Limit(1.0, "10-bit codes", "the least that a 10-bit signal can carry"),
    "clipped_highlights": Limit(
        0.02, "share of the input scale", "under a fiftieth nothing that is recorded is lost"
    ),
    "clipped_shadows": Limit(
        0.02, "share of the input scale", "under a fiftieth nothing that is recorded is lost"
    ),
    "lifted_black": Limit(
        10.0, "10-bit codes", "about 1 % of signal, where a black is seen to be grey"
    ),
    "legal_range_output": Limit(
        1.5, "10-bit codes", "how near black and white lie to 64 and 940, with rounding"
    ),
    "legal_range_input": Limit(
        6.0, "10-bit codes", "how near the ends of the scale that is used lie to 64 and 940"
    ),
    "fold": Limit(
        0.0,
        "share of tetrahedra",
        "no conversion of a curve and a gamut turns colours over (deeper than half a code)",
    ),
    "fold_in_black": Limit(
        0.15,
        "share of tetrahedra",
        "compressing a gamut turns up to 7 % of the values under black over",
    ),
    "banding": Limit(
        0.3,
        "of a step",
        "a tone curve sampled at 17 nodes has steps up to 22 % off their neighbours",
    ),
    "coarse_values": Limit(
        1.1, "10-bit codes", "a table of 10-bit values has steps of one code: the signal's own"
    ),
    "out_of_range": Limit(0.05, "10-bit codes", "over the rounding of four decimals"),
    "noise": Limit(
        0.35, "10-bit codes", "compressed gamuts sampled at 17 nodes look like up to 0.28 codes"
    ),
    "stray_node": Limit(0.25, "10-bit codes", "clean tables have up to 0.09 codes, by kinks"),
    "duplicate_nodes": Limit(
        0.002, "share of neighbours", "clean tables have up to 0.11 %; a plane twice in 65, 0.5 %"
    ),
    "hue_shift": Limit(12.0, "degrees", "about the hue step between neighbouring names of colours"),
}


@dataclass(frozen=True)
class Place:
    """A place in the table: the node, what goes in there, and what comes out."""

    node: tuple[int, ...]
    input: tuple[float, ...]
    output: tuple[float, ...]

    @property
    def swatch(self) -> str:
        """What comes out, as ``#rrggbb`` of the signal as it is."""
        codes = np.rint(255 * np.clip(np.nan_to_num(self.output), 0, 1)).astype(int)
        return "#" + "".join(f"{code:02x}" for code in codes.tolist())

    def to_data(self) -> dict[str, Any]:
        """The place as plain data."""
        return {
            "node": list(self.node),
            "input": list(self.input),
            "output": list(self.output),
            "swatch": self.swatch,
        }


@dataclass(frozen=True)
class Finding:
    """One thing that was found; `value` and `limit` are in `unit`."""

    code: str
    severity: Severity
    message: str
    value: float
    limit: float | None
    unit: str
    seen: str
    advice: str
    place: Place | None = None

    def to_data(self) -> dict[str, Any]:
        """The finding as plain data."""
        return {
            "code": self.code,
            "severity": self.severity,
            "message": self.message,
            "value": self.value,
            "limit": self.limit,
            "unit": self.unit,
            "seen": self.seen,
            "advice": self.advice,
            "place": self.place.to_data() if self.place else None,
        }


@dataclass(frozen=True)
class Limits:
    """The limits in force: the defaults, with what was set over them."""

    set: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for code, value in self.set.items():
            if code not in LIMITS:
                close = nearest_names(code, LIMITS) or sorted(LIMITS)
                raise LutbenchError(
                    f"no finding with a limit has the code {code!r}", accepted=", ".join(close)
                )
            if not (np.isfinite(value) and value >= 0):
                raise LutbenchError(
                    f"a limit of {value:g} for {code} is out of limits", accepted="0 or more"
                )

    def __getitem__(self, code: str) -> float:
        return self.set.get(code, LIMITS[code].default)

    @classmethod
    def parse(cls, texts: tuple[str, ...] | list[str]) -> Limits:
        """Limits of texts such as ``tint=2.5``.

        >>> Limits.parse(["tint=2.5"])["tint"]
        2.5
        """
        found: dict[str, float] = {}
        for text in texts:
            code, sign, number = text.partition("=")
            try:
                found[code.strip()] = float(number)
            except ValueError:
                sign = ""
            if not sign:
                raise LutbenchError(f"{text!r} sets no limit", accepted="CODE=VALUE, as tint=2.5")
        return cls(found)


def worst_severity(findings: tuple[Finding, ...]) -> Severity | None:
    """The worst severity among the findings; None without any."""
    found = [each.severity for each in findings]
    return max(found, key=SEVERITIES.index) if found else None


@dataclass(frozen=True)
class Health:
    """The examination of a subject: `findings`, worst first."""

    subject: Subject
    limits: Limits = field(default_factory=Limits)
    scene_white: float | None = None
    """The input of a 90 % reflectance, where the source curve is known."""

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Everything found, worst first, else in the order of the examination."""
        found = [*self._axis(), *self._table()]
        return tuple(sorted(found, key=lambda each: -SEVERITIES.index(each.severity)))

    @cached_property
    def folds(self) -> measures.Folds | None:
        """The folds of the lattice; None for a 1D LUT."""
        return None if self.subject.lattice is None else measures.folds(self.subject)

    def _axis(self) -> Iterator[Finding]:
        yield from self._constant()
        yield from self._monotonic()
        yield from self._tint()
        yield from self._ranges()
        yield from self._clipping()
        yield from self._black()

    def _table(self) -> Iterator[Finding]:
        yield from self._monochrome()
        yield from self._out_of_range()
        yield from self._order()
        yield from self._folds()
        yield from self._roughness()
        yield from self._repeats()

    def _on_axis(self, index: int) -> Place:
        axis = self.subject.neutral
        value = float(axis.inputs[index])
        node = (index,) * 3 if self.subject.lattice is not None else (index,)
        return Place(node, (value,) * 3, tuple(axis.outputs[index].tolist()))

    def _at(self, node: tuple[int, ...]) -> Place:
        index: tuple[Any, ...] = (slice(None), *node)
        values = self.subject.planes[index]
        return Place(node, self.subject.node_input(node), tuple(values.tolist()))

    def _constant(self) -> Iterator[Finding]:
        axis = self.subject.neutral
        value, limit = float(np.ptp(axis.outputs, axis=0).max()) * CODES, self.limits["constant"]
        if value > limit:
            return
        yield Finding(
            "constant",
            "error",
            f"every grey comes out alike, at {100 * axis.black:.1f} %",
            value,
            limit,
            LIMITS["constant"].unit,
            "no picture at all",
            "it is empty, or its shaper is: make it again",
            self._on_axis(0),
        )

    def _monochrome(self) -> Iterator[Finding]:
        planes = self.subject.planes
        value = float(np.ptp(planes, axis=0).max()) * CODES
        limit = self.limits["monochrome"]
        if self.subject.lattice is None or value > limit or float(np.ptp(planes)) < limit / CODES:
            return
        yield Finding(
            "monochrome",
            "info",
            "all colour is taken out",
            value,
            limit,
            LIMITS["monochrome"].unit,
            "a black-and-white picture",
            "right for judging light alone, wrong for everything else",
        )

    def _monotonic(self) -> Iterator[Finding]:
        depth, index, channel = self.subject.neutral.fall
        value, limit = depth * CODES, self.limits["non_monotonic"]
        if value <= limit:
            return
        name = ("red", "green", "blue")[channel]
        inverted = value > 0.5 * CODES
        yield Finding(
            "non_monotonic",
            "error" if inverted else "warning",
            f"{name} falls by {value:.1f} codes while grey gets brighter",
            value,
            limit,
            LIMITS["non_monotonic"].unit,
            "a negative picture"
            if inverted
            else "a brighter part of a face or sky comes out darker than what is beside it",
            "do not use it for viewing; make the LUT again, or repair it with a monotone curve",
            self._on_axis(index),
        )

    def _tint(self) -> Iterator[Finding]:
        spread, index = self.subject.neutral.tint
        value, limit = spread * CODES, self.limits["tint"]
        if value <= limit:
            return
        place = self._on_axis(index)
        high = ("red", "green", "blue")[int(np.argmax(place.output))]
        low = ("red", "green", "blue")[int(np.argmin(place.output))]
        yield Finding(
            "tint",
            "warning",
            f"grey comes out tinted: {high} is {value:.1f} codes over {low} "
            f"at {100 * place.input[0]:.0f} % in",
            value,
            limit,
            LIMITS["tint"].unit,
            "a grey card and white clothes have a colour; a white balance by eye goes wrong",
            "on purpose in a look; else do not judge white balance through it",
            place,
        )

    def _ranges(self) -> Iterator[Finding]:
        axis = self.subject.neutral
        low, high = float(axis.mean.min()), float(axis.mean.max())
        limit = self.limits["legal_range_output"]
        off = max(_nearest(low, LEGAL_BLACKS), _nearest(high, LEGAL_WHITES)) * CODES
        if off <= limit and self._ends_are_flat_or_full():
            yield Finding(
                "legal_range_output",
                "info",
                f"what comes out lies in legal range: black {low * CODES:.0f}, "
                f"white {high * CODES:.0f} of 1023",
                off,
                limit,
                LIMITS["legal_range_output"].unit,
                "right on a monitor set to legal range; flat and grey on one set to full range",
                "set the monitor's input range to legal (narrow, video), or build it with full "
                "range out",
            )
        yield from self._legal_input()

    def _ends_are_flat_or_full(self) -> bool:
        """Black and white that are reached for good, so that they are meant."""
        axis = self.subject.neutral
        return bool(
            axis.mean[0] <= axis.mean.min() + 1e-6 and axis.mean[-1] >= axis.mean.max() - 1e-6
        )

    def _legal_input(self) -> Iterator[Finding]:
        axis = self.subject.neutral
        low, high = axis.clip_low, axis.clip_high
        if low is None or high is None or low.share < 0.03 or high.share < 0.03:
            return
        off = max(_nearest(low.onset, LEGAL_BLACKS), _nearest(high.onset, LEGAL_WHITES)) * CODES
        limit = self.limits["legal_range_input"]
        if off > limit:
            return
        yield Finding(
            "legal_range_input",
            "info",
            f"it uses the input from {low.onset * CODES:.0f} to {high.onset * CODES:.0f} of 1023: "
            "it expects legal range in",
            off,
            limit,
            LIMITS["legal_range_input"].unit,
            "fed with full range, shadows are crushed and highlights cut off",
            "record or feed legal range, or build it for full range in",
        )

    def _clipping(self) -> Iterator[Finding]:
        axis = self.subject.neutral
        for code, clip, what in (
            ("clipped_highlights", axis.clip_high, "above"),
            ("clipped_shadows", axis.clip_low, "below"),
        ):
            limit = self.limits[code]
            if clip is None or clip.share <= limit:
                continue
            lost = (
                code == "clipped_highlights"
                and self.scene_white is not None
                and clip.onset < self.scene_white - 1e-6
            )
            message = (
                f"everything {what} {100 * clip.onset:.1f} % in comes out at "
                f"{100 * clip.level:.1f} %"
            )
            if lost:
                message += ", and a 90 % white lies in it"
            yield Finding(
                code,
                "warning" if lost else "info",
                message,
                clip.share,
                limit,
                LIMITS[code].unit,
                "what the camera records there is not seen on the monitor, though it is recorded"
                if what == "above"
                else "shadows run into one black on the monitor, though more is recorded",
                "judge highlights on the recorded signal's waveform, or use a LUT that rolls off"
                if what == "above"
                else "right where the recording has no light at all: the foot of a log curve",
                self._on_axis(len(axis.inputs) - clip.nodes if what == "above" else clip.nodes - 1),
            )

    def _black(self) -> Iterator[Finding]:
        axis = self.subject.neutral
        value, limit = axis.black * CODES, self.limits["lifted_black"]
        near_legal = _nearest(axis.black, LEGAL_BLACKS) * CODES <= self.limits["legal_range_output"]
        if value <= limit or near_legal or axis.white <= axis.black:
            return
        cut = axis.clip_low is not None
        yield Finding(
            "lifted_black",
            "warning" if cut else "info",
            f"black comes out at {100 * axis.black:.1f} %"
            + (" though shadows are cut off below it" if cut else ""),
            value,
            limit,
            LIMITS["lifted_black"].unit,
            "blacks look grey, as through haze; a waveform never reaches 0 %",
            "a look, or a range mistake: check the monitor's range"
            if cut
            else "right when log comes out; else a look, or a range mistake: check the range",
            self._on_axis(0),
        )

    def _out_of_range(self) -> Iterator[Finding]:
        planes = self.subject.planes
        over, under = float(planes.max()) - 1, -float(planes.min())
        value, limit = max(over, under) * CODES, self.limits["out_of_range"]
        if value <= limit:
            return
        at = int(np.argmax(planes) if over >= under else np.argmin(planes))
        node = np.unravel_index(at, planes.shape)[1:]
        share = float(((planes > 1) | (planes < 0)).any(axis=0).mean())
        yield Finding(
            "out_of_range",
            "warning",
            f"values from {planes.min():.4f} to {planes.max():.4f}: "
            f"{100 * share:.1f} % of the nodes lie outside 0..1",
            value,
            limit,
            LIMITS["out_of_range"].unit,
            "a monitor cuts them off, or wraps them into wrong colours, or refuses the file",
            "clamp it to 0..1 for a monitor; keep it for float pipelines",
            self._at(tuple(int(each) for each in node)),
        )

    def _order(self) -> Iterator[Finding]:
        order = measures.channel_order(self.subject)
        if order == (0, 1, 2) or sorted(order) != [0, 1, 2]:
            return
        names = "RGB"
        moved = ", ".join(
            f"{names[out]} follows {names[source]}"
            for out, source in enumerate(order)
            if out != source
        )
        yield Finding(
            "channel_order",
            "error",
            f"the channels are swapped: {moved}",
            float(sum(out != source for out, source in enumerate(order))),
            None,
            "channels",
            "red and blue (or others) change places: blue skin, orange sky",
            "the table was written in another order of R, G and B: make it again",
        )

    def _folds(self) -> Iterator[Finding]:
        if (folds := self.folds) is None:
            return
        limit, dark_limit = self.limits["fold"], self.limits["fold_in_black"]
        seen = "colours double back: an edge or ring where a saturated colour should run smoothly"
        if folds.share > limit:
            yield Finding(
                "fold",
                "warning",
                f"colours run backwards in {100 * folds.share:.3g} % of the lattice, "
                f"up to {folds.worst.value:.1f} codes deep",
                folds.share,
                limit,
                LIMITS["fold"].unit,
                seen,
                "do not key or match through it; smooth it or make it again",
                self._at(folds.worst.node),
            )
        elif folds.dark_share > 0:
            bad = folds.dark_share > dark_limit
            yield Finding(
                "fold_in_black",
                "warning" if bad else "info",
                f"colours run backwards in {100 * folds.dark_share:.1f} % of the darkest corner",
                folds.dark_share,
                dark_limit,
                LIMITS["fold_in_black"].unit,
                "coloured specks in deep shadow noise",
                "nothing, where the corner lies under black"
                if not bad
                else "look at dark colours through it before you trust it",
                self._at(folds.worst.node),
            )

    def _roughness(self) -> Iterator[Finding]:
        bits = measures.coarse_bits(self.subject)
        step = CODES / (2**bits - 1) if bits else 0.0
        limit = self.limits["coarse_values"]
        if step > limit:
            assert bits is not None
            yield Finding(
                "banding",
                "warning",
                f"all values stand on {bits}-bit codes: steps of {step:.1f} 10-bit codes",
                step,
                limit,
                LIMITS["coarse_values"].unit,
                "bands in skies and walls, at their edges after a grade",
                "make it again with at least four decimals",
            )
            return
        level, level_limit = measures.noise(self.subject), self.limits["noise"]
        # Rounding to 10 bits looks like 0.29 codes of noise, whatever the limit is set to.
        if level > max(level_limit, 0.3 if bits else 0.0):
            yield Finding(
                "noise",
                "warning",
                f"the values are noisy: {level:.2f} 10-bit codes (standard deviation)",
                level,
                level_limit,
                LIMITS["noise"].unit,
                "blotches of colour in smooth areas, and bands after a grade",
                "it was measured or derived from pictures: smooth it, or build it from its curves",
            )
        else:
            yield from self._stray(0.6 if bits else 0.0)
        yield from self._banding()

    def _stray(self, rounding: float) -> Iterator[Finding]:
        spot, limit = measures.stray(self.subject), self.limits["stray_node"]
        if spot.value <= max(limit, rounding):
            return
        yield Finding(
            "stray_node",
            "warning",
            f"a node stands {spot.value:.1f} codes or more out of its neighbours",
            spot.value,
            limit,
            LIMITS["stray_node"].unit,
            "a spot of wrong colour wherever the picture has just that colour",
            "a number in the file is wrong: make it again, or smooth that node",
            self._at(spot.node),
        )

    def _banding(self) -> Iterator[Finding]:
        axis = self.subject.neutral
        steps = np.diff(axis.inputs)
        if steps.max() > 1.5 * steps.min():
            return  # behind a shaper the steps are not even
        spots = [measures.unevenness(axis.outputs[:, channel]) for channel in range(3)]
        channel = int(np.argmax([each.value for each in spots]))
        spot, limit = spots[channel], self.limits["banding"]
        if spot.value <= limit:
            return
        index = spot.node[0]
        width = abs(float(axis.outputs[index + 1, channel] - axis.outputs[index, channel])) * CODES
        yield Finding(
            "banding",
            "warning",
            f"a step of grey is {width:.1f} codes, {100 * spot.value:.0f} % off its neighbours",
            spot.value,
            limit,
            LIMITS["banding"].unit,
            "a line across skies, walls and faces where brightness should run smoothly",
            "smooth the tone curve, or build it again from known curves",
            self._on_axis(index),
        )

    def _repeats(self) -> Iterator[Finding]:
        if self.subject.lattice is None:
            return  # plateaus of a 1D LUT are steps of its own bit depth
        share, node = measures.repeats(self.subject)
        limit = self.limits["duplicate_nodes"]
        if share <= limit or measures.coarse_bits(self.subject):
            return
        yield Finding(
            "duplicate_nodes",
            "warning",
            f"{100 * share:.2g} % of neighbouring nodes are alike where they should differ",
            share,
            limit,
            LIMITS["duplicate_nodes"].unit,
            "flat patches with edges in smooth colour",
            "it was enlarged without interpolation, or a plane was written twice: make it again",
            self._at(node),
        )


def _nearest(value: float, marks: tuple[float, ...]) -> float:
    return min(abs(value - mark) for mark in marks)


__all__ = ["LIMITS", "SEVERITIES", "Clip", "Finding", "Health", "Limit", "Limits", "Place"]
