"""Applying LUTs to a 4K frame, beside FFmpeg and Pillow.

    pytest tests/benchmarks/test_apply_bench.py --benchmark-group-by=group

The cases, and a table of all of them from one run, are in apply_cases.py.
"""

from __future__ import annotations

from typing import Any

import pytest
from apply_cases import Cases

NAMES = sorted(
    {
        "limit: copy, one thread",
        "limit: read of four nodes a pixel",
        "limit: new array, touched",
        "float32 33: FFmpeg, planar frame in and out",
        "float32 33: FFmpeg, array in and out",
        "float32 33: colour-science, a sixteenth of the frame",
        "float32 33: lutbench, new array",
        "float32 33: lutbench, in place of an old one",
        "float32 33: lutbench, planar",
        "float32 33: lutbench, one thread",
        "float32 33: lutbench, trilinear",
        "float32 33: lutbench, noise",
        "float32 65: FFmpeg, planar frame in and out",
        "float32 65: lutbench",
        "float32 65: lutbench, noise",
        "float32 curve: lutbench",
        "float32 chain: curve + 33",
        "float32 chain: the same in two passes",
        "float32 chain: matrix + CDL + curve + 33",
        "uint16 33: FFmpeg, rgb48 frame in and out",
        "uint16 33: lutbench, new array",
        "uint16 33: lutbench",
        "uint8 33: Pillow, trilinear",
        "uint8 33: lutbench, trilinear",
        "uint8 33: lutbench",
    }
)


@pytest.fixture(scope="module")
def cases(tmp_path_factory: pytest.TempPathFactory) -> Cases:
    return Cases(tmp_path_factory.mktemp("cubes"))


@pytest.mark.parametrize("name", NAMES)
def test_apply(benchmark: Any, cases: Cases, name: str) -> None:
    assert set(NAMES) == set(cases.cases)
    benchmark.group = name.split(":")[0]
    benchmark.pedantic(cases.cases[name], rounds=9, warmup_rounds=1)
