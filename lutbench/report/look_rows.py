"""The rows of the two tables about a look: changes by hue, and changes of the grey scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lutbench.identification import Look


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
