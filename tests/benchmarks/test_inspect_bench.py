"""Times of `inspect`: in process, and the whole command.

    pytest tests/benchmarks/test_inspect_bench.py

No peer does the same job; the bare start of the interpreter with numpy stands
beside the whole command.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from lutbench.formats.cube_write import write_cube
from lutbench.inspection.inspection import inspect
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.tables.nodes import sample


@pytest.fixture(scope="module")
def cube(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A 33-node LUT in a file."""
    known = open_catalogue(user=False)
    ends = [
        Encoding(known.curve(curve), known.gamut(gamut))
        for curve, gamut in (("ACEScct", "ACES AP1"), ("BT.709", "BT.709"))
    ]
    path = tmp_path_factory.mktemp("inspect") / "day.cube"
    write_cube(sample(Conversion(*ends).pipeline(), 33), path)
    return path


def test_in_process(benchmark: Any, cube: Path) -> None:
    benchmark.pedantic(lambda: inspect(cube).to_data(), rounds=5, warmup_rounds=1)


def test_whole_command(benchmark: Any, cube: Path) -> None:
    command = [sys.executable, "-m", "lutbench", "inspect", str(cube), "--json"]
    benchmark.pedantic(
        lambda: subprocess.run(command, check=True, capture_output=True), rounds=5, warmup_rounds=1
    )


def test_bare_start(benchmark: Any) -> None:
    command = [sys.executable, "-c", "import numpy"]
    benchmark.pedantic(
        lambda: subprocess.run(command, check=True, capture_output=True), rounds=5, warmup_rounds=1
    )
