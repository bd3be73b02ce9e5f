"""``lutbench chart``: the picture chart that is sent through a box."""

from __future__ import annotations

import re

import click

from lutbench.cli.options import console, force_option, json_option, print_json
from lutbench.errors import LutbenchError

SCHEMA = 1


@click.command()
@click.argument("output", metavar="OUT")
@click.option(
    "--size",
    type=int,
    default=21,
    show_default=True,
    metavar="N",
    help="Colours along an edge of the cube (5 to 33): more show sharper bends, smaller patches.",
)
@click.option(
    "--frame",
    default="1920x1080",
    show_default=True,
    metavar="WxH",
    help="Width and height in pixels: the frame that the box works in.",
)
@force_option
@json_option
def command(output: str, size: int, frame: str, force: bool, as_json: bool) -> None:
    """Draw a chart of known colours, to send through a box that gives away no file.

    The box may be a monitor's recorder output, an editing program, a camera's
    preview. Bring the picture back as a still and `lutbench capture` makes the
    LUT of it. OUT is .png or .tif, 16 bits. It has to be taken as code values:
    full range, no colour management, no sharpening.

    \b
    Example:
      lutbench chart chart.png
      lutbench chart chart.tif --size 33 --frame 3840x2160
    """
    from lutbench.media.chart.picture import draw_chart, layout_for
    from lutbench.media.still.still import still_format, write_still

    parts = re.fullmatch(r"(\d{1,5})[xX×](\d{1,5})", frame.strip())
    if parts is None:
        raise LutbenchError(f"a frame of {frame!r}", accepted="WIDTHxHEIGHT, such as 1920x1080")
    if still_format(output) not in ("png", "tiff"):
        raise LutbenchError(
            "a chart has to keep 16 bits", where=output, accepted="a .png or a .tif"
        )
    width, height = int(parts[1]), int(parts[2])
    layout = layout_for(size, width, height)
    write_still(draw_chart(size, width, height), output, depth="16", force=force)
    report = {
        "schema": SCHEMA,
        "file": output,
        "size": size,
        "frame": [width, height],
        "patches": layout.rows * layout.columns,
        "control_patches": int((layout.controls >= 0).sum()),
        "patch_pixels": layout.cell,
    }
    if as_json:
        print_json(report)
        return
    console().print(
        f"{output}: {width}×{height}, {report['patches']} patches of {layout.cell} pixels,"
        f" {report['control_patches']} of them controls",
        soft_wrap=True,
    )
