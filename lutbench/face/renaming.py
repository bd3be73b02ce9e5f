"""Renamed parameters: the old name still works for a while, with a deprecation warning."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from functools import wraps
from typing import Any, ParamSpec, TypeVar

from lutbench.errors import LutbenchError

P = ParamSpec("P")
R = TypeVar("R")


def renamed(**new_names: str) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Let a function take keywords by their old names: ``renamed(old="new")``.

    The old name raises a `DeprecationWarning` that points at the caller's line; both names
    at once raise a `LutbenchError`. Signature and docstring show only the new name.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        @wraps(function)
        def call(*given: P.args, **named: P.kwargs) -> R:
            keywords: dict[str, Any] = named
            for old in new_names.keys() & keywords.keys():
                new = new_names[old]
                what = f"{function.__name__}({old}=...)"
                if new in keywords:
                    raise LutbenchError(f"{old} is the old name of {new}", where=what, accepted=new)
                warnings.warn(
                    f"{what} is deprecated: name it {new}", DeprecationWarning, stacklevel=2
                )
                keywords[new] = keywords.pop(old)
            return function(*given, **named)

        return call

    return decorate
