"""The page that guides through the test of a monitor: what to load, look for and conclude."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import lutbench
from lutbench import files
from lutbench.formats.cube_write import write_cube
from lutbench.media.probe.draw import draw_board
from lutbench.media.probe.lattice import plain_lut, probe_lut
from lutbench.media.still.still import Still, write_still
from lutbench.model.signal import Range
from lutbench.report.drawing import picture_uri
from lutbench.report.templates import render

CODES: tuple[Range, Range] = ("full", "legal")
PAGE = "index.html"
SHRUNK = 2
"""Factor by which pictures on the page are smaller than the board, to keep the file small."""


def write_monitor_set(folder: str | Path, size: int, *, force: bool = False) -> list[Path]:
    """Write two LUTs, two boards and the page into `folder`; returns their paths.

    Raises LutbenchError when monitors do not load that size, or a file exists and `force` is not
    set.
    """
    probe, plain = probe_lut(size), plain_lut(size)
    place = files.make_folder(folder)
    names = ["probe.cube", "plain.cube", "full.png", "legal.png", PAGE]
    paths = [place / name for name in names]
    for path in paths:
        files.refuse_existing(path, force)
    for lut, path in ((probe, paths[0]), (plain, paths[1])):
        write_cube(lut, path, force=force)
    boards = {codes: draw_board(size, codes) for codes in CODES}
    for codes, path in zip(CODES, paths[2:4], strict=True):
        write_still(boards[codes], path, depth="16", force=force)
    files.write_text(paths[4], monitor_page(size, boards["full"]), force=force)
    return paths


def monitor_page(size: int, board: Still | None = None) -> str:
    """The page as self-contained HTML."""
    shown = draw_board(size, "full") if board is None else board
    drawn = np.asarray(shown.signal(), dtype=np.float64)
    lit = np.asarray(probe_lut(size).apply(drawn))
    return render(
        "monitor.html",
        size=size,
        half=size // 2 + 1,
        plain=_small(drawn),
        lit=_small(lit),
        version=lutbench.__version__,
    )


def _small(picture: NDArray[np.float64]) -> str:
    high, wide = (each // SHRUNK for each in picture.shape[:2])
    blocks = picture[: high * SHRUNK, : wide * SHRUNK].reshape(high, SHRUNK, wide, SHRUNK, 3)
    return picture_uri(blocks.mean(axis=(1, 3)))
