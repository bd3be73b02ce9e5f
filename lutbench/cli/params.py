"""Base classes of parameter types that work with every supported version of click."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    TextParam = click.ParamType[str]
    NumberParam = click.ParamType[float]
else:
    # Before click 8.4 the class cannot be given the type of its values.
    TextParam = NumberParam = click.ParamType
