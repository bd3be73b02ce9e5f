"""Numbers in words: how reports write light, stops and codes, and the rows about a look."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lutbench.model.curves.base import MID_GREY

if TYPE_CHECKING:
    from lutbench.exposure.levels import Levels
    from lutbench.identification import Look

SPREAD_WORDS = {"mean": "mean", "p95": "95 %", "p99": "99 %", "max": "max"}
"""What heads the figures of a spread in tables: 95 % of the differences are under the second."""


NOT_DESCRIBED = "not described, since no candidate explains this LUT"
"""Of tone and look, which would be those beside a wrong conversion."""


def percent_words(reflectance: float) -> str:
    """A reflectance in percent, with two significant digits at least.

    >>> percent_words(0.18), percent_words(0.0014), percent_words(222.86)
    ('18 %', '0.14 %', '22286 %')
    """
    percent = 100 * reflectance
    if abs(percent) >= 9.95 or percent == 0:
        return f"{percent:.0f} %"
    digits = max(1, 1 - math.floor(math.log10(abs(percent))))
    return f"{percent:.{min(digits, 4)}f}".rstrip("0").rstrip(".") + " %"


def luminance_words(luminance: float | None) -> str:
    """A luminance in cd/m², rounded to what matters at its size; empty where there is none.

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


def light_words(light: float) -> str:
    """Light as stops from mid grey, or "no light".

    >>> light_words(0.9), light_words(0.0)
    ('+2.3 stops', 'no light')
    """
    if light < 1e-6:
        return "no light"
    return f"{stops_words(math.log2(light / MID_GREY))} stops"


def ends_words(day: Levels, *, after: bool) -> str:
    """The light at 0 % and 100 %, recorded or after the LUT, or where black is if above 0 %."""
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


def signed(value: float, digits: int, unit: str = "") -> str:
    """A number with its sign, and no sign where it rounds to zero.

    >>> signed(-1.25, 1, "°"), signed(0.5, 0, " %"), signed(-0.001, 2)
    ('−1.2°', '0 %', '0.00')
    """
    text = f"{value:+.{digits}f}".replace("-", "−")
    zero = f"{0:.{digits}f}"
    return (zero if text[1:] == zero else text) + unit


def hue_rows(look: Look) -> list[tuple[str, ...]]:
    """Hue, rotation in degrees, saturation and luma in percent, and ΔE 2000."""
    return [
        (
            each.hue,
            signed(each.turned, 1, "°"),
            signed(100 * (each.saturation - 1), 0, " %"),
            signed(each.luma, 1, " %"),
            f"{each.delta_e:.1f}",
        )
        for each in look.hues
    ]


def grey_rows(look: Look) -> list[tuple[str, ...]]:
    """Part of the grey scale, changes of L*, a* and b*, and the tint in words."""
    from lutbench.identification.lookwords import tint_word

    return [
        (
            each.part,
            signed(each.lightness, 1),
            signed(each.a, 1),
            signed(each.b, 1),
            tint_word(each) or "none",
        )
        for each in look.tones
    ]
