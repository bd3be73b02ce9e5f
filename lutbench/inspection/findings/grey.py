"""Findings on the grey scale: falls, tint, signal range, clipping, black."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from lutbench.inspection.finding import CHANNELS, Examined, Finding, FindingKind, Limit, nearest
from lutbench.inspection.subject import CODES, NeutralAxis

NEGATIVE = 0.5 * CODES
"""10-bit codes: a fall of more than half the scale makes a negative picture."""


class NonMonotonic(FindingKind):
    """A channel falls while grey gets brighter."""

    code = "non_monotonic"
    severest = "error"
    limit = Limit(0.2, "10-bit codes", "twice the fall that rounding to four decimals can cause")
    cure = "monotone"
    seen = "a brighter part of a face or sky comes out darker than what is beside it"
    advice = "make the LUT again; `lutbench rework repair` mends small falls"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        depth, index, channel = lut.subject.neutral.fall
        value = depth * CODES
        if value <= self.limit_for(lut):
            return
        message = f"{CHANNELS[channel]} falls by {value:.1f} codes while grey gets brighter"
        negative = {"severity": "error", "seen": "a negative picture"} if value > NEGATIVE else {}
        yield self.finding(lut, message, value, place=lut.on_axis(index), **negative)


class Tint(FindingKind):
    """Grey comes out with a colour."""

    code = "tint"
    limit = Limit(1.0, "10-bit codes", "the least that a 10-bit signal can carry")
    cure = "tint"
    cured_on_request = True
    seen = "a grey card and white clothes look tinted; a white balance by eye goes wrong"
    advice = "a look may do this on purpose; do not judge white balance through it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        spread, index = lut.subject.neutral.tint
        value = spread * CODES
        if value <= self.limit_for(lut):
            return
        place = lut.on_axis(index)
        high, low = (CHANNELS[int(pick(place.output))] for pick in (np.argmax, np.argmin))
        message = (
            f"grey comes out tinted: {high} is {value:.1f} codes above {low} "
            f"at an input of {100 * place.input[0]:.0f} %"
        )
        yield self.finding(lut, message, value, place=place)


LEGAL_BLACKS = (64 / 1023, 16 / 255)
"""Full-scale values of legal black in 10 and in 8 bits (Recommendation ITU-R BT.709-6)."""

LEGAL_WHITES = (940 / 1023, 235 / 255)
"""Full-scale values of legal white in 10 and in 8 bits (Recommendation ITU-R BT.709-6)."""

LEAST_CLIPPED_SHARE = 0.03
"""Share of the input scale that must be clipped at each end: legal range leaves out 6 % and 8 %."""

AT_END_SIGNAL = 1e-6
"""Signal: the rounding of a file with six decimals."""


class LegalRangeOutput(FindingKind):
    """Black and white come out at the codes of legal black and white."""

    code = "legal_range_output"
    limit = Limit(1.5, "10-bit codes", "rounding moves black and white this far from 64 and 940")
    severity = "info"
    severest = "warning"
    cure = "legal"
    cured_on_request = True
    seen = "right on a monitor set to legal range; flat and grey on one set to full range"
    advice = (
        "set the monitor's input range to legal (narrow, video), or build it for full-range output"
    )

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis = lut.subject.neutral
        low, high = float(axis.mean.min()), float(axis.mean.max())
        off = max(nearest(low, LEGAL_BLACKS), nearest(high, LEGAL_WHITES)) * CODES
        if off <= self.limit_for(lut) and _ends_are_reached(axis):
            message = (
                f"the output is in legal range: black {low * CODES:.0f}, "
                f"white {high * CODES:.0f} of 1023"
            )
            if says_full(lut.title):
                sentence = f"{message}, though its title says full range"
                yield self.finding(lut, sentence, off, severity="warning", by_default=True)
            else:
                yield self.finding(lut, message, off)


class LegalWhite(FindingKind):
    """As `LegalRangeOutput`, but only white says so: black is lifted."""

    code = "legal_range_output"
    limit_code = "legal_range_white"
    limit = Limit(1.5, "10-bit codes", LegalRangeOutput.limit.why)
    severity = "info"
    seen = LegalRangeOutput.seen
    advice = (
        "try the monitor's input range at legal (narrow, video); keep it if black then looks right"
    )

    def examine(self, lut: Examined) -> Iterator[Finding]:
        planes, axis = lut.subject.planes.reshape(3, -1), lut.subject.neutral
        limit = self.limit_for(lut)
        off = max(nearest(float(each), LEGAL_WHITES) for each in planes.max(axis=1)) * CODES
        over_black = float(planes.min() - max(LEGAL_BLACKS)) * CODES
        if off > limit or over_black <= limit or not _ends_are_reached(axis):
            return
        message = (
            f"white comes out at {axis.white * CODES:.0f} of 1023, which is legal white, and black "
            f"at {axis.black * CODES:.0f}: probably legal range with black lifted"
        )
        yield self.finding(lut, message, off)


class LegalRangeInput(FindingKind):
    """Only inputs between legal black and legal white make a difference."""

    code = "legal_range_input"
    limit = Limit(6.0, "10-bit codes", "between nodes a clipping point is found to this much")
    severity = "info"
    seen = "with a full-range input, shadows are crushed and highlights are clipped"
    advice = "record or feed legal range, or build it for full-range input"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        low, high = lut.subject.neutral.clip_low, lut.subject.neutral.clip_high
        if low is None or high is None or min(low.share, high.share) < LEAST_CLIPPED_SHARE:
            return
        off = max(nearest(low.onset, LEGAL_BLACKS), nearest(high.onset, LEGAL_WHITES)) * CODES
        if off <= self.limit_for(lut):
            message = (
                f"it uses the input from {low.onset * CODES:.0f} to {high.onset * CODES:.0f} "
                "of 1023: it expects a legal-range input"
            )
            yield self.finding(lut, message, off)


def says_full(title: str) -> bool:
    """Whether a title claims full range, and does not also name legal range.

    >>> says_full("Day, full range"), says_full("full to legal"), says_full("Fullmoon")
    (True, False, False)
    """
    words = set(re.findall(r"[a-z]+", title.lower()))
    return "full" in words and not words & {"legal", "narrow", "video", "limited"}


def _ends_are_reached(axis: NeutralAxis) -> bool:
    """Whether the darkest grey gives the lowest output and the brightest the highest."""
    low, high = axis.mean.min() + AT_END_SIGNAL, axis.mean.max() - AT_END_SIGNAL
    return bool(axis.mean[0] <= low and axis.mean[-1] >= high)


CLIPPED_SHARE = Limit(
    0.02, "share of the input scale", "clipping less than this loses nothing that is recorded"
)

ROUNDING_SIGNAL = 1e-6
"""Signal: white counts as clipped only if it lies above the clipping point by more than this."""


class ClippedHighlights(FindingKind):
    """Every input above some level comes out the same."""

    code = "clipped_highlights"
    limit = CLIPPED_SHARE
    severity = "info"
    severest = "warning"
    seen = "the monitor shows no detail there, though the camera records it"
    advice = "judge highlights on the recorded signal's waveform, or use a LUT that rolls off"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis, clip = lut.subject.neutral, lut.subject.neutral.clip_high
        if clip is None or clip.share <= self.limit_for(lut):
            return
        message = (
            f"every input above {100 * clip.onset:.1f} % comes out at {100 * clip.level:.1f} %"
        )
        place = lut.on_axis(len(axis.inputs) - clip.nodes)
        if lut.scene_white is not None and clip.onset < lut.scene_white - ROUNDING_SIGNAL:
            message += ", and that includes a 90 % white"
            yield self.finding(lut, message, clip.share, place=place, severity="warning")
        else:
            yield self.finding(lut, message, clip.share, place=place)


class ClippedShadows(FindingKind):
    """Every input below some level comes out the same."""

    code = "clipped_shadows"
    limit = CLIPPED_SHARE
    severity = "info"
    seen = "whatever is recorded below that is the same black on the monitor"
    advice = "harmless if the recording has no light there, as at the foot of a log curve"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        clip = lut.subject.neutral.clip_low
        if clip is None or clip.share <= self.limit_for(lut):
            return
        message = (
            f"every input below {100 * clip.onset:.1f} % comes out at {100 * clip.level:.1f} %"
        )
        yield self.finding(lut, message, clip.share, place=lut.on_axis(clip.nodes - 1))


class LiftedBlack(FindingKind):
    """Black comes out above 0, and not at a legal black."""

    code = "lifted_black"
    limit = Limit(10.0, "10-bit codes", "about 1 % of signal, at which black starts to look grey")
    severity = "info"
    seen = "blacks look grey, as through haze; a waveform never reaches 0 %"
    advice = "right if log is meant to come out; else a look, or a wrong range: check the range"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis = lut.subject.neutral
        value = axis.black * CODES
        legal = nearest(axis.black, LEGAL_BLACKS) * CODES <= LegalRangeOutput().limit_for(lut)
        if value <= self.limit_for(lut) or legal or axis.white <= axis.black:
            return
        message = f"black comes out at {100 * axis.black:.1f} %"
        if axis.clip_low is not None:
            message += ", although shadows are clipped"
        yield self.finding(lut, message, value, place=lut.on_axis(0))
