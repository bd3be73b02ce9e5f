"""The set sheet as a picture: each LUT with faces and a chart through it, and its levels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.inspection.inspection import Inspection
from lutbench.media.sheet import Cell, draw_sheet
from lutbench.media.still.pixels import thumbnail
from lutbench.media.still.still import read_still
from lutbench.media.toned import LABEL, is_hdr
from lutbench.report.pictures import chart_picture, our_faces, shown_through

WIDTH_PX = 380
"""Width of a picture in pixels: two of them fit side by side on a page."""

GAP_PX = 10
"""Pixels between the two pictures of a LUT: enough to tell them apart."""

GROUND_SIGNAL = 43 / 255
"""Signal of the dark grey background, which is that of contact sheets."""


def set_picture(
    found: Sequence[Inspection], checksums: Sequence[str], *, still: str | Path | None = None
) -> NDArray[np.uint8]:
    """The sheet, shape (height, width, 3), R G B; LUTs in the order given.

    Parameters
    ----------
    checksums
        The first digits of each file's SHA-256; empty for a LUT that is not from a file.
    """
    cells = [_cell(each, digits, still) for each, digits in zip(found, checksums, strict=True)]
    lines = [
        *_said("expects", {each.name: each.box.expects for each in found}),
        *_said("monitor:", {each.name: each.box.monitor.split(";")[0] for each in found}),
        "Percent on the waveform after the LUT.",
        "For viewing: delivery has its own specification.",
    ]
    return draw_sheet(
        cells,
        heading=f"The set: {len(cells)} LUT{'s' if len(cells) != 1 else ''}",
        subheading="\n".join(lines),
    )


MOST_NAMES = 6
"""Names of LUTs on one line of the heading: more do not fit on it."""


def _said(label: str, texts: Mapping[str, str]) -> list[str]:
    """What is said of the LUTs, by name; if it differs, with their names."""
    names: dict[str, list[str]] = {}
    for name, text in texts.items():
        if text:
            names.setdefault(text, []).append(name)
    if len(names) == 1:
        return [f"{label.capitalize()} {each}." for each in names]
    lines = []
    for text, luts in names.items():
        more = f" and {len(luts) - MOST_NAMES} more" if len(luts) > MOST_NAMES else ""
        lines.append(f"{', '.join(luts[:MOST_NAMES])}{more}: {label} {text}.")
    return lines


def _cell(found: Inspection, digits: str, still: str | Path | None) -> Cell:
    picture = thumbnail(read_still(still) if still else our_faces(found), WIDTH_PX)
    pictures = [shown_through(found, each) for each in (picture, chart_picture(found))]
    parts = [_levels(found), f"{found.subject.size} nodes", _ranges(found), digits]
    detail = " · ".join(each for each in parts if each)
    label = found.name + (f" ({LABEL})" if is_hdr(found.target) else "")
    return Cell(_beside(pictures), label, detail)


def _ranges(found: Inspection) -> str:
    """The ranges in and out; one word where they are the same."""
    if found.source_range == found.target_range:
        return f"{found.source_range} range"
    return f"{found.source_range} range in, {found.target_range} out"


def _levels(found: Inspection) -> str:
    """Grey, skin and white after the LUT, short enough to fit under the pictures."""
    after = {line.label: f"{line.after:.0f}" for line in found.box.lines}
    if not after:
        return found.box.good_for
    return (
        f"grey {after['grey card']}, skin {after['dark skin']} to {after['light skin']}, "
        f"white {after['white card']} %"
    )


def _beside(pictures: Sequence[NDArray[Any]]) -> NDArray[np.float32]:
    """Pictures side by side on the background of the sheet."""
    height = max(each.shape[0] for each in pictures)
    width = sum(each.shape[1] for each in pictures) + GAP_PX * (len(pictures) - 1)
    both = np.full((height, width, 3), GROUND_SIGNAL, np.float32)
    left = 0
    for each in pictures:
        top = (height - each.shape[0]) // 2
        both[top : top + each.shape[0], left : left + each.shape[1]] = each
        left += each.shape[1] + GAP_PX
    return both
