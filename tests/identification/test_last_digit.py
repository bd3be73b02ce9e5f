"""What identify is sure of does not hang on the last digit of a linear algebra library.

A guess of low confidence may: where many hypotheses explain a LUT about as badly, the last
digit can decide which comes first. It may not turn into something sure, nor the other way.
The tables are moved by a few parts in 10¹² (a file holds six decimals), and the same LUTs are
identified with other kernels of OpenBLAS, whose sums are rounded in another order.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import open_world
import pytest

from lutbench.identification import Identification, identify
from lutbench.tables.lut import Lut1D, Lut3D

MOVED = 2e-12
FEW = ("plain conversion", "gamut only")
FAMILIES = [
    family if family in FEW else pytest.param(family, marks=pytest.mark.slow)
    for family in open_world.families()
]


def verdict(found: Identification) -> dict[str, Any]:
    """What a user is told as sure, but for figures; of a guess only that it is one."""
    data = found.to_data()
    if data["confidence"] != "high":
        return {"sure": False}
    best = data["candidates"][0] if data["candidates"] else {}
    told = {key: best.get(key) for key in ("source", "target", "same_as", "not_told")}
    return {"sure": True, "kind": data["kind"], **told, "look": data["look"]["present"]}


def moved(lut: Any, seed: int) -> Any:
    """The LUT with every value moved by up to `MOVED`, at random."""
    noise = np.random.default_rng(seed).uniform(-MOVED, MOVED, lut.table.shape)
    return type(lut)(lut.table + noise, domain=lut.domain)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_table_moved_in_its_twelfth_digit(family: str) -> None:
    lut = open_world.case(family, 0).lut
    if not isinstance(lut, Lut1D | Lut3D):
        pytest.skip("a shaper before a LUT")
    before = verdict(identify(lut))
    assert verdict(identify(moved(lut, 0))) == before


def print_verdicts(families: list[str]) -> None:
    """In a process of its own: a line of JSON a family."""
    for family in families:
        print(json.dumps(verdict(identify(open_world.case(family, 1).lut))))


def verdicts(families: list[str], **environment: str) -> list[Any]:
    here = Path(__file__).parent
    code = f"from test_last_digit import print_verdicts; print_verdicts({families!r})"
    path = [str(here), str(here.parent / "cases"), os.environ.get("PYTHONPATH", "")]
    more = {"PYTHONPATH": os.pathsep.join(path), **environment}
    told = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | more,
    ).stdout
    return [json.loads(line) for line in told.splitlines()]


@pytest.mark.slow
def test_other_kernels_and_threads_of_the_library() -> None:
    """OpenBLAS as it comes here, and with the kernels for a processor of 2004, on two threads."""
    families = list(open_world.families())
    here = verdicts(families, OPENBLAS_NUM_THREADS="1")
    there = verdicts(families, OPENBLAS_CORETYPE="Prescott", OPENBLAS_NUM_THREADS="2")
    assert len(here) == len(families)
    assert [f for f, one, two in zip(families, here, there, strict=True) if one != two] == []
