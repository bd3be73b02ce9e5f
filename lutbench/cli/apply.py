"""``lutbench apply``: put pictures through a LUT."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from lutbench.media.tags import ColourTags
    from lutbench.model.transforms import Transform
    from lutbench.tables.lut import Interpolation


@click.command()
@click.argument("lut")
@click.argument("source", metavar="IN")
@click.argument("target", metavar="OUT")
@click.option(
    "--interpolation",
    type=click.Choice(["tetrahedral", "trilinear"]),
    default="tetrahedral",
    show_default=True,
    help="How values between the nodes of a 3D LUT are found.",
)
@click.option(
    "--depth",
    type=click.Choice(["8", "10", "12", "16", "half", "float"]),
    help="Bits a channel to write, or half or float. [default: as in IN, where OUT can hold it]",
)
@click.option(
    "--target-gamut", metavar="NAME", help="The gamut that the LUT gives, to tag the output with."
)
@click.option(
    "--target-curve", metavar="NAME", help="The curve that the LUT gives, to tag the output with."
)
@click.option("--force", is_flag=True, help="Replace files that exist.")
def command(
    lut: str,
    source: str,
    target: str,
    interpolation: Interpolation,
    depth: str | None,
    target_gamut: str | None,
    target_curve: str | None,
    force: bool,
) -> None:
    """Put the picture IN through LUT and write it to OUT.

    PNG, JPEG, TIFF, OpenEXR and DPX, told by the suffix. Bit depth, metadata and
    channels beyond R G B stay; colour tags of IN do not, since they no longer
    hold: say what the LUT gives with --target-gamut and --target-curve.

    \b
    Example:
      lutbench apply day.cube grab.dpx grab.png --target-gamut BT.709 --target-curve BT.1886
    """
    import lutbench
    from lutbench.media.tags import ColourTags
    from lutbench.tables.lut import interpolated

    tags = ColourTags(target_gamut, target_curve)
    transform = interpolated(lutbench.open_lut(lut), interpolation)
    _one_still(transform, source, target, depth, tags, force)


def _one_still(
    transform: Transform,
    source: str,
    target: str,
    depth: str | None,
    tags: ColourTags,
    force: bool,
) -> None:
    from lutbench.media.stills import apply_to_still, read_still, write_still

    still = apply_to_still(transform, read_still(source))
    shape = f"{still.width}×{still.height}"
    for note in write_still(still, target, depth=depth, tags=tags, force=force):
        click.echo(f"note: {note}", err=True)
    click.echo(f"{target}: {shape} written")
