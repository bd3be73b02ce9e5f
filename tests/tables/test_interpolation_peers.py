"""The kernels against interpolation that others wrote: scipy, colour-science, Pillow, FFmpeg."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lattice_reference import DOMAINS, METHODS, colours, random_table
from numpy.typing import NDArray

from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.pixels import apply_pixels

FLOAT32 = 2e-6


def smooth_table(size: int) -> NDArray[np.float64]:
    """A lattice as a real LUT has it: a curve, channels mixed, a bend."""
    rgb = Lut3D.identity(size).table
    mixed = rgb @ np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.0, 0.2, 0.8]]).T
    return np.asarray(np.clip(mixed, 0, 1) ** 0.7 * (1 - 0.1 * np.sin(6 * rgb)))


def write_cube(path: Path, table: NDArray[Any]) -> None:
    """By hand, so that this check rests on no other part of lutbench: red runs fastest."""
    rows = table.transpose(2, 1, 0, 3).reshape(-1, 3)
    lines = [f"LUT_3D_SIZE {table.shape[0]}", *(" ".join(f"{v:.9g}" for v in row) for row in rows)]
    path.write_text("\n".join(lines) + "\n")


@pytest.mark.parametrize("size", [2, 17, 33])
@pytest.mark.parametrize("domain", DOMAINS.values(), ids=DOMAINS)
def test_trilinear_is_that_of_scipy(size: int, domain: Any) -> None:
    from scipy.interpolate import RegularGridInterpolator

    table = random_table(size)
    axes = [np.linspace(domain[0][c], domain[1][c], size) for c in range(3)]
    rgb = np.clip(colours(domain), *np.array(domain))
    expected = RegularGridInterpolator(axes, table)(rgb)
    lut = Lut3D(table, domain, interpolation="trilinear")
    np.testing.assert_allclose(lut.apply(rgb), expected, rtol=0, atol=1e-12)
    single = rgb.astype(np.float32)
    expected = RegularGridInterpolator(axes, table, bounds_error=False, fill_value=None)(single)
    np.testing.assert_allclose(lut.apply(single), expected, rtol=0, atol=FLOAT32)


def test_curve_is_that_of_scipy() -> None:
    from scipy.interpolate import make_interp_spline

    table = random_table(129, 1)
    rgb = np.random.default_rng(1).random((5000, 3))
    inputs = np.linspace(0, 1, 129)
    expected = np.stack(
        [make_interp_spline(inputs, table[:, c], k=1)(rgb[:, c]) for c in range(3)], axis=-1
    )
    np.testing.assert_allclose(Lut1D(table).apply(rgb), expected, rtol=0, atol=1e-12)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("size", [2, 17, 33])
def test_lattice_is_that_of_colour_science(method: str, size: int) -> None:
    import colour
    from colour.algebra import table_interpolation_tetrahedral, table_interpolation_trilinear

    interpolator = {
        "tetrahedral": table_interpolation_tetrahedral,
        "trilinear": table_interpolation_trilinear,
    }[method]
    domain = np.array(((-0.1, -0.1, -0.1), (1.3, 1.3, 1.3)))
    table = random_table(size)
    rgb = np.clip(colours(domain), *domain)
    peer = colour.LUT3D(table, domain=domain)
    expected = peer.apply(rgb, interpolator=interpolator)
    lut = Lut3D(table, domain, interpolation=method)  # type: ignore[arg-type]
    # colour-science finds the place by two linear conversions, in float64 too.
    np.testing.assert_allclose(lut.apply(rgb), expected, rtol=0, atol=1e-9)
    np.testing.assert_allclose(
        lut.apply(rgb.astype(np.float32)),
        peer.apply(rgb.astype(np.float32).astype(np.float64), interpolator=interpolator),
        rtol=0,
        atol=FLOAT32,
    )


def test_shaper_and_lattice_are_those_of_colour_science() -> None:
    import colour
    from colour.algebra import table_interpolation_tetrahedral

    curve = np.repeat((np.linspace(0, 1, 256) ** 0.4)[:, None], 3, axis=1)
    table = smooth_table(33)
    rgb = np.random.default_rng(1).random((3000, 3))
    first = colour.LUT3x1D(curve).apply(rgb)
    second = colour.LUT3D(table).apply(first, interpolator=table_interpolation_tetrahedral)
    both = ShaperLut3D(Lut1D(curve), Lut3D(table))
    np.testing.assert_allclose(both.apply(rgb), second, rtol=0, atol=1e-9)
    np.testing.assert_allclose(apply_pixels(both, rgb), second, rtol=0, atol=1e-9)


@pytest.mark.parametrize("size", [17, 33, 65])
def test_eight_bit_trilinear_is_that_of_pillow(size: int) -> None:
    from PIL import Image, ImageFilter
    from skimage import data

    picture = data.astronaut()
    table = smooth_table(size)
    filter_ = ImageFilter.Color3DLUT(
        size, table.transpose(2, 1, 0, 3).reshape(-1).tolist(), channels=3
    )
    expected = np.asarray(Image.fromarray(picture).filter(filter_)).astype(int)
    ours = Lut3D(table, interpolation="trilinear").apply(picture).astype(int)
    # Pillow keeps its table and weights in 16-bit integers: it may take the neighbour.
    assert np.abs(ours - expected).max() <= 1
    assert (ours != expected).mean() < 0.02


@pytest.fixture(scope="module")
def av() -> Any:
    return pytest.importorskip("av")


def through_ffmpeg(av: Any, cube: Path, frame: Any, method: str, pixel_format: str) -> Any:
    from av.filter import Graph

    graph = Graph()
    source = graph.add_buffer(
        width=frame.width, height=frame.height, format=frame.format, time_base=1
    )
    lut3d = graph.add("lut3d", f"file={cube}:interp={method}")
    sink = graph.add("buffersink")
    source.link_to(lut3d)
    lut3d.link_to(sink)
    graph.configure()
    graph.push(frame)
    out = graph.pull()
    assert out.format.name == pixel_format
    return out


@pytest.mark.parametrize(
    ("size", "method"),
    [(size, method) for size in (2, 17, 33) for method in METHODS] + [(65, "tetrahedral")],
)
def test_lattice_is_that_of_ffmpeg(av: Any, tmp_path: Path, method: str, size: int) -> None:
    table = random_table(size, seed=size).astype(np.float32)
    cube = tmp_path / "table.cube"
    write_cube(cube, table)
    rgb = colours(DOMAINS["unit"], 96 * 64).astype(np.float32).reshape(64, 96, 3)
    frame = av.VideoFrame.from_ndarray(rgb, format="gbrpf32le")
    frame.pts = 0
    out = through_ffmpeg(av, cube, frame, method, "gbrpf32le").to_ndarray()
    lut = Lut3D(table, interpolation=method)  # type: ignore[arg-type]
    np.testing.assert_allclose(lut.apply(rgb), out, rtol=0, atol=FLOAT32)


@pytest.mark.parametrize("method", METHODS)
def test_sixteen_bit_is_that_of_ffmpeg(av: Any, tmp_path: Path, method: str) -> None:
    table = smooth_table(33).astype(np.float32)
    cube = tmp_path / "table.cube"
    write_cube(cube, table)
    rgb = np.random.default_rng(3).integers(0, 65536, (64, 96, 3), dtype=np.uint16)
    frame = av.VideoFrame.from_ndarray(rgb, format="rgb48le")
    frame.pts = 0
    out = through_ffmpeg(av, cube, frame, method, "rgb48le").to_ndarray().astype(int)
    lut = Lut3D(table, interpolation=method)  # type: ignore[arg-type]
    # FFmpeg cuts the code off where it is rounded to nearest here.
    difference = lut.apply(rgb).astype(int) - out
    assert set(np.unique(difference)) <= {0, 1}
    assert 0.45 < difference.mean() < 0.55
