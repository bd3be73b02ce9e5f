"""The tone mappers by name.

``clip`` is none of them: it is a conversion without a tone mapper.
"""

from __future__ import annotations

from lutbench.errors import LutbenchError
from lutbench.model.tone.base import ToneMapper
from lutbench.model.tone.bt2446 import Bt2446A, Bt2446AUp, Bt2446C
from lutbench.model.tone.eetf import Eetf
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.tone.sigmoid import Sigmoid

CLIP = "clip"

KNOWN: tuple[type[ToneMapper], ...] = (
    ToneCurve,
    Eetf,
    Sigmoid,
    Bt2446A,
    Bt2446AUp,
    Bt2446C,
)
_MAPPERS: dict[str, type[ToneMapper]] = {each.method: each for each in KNOWN}


def register(mapper: type[ToneMapper]) -> type[ToneMapper]:
    """Make a tone mapper known under its `method`; serves as a decorator.

    Raises
    ------
    LutbenchError
        When it has no name, or another one has it.
    """
    name = mapper.method
    if not name or name == CLIP or _MAPPERS.get(name, mapper) is not mapper:
        raise LutbenchError(
            f"a tone mapper cannot be named {name!r}", accepted="a name that no other one has"
        )
    _MAPPERS[name] = mapper
    return mapper


def tone_names() -> tuple[str, ...]:
    """What a recipe's ``method`` and ``--tone`` accept.

    >>> tone_names()[:2]
    ('clip', 'shoulder')
    """
    return (CLIP, *_MAPPERS)


def tone_mapper(name: str, where: str = "") -> type[ToneMapper] | None:
    """The tone mapper of a name, letter case ignored; None for ``clip``.

    Raises
    ------
    LutbenchError
        For a name that nobody has registered.
    """
    folded = name.casefold()
    if folded == CLIP:
        return None
    if folded not in _MAPPERS:
        raise LutbenchError(
            f"no tone is named {name!r}", where=where, accepted=", ".join(tone_names())
        )
    return _MAPPERS[folded]
