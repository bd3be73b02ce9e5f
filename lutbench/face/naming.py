"""The names that can be used: `curves()` and `gamuts()`."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from lutbench.face import arguments
from lutbench.model.catalogue import Catalogue, Entry
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut


class Entries(dict[str, Entry]):
    """Entries by name; whatever other name a catalogue knows finds its entry too.

    >>> gamuts()["acescg"].name
    'ACES AP1'
    """

    def __init__(self, entries: Iterable[Entry], find: Callable[[str], Curve | Gamut]) -> None:
        super().__init__((each.name, each) for each in entries)
        self._find = find

    def __missing__(self, name: str) -> Entry:
        return super().__getitem__(self._find(name).name)


def curves(catalogue: Catalogue | None = None) -> dict[str, Entry]:
    """The transfer curves that can be named.

    Parameters
    ----------
    catalogue
        `open_catalogue()` unless given.

    Returns
    -------
    dict
        Entries by name: where each is from, its other names, the curve, and why it cannot
        be used, if so. ``curves()[name]`` takes other names and letter cases too.

    Raises
    ------
    LutbenchError
        When the environment asks for something that is not an answer.

    >>> curves()["ACEScct"].origin
    'standard'
    """
    known = arguments.known(catalogue)
    return Entries(known.curves(exact=False), lambda name: known.curve(name, exact=False))


def gamuts(catalogue: Catalogue | None = None) -> dict[str, Entry]:
    """The gamuts that can be named.

    Parameters
    ----------
    catalogue
        `open_catalogue()` unless given.

    Returns
    -------
    dict
        Entries by name: where each is from, its other names, and the gamut.
        ``gamuts()[name]`` takes other names and letter cases too.

    Raises
    ------
    LutbenchError
        When the environment asks for something that is not an answer.

    >>> gamuts()["BT.2020"].gamut.white
    (0.3127, 0.329)
    """
    known = arguments.known(catalogue)
    return Entries(known.gamuts(), known.gamut)
