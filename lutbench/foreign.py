"""Importing packages that change the settings of other packages."""

from __future__ import annotations

import sys
from importlib import import_module
from typing import Any

import numpy as np


def foreign(name: str) -> Any:
    """The module of that name, imported without changing how numpy prints arrays.

    colour-science sets numpy's print options to those of numpy 1.13 for the whole process,
    which would change what a user's own program prints.

    >>> foreign("colour").__name__
    'colour'
    """
    if (known := sys.modules.get(name)) is not None:  # None says that it must not be imported
        return known
    shown: Any = np.get_printoptions()
    try:
        return import_module(name)
    finally:
        np.set_printoptions(**shown)
