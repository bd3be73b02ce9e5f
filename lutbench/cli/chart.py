"""``lutbench chart``: the picture chart that is sent through a device."""

from __future__ import annotations

import click

from lutbench.cli.display_patches import PatchOptions, frame_size, write_patches
from lutbench.cli.options import Reporting, force_option, grouped_options, json_option, print_json
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError


@click.command()
@click.argument("output", metavar="OUT")
@click.option(
    "--size",
    type=int,
    default=21,
    show_default=True,
    metavar="N",
    help="Colours along an edge of the cube (5 to 33): more give finer detail, smaller patches.",
)
@click.option(
    "--frame",
    default="1920x1080",
    show_default=True,
    metavar="WxH",
    help="Width and height in pixels: the frame that the device works in.",
)
@click.option(
    "--patches",
    type=click.Choice(["short", "usual", "long"]),
    help="Instead, draw patches for a meter to read from a display, each as a still (73, 204 or "
    "685), and the table for its readings: OUT is a folder. See `lutbench display`.",
)
@force_option
@json_option
@grouped_options(reporting=Reporting)
def command(output: str, size: int, frame: str, patches: str | None, reporting: Reporting) -> None:
    """Draw a chart of known colours, to send through a device whose LUT you cannot get.

    The device may be a monitor's recorder output, an editing program, a camera's
    preview. Save the result as a still, and `lutbench capture` makes the LUT from
    it. OUT is .png or .tif, 16 bits. The device has to treat it as code values:
    full range, no colour management, no sharpening.

    With --patches it draws what a meter reads from a display, one patch at a time.

    \b
    Example:
      lutbench chart chart.png
      lutbench chart chart.tif --size 33 --frame 3840x2160
      lutbench chart shown --patches short
    """
    if patches is not None:
        write_patches(output, PatchOptions(amount=patches, frame=frame), reporting)
        return
    from lutbench.media.chart.layout import draw_chart, layout_for
    from lutbench.media.still.still import still_format, write_still

    if still_format(output) not in ("png", "tiff"):
        raise LutbenchError("a chart needs 16 bits", where=output, accepted="a .png or a .tif")
    width, height = frame_size(frame)
    layout = layout_for(size, width, height)
    write_still(draw_chart(size, width, height), output, depth="16", force=reporting.force)
    report = {
        "file": output,
        "size": size,
        "frame": [width, height],
        "patches": layout.rows * layout.columns,
        "control_patches": int((layout.controls >= 0).sum()),
        "patch_pixels": layout.cell,
    }
    if reporting.as_json:
        print_json(report)
        return
    console().print(
        f"{output}: {width}×{height}, {report['patches']} patches of {layout.cell} pixels,"
        f" {report['control_patches']} of them controls",
        soft_wrap=True,
    )
