"""What displays, monitors and cameras give back, with hostile numbers: readings, grabs, frames."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import av
import numpy as np
from figures import LARGEST, TABLES, Array, Random, number
from numpy.typing import NDArray

from lutbench.display.patches import patch_set
from lutbench.media.probe.draw import draw_board
from lutbench.media.probe.lattice import probe_lut
from lutbench.media.still.still import Still, write_still
from lutbench.model.gamuts import BT709


def readings(rng: Random) -> str:
    """The table of a meter: patches of a display, of which some or all readings are hostile."""
    shown = patch_set("short", int(rng.choice([8, 10, 12])))
    xyz = 10.0 ** rng.uniform(-1, 4) * np.clip(shown.signal, 0, 1) ** 2.2 @ BT709.to_xyz.T
    if rng.random() < 0.8:
        with np.errstate(all="ignore"):
            xyz = TABLES[rng.integers(len(TABLES))](xyz, rng)
            xyz = np.nan_to_num(xyz, nan=0.0, posinf=LARGEST, neginf=-LARGEST)
    if rng.random() < 0.7:
        xyz = np.abs(xyz)
    head, names, *rows = shown.csv().splitlines()
    lines = [
        row.rstrip(",") + "," + ",".join(map(repr, values))
        for row, values in zip(rows, xyz.tolist(), strict=True)
    ]
    kept = lines[: int(rng.integers(1, len(lines)))] if rng.random() < 0.2 else lines
    return "\n".join([head, names, *kept]) + "\n"


@cache
def _board() -> NDArray[np.float32]:
    """A board as a monitor shows it through the probe LUT, at half its size."""
    picture = draw_board(17, "full").pixels[::2, ::2].astype(np.float32) / 65535
    return np.asarray(probe_lut(17).apply(picture), np.float32)


def grab(rng: Random, path: Path) -> str:
    """A grab of a monitor: a board as it should be, damaged, or anything else."""
    picture = _board().copy()
    kind = rng.integers(6)
    if kind == 1:
        picture[:] = np.float32(number(rng))
    elif kind == 2:
        picture = rng.normal(size=picture.shape).astype(np.float32)
    elif kind == 3:
        top, left = rng.integers(0, 400, 2)
        picture[top : top + 140, left : left + 400] = np.float32(number(rng))
    elif kind == 4:
        with np.errstate(over="ignore"):
            picture = picture * np.float32(number(rng))
    elif kind == 5:
        picture = np.ascontiguousarray(picture[: rng.integers(1, 540), : rng.integers(1, 960)])
    if rng.random() < 0.5:
        picture = np.clip(np.nan_to_num(picture), 0, 1)
        still = Still((picture * 255).astype(np.uint8), ("R", "G", "B"), "8")
        path = path.with_suffix(".png")
    else:
        still = Still(picture, ("R", "G", "B"), "float")
        path = path.with_suffix(".exr")
    write_still(still, path, force=True)
    return str(path)


def clip(path: Path) -> str:
    """A good clip of four small frames."""
    with av.open(str(path), "w") as file:
        stream = file.add_stream("ffv1", rate=25)
        stream.width, stream.height, stream.pix_fmt = 16, 16, "yuv422p10le"
        for at in range(4):
            frame = av.VideoFrame.from_ndarray(np.full((16, 16, 3), 60 * at, np.uint8))
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    return str(path)


def sequence(folder: Path) -> str:
    """A good sequence of three small frames."""
    folder.mkdir()
    ramp: Array = np.linspace(0, 255, 8 * 8 * 3).reshape(8, 8, 3)
    for at in range(3):
        pixels = np.roll(ramp, at).astype(np.uint8)
        write_still(Still(pixels, ("R", "G", "B"), "8"), folder / f"a.{at:04}.png", force=True)
    return str(folder)
