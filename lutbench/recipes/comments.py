"""What a LUT file says about itself: its settings and its recipe's digest, as comments."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.transforms import Matrix
from lutbench.recipes.schema import LutJob

if TYPE_CHECKING:
    from lutbench.model.false_colour import FalseColour

CAUTION = "For viewing on set: judge delivery by its own specification, not by this LUT."


def comments_for(job: LutJob, digest: str) -> tuple[str, ...]:
    """The comment lines of a LUT, without the leading ``#``; no time, no host."""
    lines = [f"recipe sha256: {digest}", f"kind: {job.kind}"]
    task = job.task
    lines += _conversion(task) if isinstance(task, Conversion) else _false_colour(task)
    return (*lines, CAUTION)


def _conversion(task: Conversion) -> list[str]:
    lines = [
        f"source: {_encoding(task.source, gamut=task.kind != 'curve')}",
        f"target: {_encoding(task.result, gamut=task.kind != 'curve')}",
        f"exposure: {task.exposure:+g} stops",
    ]
    if task.white_balance is not None:
        lines.append(f"white balance: {_matrix(task.white_balance)}")
    if task.kind != "curve":
        gamut = "compressed" if task.compression else "clipped"
        if task.mapping is not None:
            gamut = f"mapped with hue kept, knee {task.mapping.knee:g}"
        lines.append(f"gamut: {gamut}, adaptation {task.adaptation}")
    if task.kind != "gamut":
        lines.append(f"tone: {task.tone.words if task.tone else 'clip'}")
    lines += [f"grade ({task.grade_place}): {step!r}" for step in task.grade]
    return lines


def _encoding(encoding: Encoding, *, gamut: bool) -> str:
    legal = f" for {encoding.bits} bit" if encoding.range == "legal" else ""
    parts = [
        f"curve {encoding.curve.name}",
        *([f"gamut {encoding.gamut.name}"] if gamut else []),
        f"{encoding.range} range{legal}",
    ]
    if encoding.display is not None:
        parts.append(f"on a display of {encoding.display}")
    return ", ".join(parts)


def _matrix(matrix: Matrix) -> str:
    return " / ".join(" ".join(f"{value:.6f}" for value in row) for row in matrix.rows)


def _false_colour(task: FalseColour) -> list[str]:
    lines = [
        f"source: curve {task.curve.name}, gamut {task.gamut.name}, {task.range} range",
        f"exposure: {task.exposure:+g} stops",
    ]
    lines += [
        f"band: {band.low:+g} to {band.high:+g} stops {band.colour} {band.label}".rstrip()
        for band in task.bands
    ]
    return lines
