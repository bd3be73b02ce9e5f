"""Types of parameters for click of any version that is declared."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    TextParam = click.ParamType[str]
    NumberParam = click.ParamType[float]
else:
    # Before click 8.4 the class says no type of its values.
    TextParam = NumberParam = click.ParamType
