"""Importing packages that change the settings of other packages."""

from __future__ import annotations

import sys
import threading
from importlib import import_module
from typing import Any

import numpy as np

_one_at_a_time = threading.RLock()
"""Of two threads that import at once, one would keep what the other has changed for a while."""


def foreign(name: str) -> Any:
    """The module of that name, imported without changing how numpy prints arrays.

    colour-science sets numpy's print options to those of numpy 1.13 for the whole process,
    which would change what a user's own program prints.

    >>> foreign("colour").__name__
    'colour'
    """
    known = sys.modules.get(name)  # None says that it must not be imported
    # Another thread may be importing it: half a module lacks names.
    if known is not None and not getattr(known.__spec__, "_initializing", False):
        return known
    with _one_at_a_time:
        shown: Any = np.get_printoptions()
        try:
            return import_module(name)
        finally:
            np.set_printoptions(**shown)
