"""``lutbench compare --as-views``: an SDR and an HDR view of one recording."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lutbench.cli.options import console
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.measure.views import ViewsApart, Watched
    from lutbench.recipes.subjects import NamedTransform


def watched(side: NamedTransform) -> Watched:
    """A side as a view: what is recorded and what is watched must be told."""
    from lutbench.measure.views import Watched

    if side.source is None or side.target is None:
        raise LutbenchError(
            "does not say what it takes and gives",
            where=side.name,
            accepted="RECIPE.toml#NAME, or a pipeline in words",
        )
    return Watched(side.transform, side.source, side.target)


def print_views(found: ViewsApart, a: str, b: str) -> None:
    """Every patch in both views, the nearest first."""
    import numpy as np
    from rich.table import Table

    screen = console()
    screen.print(f"A  {a}\nB  {b}", markup=False, soft_wrap=True)
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("patch")
    for head in ("A cd/m²", "B cd/m²", "ΔE ITP"):
        table.add_column(head, justify="right")
    for index in np.argsort(found.delta_e_itp, kind="stable").tolist():
        first, second = found.luminance[index].tolist()
        apart = f"{found.delta_e_itp[index]:.1f}"
        table.add_row(found.names[index], f"{first:.1f}", f"{second:.1f}", apart)
    screen.print(table)
    screen.print(
        f"ΔE ITP {found.delta_e_itp.mean():.1f} on average. Both with reference white at 203 "
        "cd/m²: a view of standard range counts with its white there.",
        style="dim",
    )
