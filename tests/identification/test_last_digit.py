"""What identify tells does not hang on the last digit of a linear algebra library.

Tables are moved by a few parts in 10¹² (a file holds six decimals), which changes nothing at all.
What solvers of linear systems return is moved by a part in 10¹³, and the same LUTs are identified
with other kernels of OpenBLAS, whose sums are rounded in another order: nothing may change that is
told. A name that is said to be a guess may, since steps of a fit over tables can end elsewhere.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import open_world
import pytest

from lutbench.identification import Identification, identify
from lutbench.identification.directions import GreyScale, hue_changes
from lutbench.identification.scope import BT709
from lutbench.tables.lut import Lut1D, Lut3D

MOVED, SHAKEN = 2e-12, 1e-13
SOLVERS = ("solve", "lstsq", "inv", "pinv")
FEW = ("plain conversion", "gamut only")
FAMILIES = [
    family if family in FEW else pytest.param(family, marks=pytest.mark.slow)
    for family in open_world.families()
]


def verdict(found: Identification) -> dict[str, Any]:
    """What a user is told, guesses included, but for figures."""
    data = found.to_data()
    best = data["candidates"][0] if data["candidates"] else {}
    told = {key: best.get(key) for key in ("source", "target", "same_as", "not_told")}
    look = {key: data["look"][key] for key in ("present", "description")}
    return {"kind": data["kind"], "confidence": data["confidence"], **told, **look}


def told(found: Identification) -> dict[str, Any]:
    """The part of it that is no guess: kind and confidence, and the names that are told."""
    data = verdict(found)
    guesses = data["not_told"] or []
    names = {
        f"{end} {part}": data[end][part]
        for end in ("source", "target")
        for part in ("curve", "gamut", "range")
        if data[end] and f"{end} {part}" not in guesses
    }
    low = data["confidence"] in ("low", "none")
    return {"kind": data["kind"], "confidence": data["confidence"]} | ({} if low else names)


def moved(lut: Any, seed: int) -> Any:
    """The LUT with every value moved by up to `MOVED`, at random."""
    noise = np.random.default_rng(seed).uniform(-MOVED, MOVED, lut.table.shape)
    return type(lut)(np.asarray(lut.table, np.float64) + noise, domain=lut.domain)


def shaken(solver: Callable[..., Any]) -> Callable[..., Any]:
    """A solver of another library: the same system gives the same result, a little off."""

    def move(result: Any) -> Any:
        if isinstance(result, tuple):
            return tuple(move(each) for each in result)
        if not isinstance(result, np.ndarray) or result.dtype.kind != "f":
            return result
        rng = np.random.default_rng(zlib.crc32(result.tobytes()))
        return result * (1 + rng.uniform(-SHAKEN, SHAKEN, result.shape))

    return lambda *system, **settings: move(solver(*system, **settings))


@pytest.mark.parametrize("family", FAMILIES)
def test_the_last_digits_of_a_table_and_of_solvers(
    family: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    lut = open_world.case(family, 0).lut
    found = identify(lut)
    before, sure = verdict(found), told(found)
    if isinstance(lut, Lut1D | Lut3D):
        assert verdict(identify(moved(lut, 0))) == before
    for name in SOLVERS:
        monkeypatch.setattr(np.linalg, name, shaken(getattr(np.linalg, name)))
    assert told(identify(lut)) == sure


def test_what_becomes_grey_is_not_turned() -> None:
    """Luma of BT.709 in every channel, off by the last digits: its angle means nothing."""
    rng = np.random.default_rng(0)
    before = rng.uniform(0.2, 0.8, (4000, 3))
    grey = np.repeat(before @ np.array(BT709)[:, None], 3, axis=1)
    after = grey + rng.uniform(-1e-15, 1e-15, grey.shape)
    ramp = np.repeat(np.linspace(0, 1, 33)[:, None], 3, axis=1)
    changes = hue_changes(before, after, GreyScale(ramp, ramp), np.zeros(len(grey)), BT709)
    assert len(changes) > 5
    assert [each.turned for each in changes] == [0.0] * len(changes)
    assert max(each.saturation for each in changes) < 1e-9


def print_verdicts(families: list[str]) -> None:
    """In a process of its own: a line of JSON a family."""
    for family in families:
        print(json.dumps(told(identify(open_world.case(family, 1).lut))))


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
