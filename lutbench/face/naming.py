"""The functions that list curves and gamuts: `curves`, `gamuts`."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from lutbench.face import arguments
from lutbench.model.catalogue import Catalogue, Entry
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut


class Entries(dict[str, Entry]):
    """Entries by name; a lookup also takes the other names that the catalogue knows.

    >>> gamuts()["acescg"].name
    'ACES AP1'
    """

    def __init__(self, entries: Iterable[Entry], find: Callable[[str], Curve | Gamut]) -> None:
        super().__init__((each.name, each) for each in entries)
        self._find = find

    def __missing__(self, name: str) -> Entry:
        return super().__getitem__(self._find(name).name)


def curves(catalogue: Catalogue | None = None) -> dict[str, Entry]:
    """The transfer curves of a catalogue.

    Parameters
    ----------
    catalogue
        `open_catalogue()` unless given.

    Returns
    -------
    dict
        Entries by name: the origin of each, its other names, the curve, and where it cannot
        be used, the reason. ``curves()[name]`` takes other names and letter cases too.

    Raises
    ------
    LutbenchError
        When an environment variable that lutbench reads has a value that is not accepted.

    >>> curves()["ACEScct"].origin
    'standard'
    """
    known = arguments.known(catalogue)
    return Entries(known.curves(exact=False), lambda name: known.curve(name, exact=False))


def gamuts(catalogue: Catalogue | None = None) -> dict[str, Entry]:
    """The gamuts of a catalogue.

    Parameters
    ----------
    catalogue
        `open_catalogue()` unless given.

    Returns
    -------
    dict
        Entries by name: the origin of each, its other names, and the gamut.
        ``gamuts()[name]`` takes other names and letter cases too.

    Raises
    ------
    LutbenchError
        When an environment variable that lutbench reads has a value that is not accepted.

    >>> gamuts()["BT.2020"].gamut.white
    (0.3127, 0.329)
    """
    known = arguments.known(catalogue)
    return Entries(known.gamuts(), known.gamut)
