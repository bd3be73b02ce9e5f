"""FFmpeg reads the .cube files that are written, and gives the same picture."""

from __future__ import annotations

from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from lutbench.formats import cube
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut3D, lattice


def through_ffmpeg(path: Path, rgb: NDArray[np.float32], interpolation: str) -> NDArray[np.float32]:
    """`rgb` through FFmpeg's lut3d filter, planar float from end to end."""
    height, width, _ = rgb.shape
    graph = av.filter.Graph()
    source = graph.add_buffer(width=width, height=height, format="gbrpf32le", time_base="1/25")
    lut = graph.add("lut3d", f"file={path}:interp={interpolation}")
    sink = graph.add("buffersink")
    source.link_to(lut)
    lut.link_to(sink)
    graph.configure()
    frame = av.VideoFrame(width, height, "gbrpf32le")
    for plane, channel in zip(frame.planes, (1, 2, 0), strict=True):  # green, blue, red
        lines = np.zeros((height, plane.line_size // 4), np.float32)
        lines[:, :width] = rgb[..., channel]
        plane.update(lines.tobytes())
    frame.pts = 0
    graph.push(frame)
    out = graph.pull()
    assert out.format.name == "gbrpf32le"
    result = np.empty_like(rgb)
    for plane, channel in zip(out.planes, (1, 2, 0), strict=True):
        lines = np.frombuffer(plane, np.float32).reshape(height, -1)
        result[..., channel] = lines[:, :width]
    return result


@pytest.mark.parametrize("interpolation", ["tetrahedral", "trilinear"])
@pytest.mark.parametrize("decimals", [6, None])
def test_ffmpeg_gives_the_same_picture(
    tmp_path: Path, interpolation: str, decimals: int | None
) -> None:
    rng = np.random.default_rng(11)
    table = np.clip(lattice(17) ** 0.6 + rng.normal(0, 0.02, (17, 17, 17, 3)), 0, 1)
    path = tmp_path / "look.cube"
    lut = Lut3D(table.astype(np.float32), title="Salt Road look", comments=("for viewing",))
    write_cube(lut, path, decimals=decimals)
    rgb = rng.random((48, 64, 3), dtype=np.float32)
    rgb[0] = np.linspace(0, 1, 64, dtype=np.float32)[:, None]
    theirs = through_ffmpeg(path, rgb, interpolation)
    ours = cube.read_cube(path)
    assert isinstance(ours, Lut3D)
    # Both compute in float32: a few roundings of numbers up to 1 (2^-24 each).
    assert np.abs(ours.apply(rgb, interpolation) - theirs).max() < 2e-6  # type: ignore[arg-type]
    # And from what the file says, up to its own rounding.
    rounding = 0.0 if decimals is None else 0.5e-6
    assert np.abs(lut.apply(rgb, interpolation) - theirs).max() < 2e-6 + rounding  # type: ignore[arg-type]


def test_ffmpeg_reads_the_domain(tmp_path: Path) -> None:
    path = tmp_path / "wide.cube"
    lut = Lut3D(lattice(9) ** 2, (0.0, 2.0))
    write_cube(lut, path, decimals=None)
    rgb = np.random.default_rng(5).random((32, 32, 3), dtype=np.float32) * np.float32(2)
    # FFmpeg scales the input by 1 / (domain maximum - minimum).
    assert np.abs(lut.apply(rgb) - through_ffmpeg(path, rgb, "tetrahedral")).max() < 2e-6
