"""Numbers in words: how reports write light, stops and codes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection.facts import NEUTRAL, SEPARABLE, Evidence

if TYPE_CHECKING:
    from lutbench.exposure.levels import Levels
    from lutbench.inspection.inspection import Inspection


def percent_words(reflectance: float) -> str:
    """A reflectance in percent, with as many digits as tell it apart.

    >>> percent_words(0.18), percent_words(0.0014), percent_words(222.86)
    ('18 %', '0.14 %', '22286 %')
    """
    percent = 100 * reflectance
    if abs(percent) >= 9.95 or percent == 0:
        return f"{percent:.0f} %"
    digits = max(1, 1 - math.floor(math.log10(abs(percent))))
    return f"{percent:.{min(digits, 4)}f}".rstrip("0").rstrip(".") + " %"


def luminance_words(luminance: float | None) -> str:
    """A luminance in cd/m² with as many digits as tell it apart; nothing where there is none.

    >>> luminance_words(203.4), luminance_words(26.03), luminance_words(0.0051)
    ('203', '26.0', '0.0051')
    """
    if luminance is None:
        return ""
    if luminance >= 99.95 or luminance == 0:
        return f"{luminance:.0f}"
    if luminance >= 0.995:
        return f"{luminance:.1f}"
    return f"{luminance:.2g}" if luminance >= 1e-4 else "0"


def stops_words(stops: float) -> str:
    """Stops from mid grey with their sign.

    >>> stops_words(1.0), stops_words(0.0), stops_words(float("-inf"))
    ('+1.0', '0.0', '−∞')
    """
    if not math.isfinite(stops):
        return "−∞"
    text = f"{stops:+.1f}".replace("-", "−")
    return "0.0" if text in ("+0.0", "−0.0") else text


def signed_stops(stops: float) -> str:
    """Stops with their sign and their noun.

    >>> signed_stops(1), signed_stops(-0.5), signed_stops(2)
    ('+1 stop', '−0.5 stop', '+2 stops')
    """
    return f"{stops:+g} stop{'' if abs(stops) <= 1 else 's'}".replace("-", "−")


def light_words(light: float) -> str:
    """A light as stops from mid grey; no light as that.

    >>> light_words(0.9), light_words(0.0)
    ('+2.3 stops', 'no light')
    """
    if light < 1e-6:
        return "no light"
    return f"{stops_words(math.log2(light / 0.18))} stops"


def ends_words(day: Levels, *, after: bool) -> str:
    """What lies on 0 % and on 100 %, recorded or after the LUT; where black is, if over 0 %."""
    ends = day.after_ends if after else day.ends
    assert ends is not None
    dark = day.at(0.0)
    reading = dark.after_lut if after else dark.recorded
    if ends.zero is not None and ends.zero >= -1e-6:
        zero = f"0 % is {light_words(ends.zero)}"
    else:
        assert reading is not None
        zero = f"black (no light) is at {reading.percent:.1f} %"
    full = "nothing reaches 100 %" if ends.full is None else f"100 % is {light_words(ends.full)}"
    return f"{zero}, {full}"


def fact_rows(found: Inspection) -> list[tuple[str, str]]:
    """The facts about a LUT, a name and a sentence each."""
    subject, axis, evidence = found.subject, found.neutral, found.evidence
    low, high = subject.domain
    kinds = {
        "lut1d": f"1D, {subject.size} rows",
        "lut3d": f"3D, {subject.size} nodes an edge",
        "shaper_lut3d": f"1D shaper, then 3D with {subject.size} nodes an edge",
        "transform": f"no table: sampled with {subject.size} nodes an edge for this report",
    }
    domain = " ".join(f"{a:g}..{b:g}" for a, b in zip(low, high, strict=True))
    if (low == low[0]).all() and (high == high[0]).all():
        domain = f"{low[0]:g} to {high[0]:g}"
    rows = [("table", f"{kinds[subject.type]}; takes {domain}")]
    if found.title:
        rows.append(("title", " ".join(found.title.split())))
    if found.written is not None:
        rows.append(("written", found.written.words))
    rows.append(("kind", f"{found.kind}: {_evidence_words(evidence)}"))
    rows.append(("black, white", f"{_levels3(axis.outputs[0])} to {_levels3(axis.outputs[-1])}"))
    rows.append(
        (
            "mid grey" if found.source_curve is not None else "middle",
            f"{100 * found.mid_grey_in:.1f} % in, {100 * found.mid_grey_out:.1f} % out; "
            f"slope {axis.slope_at(found.mid_grey_in):.2f}, steepest {axis.steepest[0]:.2f} "
            f"at {100 * axis.steepest[1]:.0f} % in"
            + ("" if found.source_curve is not None else " (half way up: grey is not known)"),
        )
    )
    clips = []
    if axis.clip_low is not None:
        clips.append(f"below {100 * axis.clip_low.onset:.1f} % in")
    if axis.clip_high is not None:
        clips.append(f"above {100 * axis.clip_high.onset:.1f} % in")
    rows.append(("clipped", " and ".join(clips) or "nowhere on the grey scale"))
    fall, tint = 1023 * axis.fall[0], 1023 * axis.tint[0]
    rows.append(
        (
            "grey scale",
            ("rises throughout" if fall < 0.05 else f"falls by up to {fall:.1f} codes")
            + (", neutral" if tint < 0.05 else f", tinted by up to {tint:.1f} codes"),
        )
    )
    rows.append(
        (
            "ranges",
            f"read as {found.source_range} range in, {found.target_range} range out, "
            f"seen as {found.target.curve.name} / {found.target.gamut.name}",
        )
    )
    return rows


def _levels3(rgb: NDArray[np.float64]) -> str:
    """One percentage for a grey, else three."""
    if float(np.ptp(rgb)) < 0.0005:
        return f"{100 * float(rgb.mean()):.1f} %"
    return " / ".join(f"{100 * each:.1f}" for each in rgb.tolist()) + " % (R / G / B)"


def scene_words(found: Inspection) -> list[str]:
    """The LUT read in stops, a line each."""
    scene = found.scene
    if scene is None:
        return []
    before, after = 100 * scene.contrast_before, 100 * scene.contrast_after
    lines = [
        f"Contrast at mid grey: {before:.1f} % of signal a stop before, {after:.1f} % after "
        f"({after / before:.1f} times)"
        if before > 0
        else f"Contrast at mid grey: {after:.1f} % of signal a stop after"
    ]
    if scene.roll_off is None:
        lines.append("Roll-off: none before the recording ends")
    else:
        lines.append(
            f"Roll-off: from {stops_words(scene.roll_off)} stops a stop gains less and less"
        )
    if scene.top is None or scene.bottom is None:
        lines.append("Separated: no stop is one 8-bit code from the next")
    else:
        top, bottom = (f"{each:+d}".replace("-", "−") for each in (scene.top, scene.bottom))
        lines.append(
            f"Separated by an 8-bit code or more: up to {top} stops, down to {bottom} stops"
        )
    return lines


def _evidence_words(evidence: Evidence) -> str:
    """What the kind rests on, in 10-bit codes."""
    if evidence.kind == "identity":
        return f"nothing moves by more than {evidence.change:.2f} 10-bit codes"
    alone = evidence.separability_residual <= SEPARABLE
    channels = "each channel goes by itself" if alone else "channels act on each other"
    stay = evidence.neutral_deviation <= NEUTRAL
    greys = "greys stay" if stay else "greys move"
    return (
        f"values move by up to {evidence.change:.0f} 10-bit codes; {channels} "
        f"({evidence.separability_residual:.1f} codes); {greys} "
        f"({evidence.neutral_deviation:.1f} codes)"
    )
