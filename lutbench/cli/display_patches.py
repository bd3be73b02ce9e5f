"""Patches to show to a meter, as stills and a table: for `display patches` and `chart`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lutbench.cli.options import Reporting, print_json
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError


@dataclass(frozen=True)
class PatchOptions:
    """How many patches, their code values, and their size in the frame."""

    amount: str = "usual"
    bits: str = "10"
    range_: str = "full"
    frame: str = "1920x1080"
    window: float = 18.0
    table_only: bool = False


def write_patches(folder: str, options: PatchOptions, reporting: Reporting) -> None:
    """Write the stills and patches.csv into `folder`, and print what was written."""
    from lutbench import files
    from lutbench.display.patches import patch_set
    from lutbench.model.signal import check_range

    shown = patch_set(options.amount, int(options.bits), check_range(options.range_))
    place = files.make_folder(folder)
    table = place / "patches.csv"
    size = frame_size(options.frame)
    files.refuse_existing(table, reporting.force)
    if not options.table_only:
        _draw(shown.full_scale, place, size, options.window / 100, reporting.force)
    files.write_text(table, shown.csv(), force=reporting.force)
    count = len(shown.names)
    if reporting.as_json:
        stills = 0 if options.table_only else count
        print_json({"table": str(table), "patches": count, "stills": stills})
        return
    coding = f"{options.bits}-bit codes, {options.range_} range"
    console().print(f"{table}: {count} patches, {coding}", soft_wrap=True)


def frame_size(frame: str) -> tuple[int, int]:
    """Width and height in pixels.

    >>> frame_size("1920x1080")
    (1920, 1080)
    """
    parts = re.fullmatch(r"(\d{1,5})[xX×](\d{1,5})", frame.strip())
    if parts is None:
        raise LutbenchError(f"a frame of {frame!r}", accepted="WIDTHxHEIGHT, such as 1920x1080")
    width, height = int(parts[1]), int(parts[2])
    if not (64 <= width <= 16384 and 64 <= height <= 16384):
        raise LutbenchError(f"a frame of {frame!r}", accepted="64 to 16384 pixels each way")
    return width, height


def _draw(codes: Any, folder: Path, size: tuple[int, int], share: float, force: bool) -> None:
    """Write a still for each patch: the patch in the middle of a black frame."""
    import numpy as np

    from lutbench.media.still.still import Still, write_still

    width, height = size
    w, h = (max(round(each * share**0.5), 1) for each in size)
    left, top = (width - w) // 2, (height - h) // 2
    digits = len(str(len(codes)))
    for number, colour in enumerate(np.rint(65535 * codes).astype(np.uint16), 1):
        pixels = np.zeros((height, width, 3), np.uint16)
        pixels[top : top + h, left : left + w] = colour
        still = Still(pixels, ("R", "G", "B"), "16")
        write_still(still, folder / f"patch_{number:0{digits}d}.png", depth="16", force=force)
