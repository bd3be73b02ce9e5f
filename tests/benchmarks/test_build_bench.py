"""Building a LUT, and starting the program.

Run: ``python -m pytest tests/benchmarks/test_build_bench.py --benchmark-only``
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import colour
import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

import lutbench


@pytest.mark.benchmark(group="build a 33³ combined LUT, in process")
def test_ours(benchmark: BenchmarkFixture) -> None:
    lut = benchmark(
        lutbench.build, "ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709"
    )
    assert lut.size == 33


@pytest.mark.benchmark(group="build a 33³ combined LUT, in process")
def test_colour_science(benchmark: BenchmarkFixture) -> None:
    def build() -> colour.LUT3D:
        light = colour.log_decoding(colour.LUT3D.linear_table(33), function="ACEScct")
        linear = colour.RGB_to_RGB(
            light, "ACEScg", "ITU-R BT.709", chromatic_adaptation_transform="Bradford"
        )
        table = np.clip(colour.models.eotf_inverse_BT1886(np.maximum(linear, 0)), 0, 1)
        return colour.LUT3D(table)

    lut = benchmark(build)
    ours = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709")
    # The peer does the same work: the tables agree to the matrix's rounding.
    assert lut.table == pytest.approx(ours.table, abs=2e-6)


WAYS = {
    "gamut map": {"gamut": "map"},
    "shoulder and gamut map": {"tone": "shoulder", "gamut": "map"},
    "log sigmoid": {"tone": "sigmoid"},
    "log sigmoid and gamut map": {"tone": "sigmoid", "gamut": "map"},
}


@pytest.mark.benchmark(group="build 33³ from ACEScct, BT.2020 to BT.1886, BT.709, in process")
@pytest.mark.parametrize("name", WAYS)
def test_ways(benchmark: BenchmarkFixture, name: str) -> None:
    ends = {"source_gamut": "BT.2020", "target_gamut": "BT.709"}
    lut = benchmark(lutbench.build, "ACEScct", "BT.1886", **ends, **WAYS[name])
    assert lut.size == 33


HDR_WAYS = {
    "PQ to HLG": ("ST 2084", "BT.2100 HLG", {"target_display_peak": 1000.0}),
    "HLG to PQ": ("BT.2100 HLG", "ST 2084", {"source_display_peak": 1000.0}),
    **{
        f"PQ to SDR, {tone}": (
            "ST 2084",
            "BT.1886",
            {
                "tone": tone,
                "gamut": "map",
                "source_display_peak": 1000.0,
                "target_display_peak": 100.0,
            },
        )
        for tone in ("eetf", "bt2446-a", "bt2446-c")
    },
}


@pytest.mark.benchmark(group="build 33³ between SDR, PQ and HLG, in process")
@pytest.mark.parametrize("name", HDR_WAYS)
def test_hdr_ways(benchmark: BenchmarkFixture, name: str) -> None:
    source, target, more = HDR_WAYS[name]
    ends = {"source_gamut": "BT.2020", "target_gamut": "BT.709"}
    lut = benchmark(lutbench.build, source, target, **ends, **more)
    assert lut.size == 33


COMMANDS = {
    "import lutbench": [sys.executable, "-c", "import lutbench"],
    "lutbench --help": [sys.executable, "-m", "lutbench", "--help"],
    "inspect --json of 33³": [sys.executable, "-m", "lutbench", "inspect", "m.cube", "--json"],
    "python alone": [sys.executable, "-c", "pass"],
    "import colour": [sys.executable, "-W", "ignore", "-c", "import colour"],
}


@pytest.mark.benchmark(group="whole processes", min_rounds=5)
@pytest.mark.parametrize("name", COMMANDS)
def test_start(benchmark: BenchmarkFixture, name: str, tmp_path: Path) -> None:
    lut = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709")
    from lutbench.formats.cube_write import write_cube

    write_cube(lut, tmp_path / "m.cube")

    def run() -> None:
        subprocess.run(COMMANDS[name], cwd=tmp_path, check=True, capture_output=True)

    benchmark(run)
