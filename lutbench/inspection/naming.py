"""Curves, gamuts and ranges by name or object, as `inspect` takes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import Gamut
from lutbench.model.signal import Range, check_range


def range_of(given: Range | None, usual: Range, what: str) -> Range:
    """The range that is given, checked; else the usual one."""
    return check_range(usual if given is None else given, what)


@dataclass
class ByName:
    """Curves and gamuts by their names; the catalogue is opened when one is asked for."""

    catalogue: Any = None

    def _open(self) -> Any:
        if self.catalogue is None:
            from lutbench.model.catalogue import open_catalogue

            self.catalogue = open_catalogue()
        return self.catalogue

    def curve(self, name: Curve | str | None) -> Curve | None:
        """The curve of that name; a curve or None is returned as it is."""
        if isinstance(name, str):
            found: Curve = self._open().curve(name, exact=False)  # to look at, not to build from
            return found
        return name

    def gamut(self, name: Gamut | str | None) -> Gamut | None:
        """The gamut of that name; a gamut or None is returned as it is."""
        if isinstance(name, str):
            found: Gamut = self._open().gamut(name)
            return found
        return name
