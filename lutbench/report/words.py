"""Numbers in words: how reports write light, stops and codes."""

from __future__ import annotations

import math


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
    """A light as stops from mid grey, or as what it is near black.

    >>> light_words(0.9), light_words(0.0), light_words(-0.01)
    ('+2.3 stops', 'no light', 'below black')
    """
    if light < -1e-6:
        return "below black"
    if light < 1e-6:
        return "no light"
    return f"{stops_words(math.log2(light / 0.18))} stops"
