"""The names that can be used: `curves()` and `gamuts()`."""

from __future__ import annotations

from lutbench.face import arguments
from lutbench.model.catalogue import Catalogue, Entry


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
        be used, if so.

    Raises
    ------
    LutbenchError
        When the environment asks for something that is not an answer.

    >>> curves()["ACEScct"].origin
    'standard'
    """
    known = arguments.known(catalogue)
    return {each.name: each for each in known.curves(exact=False)}


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

    Raises
    ------
    LutbenchError
        When the environment asks for something that is not an answer.

    >>> gamuts()["BT.2020"].gamut.white
    (0.3127, 0.329)
    """
    known = arguments.known(catalogue)
    return {each.name: each for each in known.gamuts()}
