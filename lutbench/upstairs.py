"""The few places where a method of a low floor does the work of a higher one.

Imports go down only. A method that a user looks for on the object at hand (`lut.save`,
`transform.apply` over pixels, `result.plot`) may need a module that stands higher; it
finds it here by name, when it is called. `tests/test_house.py` holds the list of them.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any


def upstairs(module: str) -> Any:
    """The module ``lutbench.<module>``, imported at the call.

    >>> upstairs("files").__name__
    'lutbench.files'
    """
    return import_module(f"lutbench.{module}")
