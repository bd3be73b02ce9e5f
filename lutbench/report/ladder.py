"""The ladder: two signal scales side by side, with the levels of light on each."""

from __future__ import annotations

from typing import Any

from lutbench.exposure.levels import Levels
from lutbench.exposure.reading import GREY, SKIN, WHITE, WHITE_CARD, Level
from lutbench.report.drawing import THEMED, new_figure
from lutbench.report.words import stops_words

_NAMED = {GREY: "mid grey", SKIN: "light skin", WHITE_CARD: "white card"}
_CLOSE_SHARE = 0.026
"""Share of the height within which two labels would overlap."""

_LEFT_SHARE = 0.5
"""Position of the scale before the LUT, as a share of the width: room for its labels."""

_RIGHT_SHARE = 0.76
"""Position of the scale after the LUT, as a share of the width: room for its labels."""


def ladder_alternative(day: Levels) -> str:
    """What the ladder shows, in words."""
    parts = [f"Signal levels on {day.curve.name}"]
    for light, name in _NAMED.items():
        level = day.at(light)
        text = f"{name} at {level.recorded.percent:.0f} %"
        if level.after_lut:
            text += f", after the LUT {level.after_lut.percent:.0f} %"
        parts.append(text)
    return "; ".join(parts)


def ladder(
    day: Levels,
    *,
    width: float = 3.2,
    height: float = 5.0,
) -> Any:
    """The scale as recorded, and beside it the scale after the LUT."""
    figure = new_figure(width, height)
    axes = figure.add_subplot(111)
    axes.set_xlim(-0.02, 1)
    axes.set_ylim(-0.09, max(1.05, day.curve.ends[1] + 0.02))
    axes.axis("off")
    _scale(axes, _LEFT_SHARE, "recorded")
    if day.after_ends:
        _scale(axes, _RIGHT_SHARE, "after LUT")
    rungs = [each for each in day.levels if _is_rung(each)]
    for each in rungs:
        _rung(axes, each)
    _labels(axes, rungs)
    return figure


def _is_rung(level: Level) -> bool:
    if level.clipped or level.reflectance <= 0:
        return False
    stops = level.stops
    whole = abs(stops - round(stops)) < 1e-6
    return level.reflectance in _NAMED or (whole and level.reflectance != WHITE and stops > -7)


def _scale(axes: Any, x: float, name: str) -> None:
    axes.plot([x, x], [0, 1], color=THEMED.line, linewidth=5, solid_capstyle="butt")
    for percent in range(0, 101, 10):
        axes.plot([x - 0.015, x + 0.015], [percent / 100] * 2, color=THEMED.faint, linewidth=0.6)
    for at, text in ((1.03, "100 %"), (-0.03, "0 %")):
        axes.text(x, at, text, ha="center", va="center", fontsize=6.5, color=THEMED.faint)
    axes.text(x, -0.07, name, ha="center", va="center", fontsize=6.8, color=THEMED.faint)


def _rung(axes: Any, level: Level) -> None:
    named = level.reflectance in _NAMED
    colour = THEMED.mark if named else THEMED.faint
    weight = 1.6 if named else 0.6
    left = level.recorded.signal
    axes.plot(
        [_LEFT_SHARE - 0.02, _LEFT_SHARE + 0.02], [left] * 2, color=colour, linewidth=weight + 0.8
    )
    if level.after_lut:
        right = min(max(level.after_lut.signal, 0), 1)
        axes.plot(
            [_LEFT_SHARE + 0.02, _RIGHT_SHARE - 0.02], [left, right], color=colour, linewidth=weight
        )
        axes.plot(
            [_RIGHT_SHARE - 0.02, _RIGHT_SHARE + 0.02],
            [right] * 2,
            color=colour,
            linewidth=weight + 0.8,
        )


def _labels(axes: Any, rungs: list[Level]) -> None:
    """Draw names beside the scales, subjects first; a stop without space gets no name."""
    by_weight = sorted(rungs, key=lambda each: each.reflectance not in _NAMED)
    for after in (False, True):
        taken: list[float] = []
        for each in by_weight:
            reading = each.after_lut if after else each.recorded
            if reading is None:
                continue
            at = min(max(reading.signal, 0), 1)
            if any(abs(at - other) < _CLOSE_SHARE for other in taken):
                continue
            taken.append(at)
            named = each.reflectance in _NAMED
            name = _NAMED.get(each.reflectance, f"{stops_words(each.stops)[:-2]}")
            text = f"{reading.percent:.0f} %" if named else ""
            if not after:
                text = f"{name} {text}".strip()
            elif not named:
                text = name
            axes.text(
                _RIGHT_SHARE + 0.06 if after else _LEFT_SHARE - 0.06,
                at,
                text,
                ha="left" if after else "right",
                va="center",
                fontsize=7.5 if named else 6.5,
                color=THEMED.ink if named else THEMED.faint,
                fontweight="bold" if named else "normal",
            )
