"""Hald images: a LUT as a picture.

A picture of level n has n³ by n³ pixels, which are the nodes of a 3D LUT with n² nodes along an
edge, red running fastest, in rows from the top left. A program that processes the identity
picture turns it into the program's LUT. This is common practice, without a standard.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lutbench import given
from lutbench.errors import LutbenchError
from lutbench.face import arguments
from lutbench.face.arguments import LutLike
from lutbench.media.still.still import Still, read_still, write_still
from lutbench.tables.lut import Lut3D, lattice

LEVELS = (2, 12)
"""Smallest and largest level: 4 to 144 nodes along an edge, pictures of 8 to 1728 pixels a side."""


def read_hald(path: str | Path) -> Lut3D:
    """The LUT in a Hald image.

    Parameters
    ----------
    path
        A still of n³ by n³ pixels, n from 2 to 12: code values or floats of signal.

    Returns
    -------
    Lut3D
        A LUT with n² nodes along an edge, over 0..1.

    Raises
    ------
    LutbenchError
        When the file cannot be read, or does not have the size of a Hald image.
    """
    path = given.path(path, "path")
    signal = read_still(path).signal()
    height, width = signal.shape[:2]
    level = round(width ** (1 / 3))
    if height != width or level**3 != width or not LEVELS[0] <= level <= LEVELS[1]:
        raise LutbenchError(
            f"a picture of {width}×{height} pixels is not a Hald image",
            where=path,
            accepted="8×8, 27×27, 64×64, 125×125, … 1728×1728",
        )
    size = level * level
    table = signal.reshape(size, size, size, 3).transpose(2, 1, 0, 3)
    return Lut3D(table, title=Path(path).stem)


def write_hald(
    lut: LutLike | None, path: str | Path, *, level: int = 8, force: bool = False
) -> None:
    """Write a Hald image, with 16 bits where the format has them.

    Parameters
    ----------
    lut
        The LUT in the picture, a path, or words; None for the identity, to send through a program.
    path
        A still, in the lossless format of its suffix.
    level
        n, from 2 to 12: n² nodes along an edge, n³ pixels along a side.
    force
        Whether an existing file is replaced.

    Raises
    ------
    LutbenchError
        When the level is out of range, the format is lossy, or the file cannot be written.
    """
    level, path = given.whole(level, "level", *LEVELS), given.path(path, "path")
    if Path(path).suffix.lower() in (".jpg", ".jpeg"):
        raise LutbenchError("JPEG changes colours", where=path, accepted=".png, .tif, .exr")
    nodes = lattice(level * level)
    table = nodes if lut is None else arguments.transform(lut).apply(nodes)
    signal = np.clip(table.transpose(2, 1, 0, 3), 0, 1).reshape(level**3, level**3, 3)
    codes = np.rint(signal * 65535).astype(np.uint16)
    still = Still(codes, ("R", "G", "B"), "16")
    write_still(still, path, force=given.flag(force, "force"))
