"""An inspection in words: the facts about a LUT, and the LUT read in stops."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection.facts import NEUTRAL_CODES, SEPARABLE_CODES, DepthReport, Evidence
from lutbench.model.signal import CODES_10_BIT
from lutbench.report.words import stops_words

if TYPE_CHECKING:
    from lutbench.inspection.inspection import Inspection
    from lutbench.inspection.subject import NeutralAxis, Subject


def fact_rows(found: Inspection) -> list[tuple[str, str]]:
    """The facts about a LUT, as pairs of name and sentence."""
    axis, known = found.neutral, found.source_curve is not None
    rows = [("table", _table_words(found.subject))]
    if found.title:
        rows.append(("title", " ".join(found.title.split())))
    if found.written is not None:
        rows.append(("written", found.written.words))
    if found.unusable:
        return rows
    middle = (
        f"{100 * found.mid_grey_in:.1f} % in, {100 * found.mid_grey_out:.1f} % out; "
        f"slope {axis.slope_at(found.mid_grey_in):.2f}, steepest {axis.steepest[0]:.2f} "
        f"at {100 * axis.steepest[1]:.0f} % in"
    )
    ranges = (
        f"read as {found.source_range} range in, {found.target_range} range out, "
        f"seen as {found.target.curve.name} / {found.target.gamut.name}"
    )
    unknown = "" if known else " (half-way up, as the grey level is not known)"
    return [
        *rows,
        ("kind", f"{found.kind}: {_evidence_words(found.evidence)}"),
        ("black, white", f"{_levels3(axis.outputs[0])} to {_levels3(axis.outputs[-1])}"),
        ("mid grey" if known else "middle", middle + unknown),
        ("clipped", _clip_words(axis)),
        ("grey scale", _grey_words(axis)),
        ("ranges", ranges),
    ]


def _table_words(subject: Subject) -> str:
    low, high = subject.domain
    kinds = {
        "lut1d": f"1D, {subject.size} rows",
        "lut3d": f"3D, {subject.size} nodes along an edge",
        "shaper_lut3d": f"1D shaper, then 3D with {subject.size} nodes along an edge",
        "transform": f"no table: sampled with {subject.size} nodes along an edge for this report",
    }
    domain = " ".join(f"{a:g}..{b:g}" for a, b in zip(low, high, strict=True))
    if (low == low[0]).all() and (high == high[0]).all():
        domain = f"{low[0]:g} to {high[0]:g}"
    return f"{kinds[subject.type]}; takes {domain}"


def _clip_words(axis: NeutralAxis) -> str:
    clips = []
    if axis.clip_low is not None:
        clips.append(f"below {100 * axis.clip_low.onset:.1f} % in")
    if axis.clip_high is not None:
        clips.append(f"above {100 * axis.clip_high.onset:.1f} % in")
    return " and ".join(clips) or "nowhere on the grey scale"


def _grey_words(axis: NeutralAxis) -> str:
    fall, tint = CODES_10_BIT * axis.fall[0], CODES_10_BIT * axis.tint[0]
    rising = "rises throughout" if fall < 0.05 else f"falls by up to {fall:.1f} codes"
    return rising + (", neutral" if tint < 0.05 else f", tinted by up to {tint:.1f} codes")


def depth_words(report: DepthReport) -> str:
    """How many different greys of a recording the LUT keeps."""
    return (
        f"An {report.input_bits}-bit recording gives {report.levels} different greys, "
        f"{report.levels_8_bit} on an 8-bit output"
    ).replace("An 10", "A 10")


def _levels3(rgb: NDArray[np.float64]) -> str:
    """One percentage for a neutral, else three."""
    if float(np.ptp(rgb)) < 0.0005:
        return f"{100 * float(rgb.mean()):.1f} %"
    return " / ".join(f"{100 * each:.1f}" for each in rgb.tolist()) + " % (R / G / B)"


def scene_words(found: Inspection) -> list[str]:
    """The LUT in stops: a list of lines; none of a false-colour LUT, which has no tone."""
    scene = found.scene
    if scene is None or any(each.code == "false_colour" for each in found.findings):
        return []
    before, after = 100 * scene.contrast.before, 100 * scene.contrast.after
    lines = [
        f"Contrast at mid grey: {before:.1f} % of signal per stop before the LUT, {after:.1f} % "
        f"after it ({after / before:.1f} times)"
        if before > 0
        else f"Contrast at mid grey: {after:.1f} % of signal per stop after the LUT"
    ]
    if scene.roll_off is None:
        lines.append("Roll-off: none before the recording ends")
    else:
        lines.append(
            f"Roll-off: from {stops_words(scene.roll_off)} stops, each further stop gains less"
        )
    low, high = scene.separated.lowest_stop, scene.separated.highest_stop
    if low is None or high is None:
        lines.append("No two stops stay as much as one 8-bit code apart")
    else:
        bottom, top = (f"{each:+d}".replace("-", "−") for each in (low, high))
        clip = scene.levels.levels[-1].stops
        if high > clip:
            top = f"where the recording clips, at {stops_words(clip)}"
        lines.append(f"Stops that stay at least one 8-bit code apart: from {bottom} to {top}")
    return lines


def _evidence_words(evidence: Evidence) -> str:
    """The evidence for the kind, in 10-bit codes."""
    if evidence.kind == "identity":
        return f"nothing moves by more than {evidence.change:.2f} 10-bit codes"
    alone = evidence.separability_residual <= SEPARABLE_CODES
    channels = "each channel stays separate" if alone else "the channels mix"
    stay = evidence.neutral_deviation <= NEUTRAL_CODES
    greys = "greys stay" if stay else "greys move"
    return (
        f"values move by up to {evidence.change:.0f} 10-bit codes; {channels} "
        f"({evidence.separability_residual:.1f} codes); {greys} "
        f"({evidence.neutral_deviation:.1f} codes)"
    )
