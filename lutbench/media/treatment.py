"""Putting one still through a LUT, and the outcome for one or several."""

from __future__ import annotations

import dataclasses
import zlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lutbench.media.still.still import Still, apply_to_still, read_still, write_still
from lutbench.media.tags import NO_TAGS, ColourTags
from lutbench.model.transforms import Transform

if TYPE_CHECKING:
    from lutbench.media.sequence.frames import SequenceFrame


@dataclass(frozen=True)
class Treatment:
    """What is done to each frame: the transform, bit depth, colour tags, and dithering."""

    transform: Transform
    depth: str | None = None
    tags: ColourTags = NO_TAGS
    dither: bool = False


@dataclass
class FramesOutcome:
    """The outcome for the frames of a run."""

    total: int
    written: int = 0
    skipped: int = 0
    failed: list[tuple[SequenceFrame, str]] = field(default_factory=list)
    notes: dict[str, int] = field(default_factory=dict)

    def to_data(self) -> dict[str, Any]:
        """The outcome as plain data."""
        return {
            "schema": 1,
            "frames": self.total,
            "written": self.written,
            "skipped": self.skipped,
            "failed": [
                {"source": str(frame.source), "target": str(frame.target), "message": message}
                for frame, message in self.failed
            ],
            "notes": [{"message": text, "frames": count} for text, count in self.notes.items()],
        }


def render_still(
    source: Path, target: Path, treatment: Treatment, *, replace: bool = False
) -> list[str]:
    """Put one still through the transform and write it; returns the notes of the writer."""
    if not treatment.dither:
        still = apply_to_still(treatment.transform, read_still(source))
        return write_still(still, target, depth=treatment.depth, tags=treatment.tags, force=replace)
    # In float, so that dithering acts on the exact result and not on rounded codes.
    still = apply_to_still(treatment.transform, in_float(read_still(source)))
    # Noise that is different for each frame of a sequence, but the same in each run.
    seed = zlib.crc32(target.name.encode("utf-8", "surrogateescape"))
    return write_still(
        still, target, depth=treatment.depth, tags=treatment.tags, force=replace, dither=seed
    )


def in_float(still: Still) -> Still:
    """The still with its pixels as 32-bit float signal."""
    if still.full_scale == 1:
        return still
    pixels = still.pixels.astype(np.float32) / np.float32(still.full_scale)
    return dataclasses.replace(still, pixels=pixels, depth="float")
