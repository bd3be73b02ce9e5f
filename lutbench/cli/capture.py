"""``lutbench capture``: the LUT of a device, from the chart that came back."""

from __future__ import annotations

import math
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
    from lutbench.fitting.patches import PatchFit
    from lutbench.media.chart.picture import ChartReading


@click.command()
@click.argument("picture")
@output_option
@fitted_size_option
@click.option(
    "--smoothness",
    type=NumberIn(1e-12, 1.0),
    metavar="S",
    help="Weight of smoothness in the fit. [default: what predicts held-out patches best]",
)
@title_option
@force_option
@json_option
@grouped_options(new=NewLut)
def command(picture: str, size: int, smoothness: float | None, new: NewLut) -> None:
    """Make the LUT of a device from PICTURE, the chart that came back from it.

    PICTURE may be scaled, moved, cropped into the chart's margin, of 8 bits,
    lightly compressed and noisy. It is refused when the chart is mirrored, rotated,
    cut or covered, or when one colour comes back differently in different places.

    \b
    Example:
      lutbench capture returned.png -o box.cube
    """
    from lutbench.fitting.patches import fit_patches
    from lutbench.media.chart.picture import read_chart
    from lutbench.media.still.still import read_still

    still = read_still(picture)
    reading = read_chart(still.signal(), picture)
    # Rounding to whole codes adds to the uncertainty even where no noise shows it.
    rounding = 0.0 if still.full_scale == 1 else 12**-0.5 / still.full_scale
    fit = fit_patches(
        reading.inputs,
        reading.outputs,
        size,
        uncertainty=math.hypot(reading.uncertainty / 255, rounding),
        smoothness=smoothness,
        title=new.title,
    )
    write_lut(fit.lut, new.output, force=new.force)
    if new.as_json:
        data = {"reading": reading.to_data(), "fit": fit.to_data()}
        print_json({"file": new.output, "picture": picture} | data)
    else:
        _print(new.output, reading, fit)


def _print(output: str, reading: ChartReading, fit: PatchFit) -> None:
    from lutbench.cli.tables import fact_table

    print_written(fit.lut, output)
    cell = [reading.layout.cell * each for each in reading.scale]
    rows = [
        (
            "chart",
            f"size {reading.layout.size}, {len(reading.inputs)} patches of"
            f" {cell[0]:.1f}×{cell[1]:.1f} pixels",
        ),
        ("scaled", f"{100 * reading.scale[0]:.2f} % across, {100 * reading.scale[1]:.2f} % down"),
        ("noise", f"{reading.noise:.2f} of 255 from pixel to pixel"),
        ("patches", f"known to {reading.uncertainty:.2f} of 255 (control patches)"),
        ("clipped", f"{100 * reading.clipped:.1f} % of the patches inside the cube"),
        (
            "held out",
            f"{fit.held_out.mean:.1f} codes (10-bit) off on average, 95 % under"
            f" {fit.held_out.p95:.1f}, patches' noise included",
        ),
        (
            "confidence",
            f"noise moves a node by {fit.node_error.median:.1f} codes (10-bit; standard error;"
            f" 95 % of nodes under {fit.node_error.p95:.1f})",
        ),
    ]
    screen = console()
    screen.print(fact_table(rows))
    for note in (*reading.notes, *fit.notes):
        screen.print(note, soft_wrap=True, markup=False)
