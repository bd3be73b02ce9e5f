"""The tone mappers by name.

``clip`` is none of them: it is a conversion without a tone mapper.
"""

from __future__ import annotations

from importlib import import_module

from lutbench.errors import LutbenchError
from lutbench.given import text
from lutbench.model.tone.base import ToneMapper

CLIP = "clip"

# Name to its file in this folder and its class: imported when it is asked for, so that a
# conversion without a tone loads none of them.
_HOMES: dict[str, tuple[str, str]] = {
    "shoulder": ("shoulder", "ToneCurve"),
    "eetf": ("eetf", "Eetf"),
    "sigmoid": ("sigmoid", "Sigmoid"),
    "bt2446-a": ("bt2446", "Bt2446A"),
    "bt2446-a-up": ("bt2446", "Bt2446AUp"),
    "bt2446-c": ("bt2446", "Bt2446C"),
}
_ADDED: dict[str, type[ToneMapper]] = {}


def register(mapper: type[ToneMapper]) -> type[ToneMapper]:
    """Make a tone mapper known under its `method`; serves as a decorator.

    Raises
    ------
    LutbenchError
        When it has no name, or another one has it.
    """
    name = mapper.method
    taken = name in _HOMES or _ADDED.get(name, mapper) is not mapper
    if not name or name == CLIP or taken:
        raise LutbenchError(
            f"a tone mapper cannot be named {name!r}", accepted="a name that no other one has"
        )
    _ADDED[name] = mapper
    return mapper


def tone_names() -> tuple[str, ...]:
    """What a recipe's ``method`` and ``--tone`` accept.

    >>> tone_names()[:2]
    ('clip', 'shoulder')
    """
    return (CLIP, *_HOMES, *_ADDED)


def tone_mapper(name: str, where: str = "") -> type[ToneMapper] | None:
    """The tone mapper of a name, letter case ignored; None for ``clip``.

    Raises
    ------
    LutbenchError
        For a name that nobody has registered.
    """
    folded = text(name, where or "tone").casefold()
    if folded == CLIP:
        return None
    if folded in _ADDED:
        return _ADDED[folded]
    if folded not in _HOMES:
        raise LutbenchError(
            f"no tone is named {name!r}", where=where, accepted=", ".join(tone_names())
        )
    file, mapper = _HOMES[folded]
    found: type[ToneMapper] = getattr(import_module(f"lutbench.model.tone.{file}"), mapper)
    return found
