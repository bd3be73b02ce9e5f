"""One still through a LUT, and what became of one or of many."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lutbench.media.still.still import apply_to_still, read_still, write_still
from lutbench.media.tags import NO_TAGS, ColourTags
from lutbench.model.transforms import Transform

if TYPE_CHECKING:
    from lutbench.media.sequence.frames import Frame


@dataclass(frozen=True)
class Treatment:
    """What is done to each frame."""

    transform: Transform
    depth: str | None = None
    tags: ColourTags = NO_TAGS


@dataclass
class FramesOutcome:
    """What became of the frames of a run."""

    total: int
    written: int = 0
    skipped: int = 0
    failed: list[tuple[Frame, str]] = field(default_factory=list)
    notes: dict[str, int] = field(default_factory=dict)

    def to_data(self) -> dict[str, Any]:
        """Plain data with stable keys."""
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
    """Take one still from its source to its target; the notes of the writer come back."""
    still = apply_to_still(treatment.transform, read_still(source))
    return write_still(still, target, depth=treatment.depth, tags=treatment.tags, force=replace)
