"""``lutbench compare --as-views``: an SDR and an HDR view of one recording."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.measure.views import LookApart, ViewsApart, Watched
    from lutbench.recipes.subjects import NamedTransform


def watched(side: NamedTransform) -> Watched:
    """A side as a view; LutbenchError where its source or target encoding is not known."""
    from lutbench.measure.views import Watched

    if side.source is None or side.target is None:
        raise LutbenchError(
            "does not state its source and target encodings",
            where=side.name,
            accepted="RECIPE.toml#NAME, or a pipeline in words",
        )
    return Watched(side.transform, side.source, side.target)


def look_of(first: NamedTransform, second: NamedTransform) -> LookApart | None:
    """What the look does in each of two views; None where one has none or it changes nothing."""
    from lutbench.measure.views import look_apart

    tasks = first.task, second.task
    if tasks[0] is None or tasks[1] is None or not (tasks[0].grade and tasks[1].grade):
        return None
    try:
        return look_apart(tasks[0], tasks[1])
    except LutbenchError:  # raised where the look changes no patch
        return None


def print_views(found: ViewsApart, look: LookApart | None, a: str, b: str) -> None:
    """Print each patch in both views, those with the smallest difference first."""
    import numpy as np

    from lutbench.cli.tables import plain_table

    screen = console()
    screen.print(f"A  {a}\nB  {b}", markup=False, soft_wrap=True)
    table = plain_table("patch", ">A cd/m²", ">B cd/m²", ">ΔE ITP")
    for index in np.argsort(found.delta_e_itp, kind="stable").tolist():
        first, second = found.luminance[index].tolist()
        apart = f"{found.delta_e_itp[index]:.1f}"
        table.add_row(found.names[index], f"{first:.1f}", f"{second:.1f}", apart)
    screen.print(table)
    screen.print(
        f"ΔE ITP {found.delta_e_itp.mean():.1f} on average. Both with reference white at 203 "
        "cd/m²; an SDR view is scaled so that its white is there.",
        style="dim",
    )
    if look is not None:
        screen.print(
            f"The look moves patches in B by ΔE ITP {look.effect.mean():.1f} on average. Its "
            f"effect in A differs from that by {look.parted.mean():.1f}, which is "
            f"{100 * look.share:.0f} %; 0 % means that it does the same in both views."
        )
