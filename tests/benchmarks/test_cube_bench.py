"""Reading and writing .cube files, beside colour-science and numpy.

    pytest tests/benchmarks/test_cube_bench.py --benchmark-group-by=group

The rows of one group are measured one after the other on the same file.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest

from lutbench.formats import cube
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut1D, Lut3D, lattice

SIZES = [33, 65]


def a_lut(size: int) -> Lut3D:
    """A smooth LUT with numbers of every size, negative ones among them."""
    nodes = lattice(size)
    return Lut3D(1.3 * nodes**2.2 - 0.1 * nodes[..., ::-1] ** 3, title="Measured")


@pytest.fixture(params=SIZES)
def file(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[int, Path]:
    path = tmp_path / "lut.cube"
    write_cube(a_lut(request.param), path)
    return request.param, path


@pytest.mark.parametrize("who", ["lutbench", "colour", "numpy.loadtxt"])
def test_read(benchmark: Any, file: tuple[int, Path], who: str) -> None:
    size, path = file
    benchmark.group = f"read {size}"

    def loadtxt(name: Path) -> Any:
        return np.loadtxt(name, skiprows=2)

    reader = {"lutbench": cube.read_cube, "colour": colour.read_LUT, "numpy.loadtxt": loadtxt}[who]
    name = str(path) if who == "colour" else path
    benchmark.pedantic(reader, (name,), rounds=7, warmup_rounds=1)


@pytest.mark.parametrize("who", ["lutbench", "lutbench exact", "colour", "numpy.savetxt"])
@pytest.mark.parametrize("size", SIZES)
def test_write(benchmark: Any, tmp_path: Path, size: int, who: str) -> None:
    lut = a_lut(size)
    rows = lut.table.transpose(2, 1, 0, 3).reshape(-1, 3)
    theirs = colour.LUT3D(lut.table, "Measured")
    path = tmp_path / "out.cube"
    benchmark.group = f"write {size}"
    exact = Lut3D(lut.table.astype(np.float32), title="Measured")
    writers = {
        "lutbench": lambda: write_cube(lut, path, force=True),
        "lutbench exact": lambda: write_cube(exact, path, decimals=None, force=True),
        "colour": lambda: colour.write_LUT(theirs, str(path), decimals=6),
        "numpy.savetxt": lambda: np.savetxt(path, rows, "%.6f"),
    }
    benchmark.pedantic(writers[who], rounds=5, warmup_rounds=1)


@pytest.mark.parametrize("who", ["lutbench", "colour"])
def test_read_1d(benchmark: Any, tmp_path: Path, who: str) -> None:
    path = tmp_path / "curve.cube"
    write_cube(Lut1D(np.linspace([0] * 3, [1] * 3, 65536) ** 2.4), path)
    benchmark.group = "read 1D, 65536 rows"
    reader = cube.read_cube if who == "lutbench" else colour.read_LUT
    benchmark.pedantic(reader, (str(path),), rounds=5, warmup_rounds=1)
