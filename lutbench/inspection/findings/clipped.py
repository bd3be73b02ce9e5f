"""Highlights or shadows that come out as one level."""

from __future__ import annotations

from collections.abc import Iterator

from lutbench.inspection.examined import Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit

LEAST = Limit(0.02, "share of the input scale", "under a fiftieth nothing that is recorded is lost")

ROUNDING = 1e-6
"""Signal: white counts as lost only where it lies in the clipped part by more than this."""


class ClippedHighlights(FindingKind):
    """Everything above some input comes out at one level."""

    code = "clipped_highlights"
    limit = LEAST
    severity = "info"
    seen = "what the camera records there is not seen on the monitor, though it is recorded"
    advice = "judge highlights on the recorded signal's waveform, or use a LUT that rolls off"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        axis, clip = lut.subject.neutral, lut.subject.neutral.clip_high
        if clip is None or clip.share <= self.limit_for(lut):
            return
        message = (
            f"everything above {100 * clip.onset:.1f} % in comes out at {100 * clip.level:.1f} %"
        )
        place = lut.on_axis(len(axis.inputs) - clip.nodes)
        if lut.scene_white is not None and clip.onset < lut.scene_white - ROUNDING:
            message += ", and that includes a 90 % white"
            yield self.finding(lut, message, clip.share, place=place, severity="warning")
        else:
            yield self.finding(lut, message, clip.share, place=place)


class ClippedShadows(FindingKind):
    """Everything below some input comes out at one level."""

    code = "clipped_shadows"
    limit = LEAST
    severity = "info"
    seen = "shadows run into one black on the monitor, though more is recorded"
    advice = "right where the recording has no light at all: the foot of a log curve"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        clip = lut.subject.neutral.clip_low
        if clip is None or clip.share <= self.limit_for(lut):
            return
        message = (
            f"everything below {100 * clip.onset:.1f} % in comes out at {100 * clip.level:.1f} %"
        )
        yield self.finding(lut, message, clip.share, place=lut.on_axis(clip.nodes - 1))
