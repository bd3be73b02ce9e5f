"""``lutbench learn``: the LUT between two pictures."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lutbench.cli.options import force_option, grouped_options, json_option, print_json
from lutbench.cli.results import (
    NewLut,
    fitted_size_option,
    output_option,
    print_written,
    title_option,
    write_lut,
)
from lutbench.cli.spelling import NumberIn
from lutbench.cli.terminal import console

if TYPE_CHECKING:
    from lutbench.fitting.pair import PairFit


@dataclass(frozen=True)
class LearnFit:
    """How the LUT is fitted, and the file for the picture of its coverage."""

    size: int
    picture: str | None
    smoothness: float | None


@click.command()
@click.argument("before")
@click.argument("after")
@output_option
@fitted_size_option
@click.option(
    "--coverage",
    "picture",
    metavar="OUT.png",
    help="Draw which nodes the pictures support.",
)
@click.option(
    "--smoothness",
    type=NumberIn(1e-12, 1.0),
    metavar="S",
    help="How strongly the fit is drawn to its simple part, curves and a matrix. "
    "[default: what predicts held-out parts of the picture best]",
)
@title_option
@force_option
@json_option
@grouped_options(fit=LearnFit, new=NewLut)
def command(before: str, after: str, fit: LearnFit, new: NewLut) -> None:
    """Learn the LUT that takes the still BEFORE to the still AFTER.

    Both are the same still, pixel for pixel, as it was recorded and as it was graded
    elsewhere. A pair that is shifted, scaled, mirrored or of two different pictures is
    refused. For colours that the picture does not hold, the LUT is a smooth guess:
    --coverage shows which nodes the picture supports.

    \b
    Example:
      lutbench learn plain.png graded.png -o learnt.cube --coverage covered.png
    """
    from lutbench import files
    from lutbench.errors import LutbenchError
    from lutbench.fitting.pair import fit_pair
    from lutbench.media.still.still import read_still

    picture = fit.picture
    if picture is not None:
        if Path(picture).suffix.lower() != ".png":
            raise LutbenchError("the coverage is drawn as PNG", where=picture, accepted="a .png")
        files.refuse_existing(Path(picture), new.force)
    found = fit_pair(
        read_still(before).signal(),
        read_still(after).signal(),
        fit.size,
        smoothness=fit.smoothness,
        title=new.title,
        where=f"{before}, {after}",
    )
    delta_e = _delta_e(found)
    write_lut(found.lut, new.output, force=new.force, comments=found.lut.comments)
    if picture is not None:
        from lutbench.report.coverage import coverage_png

        files.write_bytes(picture, coverage_png(found), force=new.force)
    if new.as_json:
        more = {"held_out_delta_e_2000": delta_e}
        print_json({"file": new.output, "before": before, "after": after} | found.to_data() | more)
    else:
        _print(new.output, found, delta_e, picture)


def _delta_e(fit: PairFit) -> dict[str, float]:
    """ΔE 2000 at pixels held out of the fit, as seen on a BT.1886 display with BT.709."""
    from lutbench.measure.delta_e import view_of
    from lutbench.measure.difference import Spread, measure
    from lutbench.model.conversion import Encoding
    from lutbench.model.curves.video import Bt1886
    from lutbench.model.gamuts import BT709

    found, wanted = (each[:50_000] for each in fit.held_out_colours)
    seen = measure(found, wanted, view_of(Encoding(Bt1886(), BT709)))
    return Spread.of(seen.delta_e_2000).to_data()


LITTLE_SHARE = 0.05
"""Share of nodes below which most of the LUT is called a guess: one photograph covers 1 to 3 %."""


def _coverage_words(coverage: float) -> str:
    """How much of the LUT the pictures cover, and what that means for the errors printed."""
    text = f"the pictures hold colours near {100 * coverage:.1f} % of the nodes"
    if coverage < LITTLE_SHARE:
        text += "; the rest is a guess, and the figures below say nothing about it"
    return text


def _print(output: str, fit: PairFit, delta_e: dict[str, float], picture: str | None) -> None:
    from lutbench.cli.tables import fact_table

    print_written(fit.lut, output)
    low, high = fit.neutral_covered
    rows = [
        ("coverage", _coverage_words(fit.coverage)),
        ("neutrals", f"covered from {100 * low:.0f} % to {100 * high:.0f} %"),
        (
            "held out",
            f"ΔE 2000 {delta_e['mean']:.2f} on average, 95 % under {delta_e['p95']:.2f}"
            " (as BT.709 on a BT.1886 display)",
        ),
        (
            "",
            f"{fit.held_out.mean:.1f} codes (10-bit) on average, 95 % under"
            f" {fit.held_out.p95:.1f}, the pictures' noise included",
        ),
        ("left out", f"{100 * fit.outliers:.1f} % of the pixels, which do not follow the rest"),
        ("same picture", f"edges agree to {100 * fit.agreement:.0f} %"),
    ]
    screen = console()
    screen.print(fact_table(rows))
    for note in fit.notes:
        screen.print(note, soft_wrap=True, markup=False)
    if picture is not None:
        screen.print(f"{picture}: which nodes the pictures support", soft_wrap=True)
