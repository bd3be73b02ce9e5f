"""A look in words that a shooter uses."""

from __future__ import annotations

import numpy as np

from lutbench.identification.directions import towards
from lutbench.identification.result import HueChange, Look, ToneChange

SATURATION = 0.02
"""The change of saturation, as a share, from which it is mentioned."""

CONTRAST = 0.03
"""The change of contrast, as a share, from which it is mentioned, and two looks differ."""

TURN = 1.5
"""The turn of a hue in degrees from which it is mentioned."""

LIGHTNESS = 1.0
"""The change of L* from which it is mentioned, and of a* or b* from which two looks differ."""

TINT = 0.7
"""The length of (a*, b*) from which a tint is mentioned: less can hardly be seen."""

TINT_CLEAR = 3.0
"""The length of (a*, b*) from which a tint is no longer called slight."""

TINT_STRONG = 8.0
"""The length of (a*, b*) from which a tint is called strong."""

COMPRESSED = 0.04
"""The share of saturation by which strong colours must lose more than others to be mentioned."""

ALIKE = 0.35
"""The share by which changes of hues may differ and still be described as one."""

# Directions of (a*, b*) in degrees: the upper end of each name's sector.
_TINTS = ((30, "magenta"), (110, "warm"), (200, "green"), (310, "cool"), (361, "magenta"))


def described(look: Look) -> tuple[str, ...]:
    """Phrases for a look, such as ``shadows slightly cool``; overall changes before single hues."""
    phrases = [*_of_tone(look), *_of_saturation(look), *_of_hues(look)]
    return tuple(phrases)


def _of_tone(look: Look) -> list[str]:
    found = []
    if look.contrast is not None and abs(look.contrast - 1) >= CONTRAST:
        found.append(f"contrast at mid grey {percent(look.contrast - 1)}")
    seen = [each for each in look.tones if abs(each.lightness) >= LIGHTNESS]
    same_way = len({each.lightness > 0 for each in seen}) == 1
    if len(seen) == len(look.tones) > 1 and same_way:
        way = "brighter" if seen[0].lightness > 0 else "darker"
        found.append(f"the whole picture {_degree(max(abs(e.lightness) for e in seen), 6)}{way}")
    else:
        found += [
            f"{each.part} {_degree(abs(each.lightness), 6)}"
            f"{'brighter' if each.lightness > 0 else 'darker'}"
            for each in seen
        ]
    return found + _of_tints(look.tones)


def _of_tints(tones: tuple[ToneChange, ...]) -> list[str]:
    """Parts with the same tint are described together."""
    parts_of: dict[str, list[str]] = {}
    for each in tones:
        word = tint_word(each)
        if word:
            parts_of.setdefault(word, []).append(each.part)
    return [
        f"{'the whole grey scale' if len(parts) == 3 else listed(parts)} {word}"
        for word, parts in parts_of.items()
    ]


def tint_word(change: ToneChange) -> str:
    """``slightly cool`` and the like; empty where no tint can be seen."""
    size = float(np.hypot(change.a, change.b))
    if size < TINT:
        return ""
    angle = float(np.rad2deg(np.arctan2(change.b, change.a))) % 360
    name = next(word for limit, word in _TINTS if angle < limit)
    strength = "slightly " if size < TINT_CLEAR else "" if size < TINT_STRONG else "strongly "
    return strength + name


def _of_saturation(look: Look) -> list[str]:
    if look.saturation is None or not look.hues:
        return []
    strong = look.strong_saturation
    if strong is not None and strong < 1 - COMPRESSED and strong < look.saturation - COMPRESSED:
        found = [f"strong colours {_saturated(strong - 1)}"]
        return found if abs(look.saturation - 1) < COMPRESSED else found + _by_hue(look)
    return _by_hue(look)


def _by_hue(look: Look) -> list[str]:
    assert look.saturation is not None
    if _is_one(look):
        change = look.saturation - 1
        return [_saturated(change)] if _seen(change) else []
    changed = [each for each in look.hues if _seen(each.saturation - 1)]
    changed = _without_doubled_skin(changed)
    changed.sort(key=lambda each: -abs(each.saturation - 1))
    return [f"{each.hue} {_saturated(each.saturation - 1)}" for each in changed[:3]]


def _is_one(look: Look) -> bool:
    """Whether all hues are saturated or desaturated alike."""
    changes = np.array([each.saturation - 1 for each in look.hues])
    middle = float(np.median(changes))
    return bool(np.abs(changes - middle).max() <= max(SATURATION, ALIKE * abs(middle)))


def _without_doubled_skin(changed: list[HueChange]) -> list[HueChange]:
    """Skin tones are among the reds, so one is mentioned: skin, unless reds change far more."""
    by_name = {each.hue: each for each in changed}
    reds, skin = by_name.get("reds"), by_name.get("skin-side reds")
    if reds is None or skin is None:
        return changed
    drop = skin if abs(reds.saturation - 1) > 1.5 * abs(skin.saturation - 1) else reds
    return [each for each in changed if each is not drop]


def _of_hues(look: Look) -> list[str]:
    turned = [each for each in look.hues if abs(each.turned) >= TURN]
    if not turned:
        return []
    angles = np.array([each.turned for each in look.hues])
    if np.ptp(angles) <= max(TURN, ALIKE * abs(float(np.median(angles)))):
        way = "anticlockwise" if np.median(angles) > 0 else "clockwise"
        return [f"all hues turned {abs(float(np.median(angles))):.0f}° {way} on the vectorscope"]
    turned.sort(key=lambda each: -abs(each.turned))
    return [
        f"{each.hue} turned {abs(each.turned):.0f}° towards {towards(each.hue, each.turned)}"
        for each in turned[:2]
    ]


def percent(change: float) -> str:
    """A signed change: ``+12 %``.

    >>> percent(0.124), percent(-0.05)
    ('+12 %', '−5 %')
    """
    return f"{'+' if change >= 0 else '−'}{abs(100 * change):.0f} %"


def listed(words: list[str]) -> str:
    """Words with commas and an ``and``.

    >>> listed(["shadows", "mid tones", "highlights"])
    'shadows, mid tones and highlights'
    """
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _saturated(change: float) -> str:
    return f"{abs(100 * change):.0f} % {'more' if change > 0 else 'less'} saturated"


def _seen(change: float) -> bool:
    return abs(change) >= SATURATION


def _degree(size: float, clear: float) -> str:
    return "slightly " if size < clear / 2 else "" if size < 2 * clear else "much "
