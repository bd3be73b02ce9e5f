"""A LUT is a value: equal by what it does, never written to, read by numpy as its table."""

from __future__ import annotations

import copy
import functools
import importlib
import pickle
import pkgutil
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import lutbench
from lutbench.errors import LutbenchError
from lutbench.formats.operators import HalfLut1D
from lutbench.model.transforms import Matrix, Transform
from lutbench.tables.lut import Lut, Lut1D, Lut3D, ShaperLut3D

RNG = np.random.default_rng(3)
CUBE = RNG.random((5, 5, 5, 3))
RAMP = np.linspace(0, 1, 9)[:, None] * np.ones(3)

LUTS = {
    "1D": Lut1D(RAMP),
    "3D": Lut3D(CUBE),
    "3D in float32": Lut3D(CUBE.astype(np.float32)),
    "shaper": ShaperLut3D(Lut1D(RAMP), Lut3D(CUBE)),
}


def every_kind() -> Iterator[type[Transform]]:
    for module in pkgutil.walk_packages(lutbench.__path__, "lutbench."):
        if not module.name.endswith(("__main__", "kernels", "kernels_llvm", "kernels_steps")):
            importlib.import_module(module.name)
    todo = [Transform]
    while todo:
        kind = todo.pop()
        yield kind
        todo += kind.__subclasses__()


def test_every_transform_is_compared_by_its_values() -> None:
    """No kind inherits a comparison that does not look at its own fields."""
    for kind in every_kind():
        if kind.__eq__ is not Transform.__eq__ and fields(kind):
            looked_at = {field.name for field in fields(kind) if field.compare}
            assert kind.__dict__.get("__eq__") is not None, kind
            assert looked_at, kind


@pytest.mark.parametrize("lut", LUTS.values(), ids=LUTS)
def test_luts_are_equal_by_value(lut: Lut) -> None:
    same = lut.with_title("another title")
    assert same == lut
    assert hash(same) == hash(lut)
    assert len({lut, same, Lut3D.identity(3)}) == 2
    assert lut != Lut3D.identity(3)
    assert lut != "a LUT"


def test_every_value_counts() -> None:
    lut = Lut3D(CUBE)
    nudged = CUBE.copy()
    nudged[1, 2, 3, 0] = np.nextafter(nudged[1, 2, 3, 0], 2)
    assert Lut3D(nudged) != lut
    assert Lut3D(CUBE, (0, 2)) != lut
    assert lut.with_interpolation("trilinear") != lut
    assert Lut1D(RAMP) != Lut1D(RAMP * 0.5)
    assert ShaperLut3D(Lut1D(RAMP), lut) != ShaperLut3D(Lut1D(RAMP**2), lut)
    half = np.repeat(np.arange(65536, dtype=np.uint16).view(np.float16)[:, None], 3, axis=1)
    rows = np.nan_to_num(half.astype(np.float64), nan=0.0, posinf=1.0, neginf=-1.0)
    assert HalfLut1D(rows) == HalfLut1D(rows.copy())
    assert HalfLut1D(rows) != HalfLut1D(rows * 0.5)


def test_zeros_are_equal_whatever_their_sign() -> None:
    one, other = np.zeros((2, 2, 2, 3)), -np.zeros((2, 2, 2, 3))
    assert Lut3D(one) == Lut3D(other)
    assert hash(Lut3D(one)) == hash(Lut3D(other))


def test_a_cache_keeps_luts_apart() -> None:
    @functools.lru_cache
    def first(lut: Lut) -> float:
        return float(lut.table.ravel()[0])

    assert first(Lut3D(CUBE)) != first(Lut3D(CUBE * 0.5))


@pytest.mark.parametrize("lut", LUTS.values(), ids=LUTS)
@pytest.mark.parametrize(
    "again", [copy.copy, copy.deepcopy, lambda x: pickle.loads(pickle.dumps(x))]
)
def test_no_copy_can_be_written_to(lut: Lut, again: Any) -> None:
    hash(lut)  # of this process: not to be taken into a pickle
    found = again(lut)
    assert found == lut
    assert hash(found) == hash(lut)
    assert "_hash" not in again(lut).__dict__
    for table in (found.table, found.domain):
        assert not table.flags.writeable
        with pytest.raises(ValueError, match="cannot set WRITEABLE"):
            table.flags.writeable = True


def test_a_table_is_nobody_elses(tmp_path: Path) -> None:
    class Mine(np.ndarray):
        pass

    np.save(tmp_path / "table.npy", CUBE)
    mapped = np.load(tmp_path / "table.npy", mmap_mode="r+")
    held = CUBE.copy()
    view = held[:]
    view.flags.writeable = False
    for table, owner in ((held, held), (view, held), (mapped, mapped), (held.view(Mine), held)):
        before = np.array(table)
        lut = Lut3D(table)
        owner[0, 0, 0] = 7
        np.testing.assert_array_equal(lut.table, before)
        assert type(lut.table) is np.ndarray
        owner[0, 0, 0] = before[0, 0, 0]


def test_numpy_reads_a_lut_as_its_table() -> None:
    lut = Lut3D(CUBE)
    np.testing.assert_array_equal(np.asarray(lut), CUBE)
    assert np.asarray(lut) is lut.table
    assert np.array(lut).flags.writeable
    assert np.asarray(lut, dtype=np.float32).dtype == np.float32
    assert lut.shape == (5, 5, 5, 3)
    assert np.abs(np.subtract(lut, Lut3D.identity(5))).max() > 0
    with pytest.raises(LutbenchError, match="two tables"):
        np.asarray(LUTS["shaper"])


@pytest.mark.parametrize(
    ("make", "what"),
    [
        (lambda: Lut3D(np.ma.masked_less(CUBE, 0.5)), "masked"),
        (lambda: Lut3D("a table"), "not an array of numbers"),  # type: ignore[arg-type]
        (lambda: Lut3D([[1.0], [1.0, 2.0]]), "not an array of numbers"),  # type: ignore[list-item]
        (lambda: Lut3D(CUBE.astype(complex)), "not an array of numbers"),
        (lambda: Lut3D(None), "not an array of numbers"),  # type: ignore[arg-type]
        (lambda: Lut3D(CUBE, "wide"), "not an array of numbers"),  # type: ignore[arg-type]
        (lambda: Lut3D(CUBE, (1, 0)), "not a domain"),
        (lambda: Lut3D(CUBE, title=3), "a title of 3"),  # type: ignore[arg-type]
        (lambda: Lut3D(CUBE, comments=(1,)), "comments: 1 is not text"),  # type: ignore[arg-type]
        (lambda: Lut3D(CUBE, interpolation="cubic"), "no interpolation"),  # type: ignore[arg-type]
        (lambda: ShaperLut3D(Lut3D(CUBE), Lut1D(RAMP)), "Lut3D before Lut1D"),  # type: ignore[arg-type]
        (lambda: Matrix([[1, 2, 3], [4, 5]]), "not a matrix"),  # type: ignore[list-item]
        (lambda: Matrix("abc"), "not a matrix"),  # type: ignore[arg-type]
        (lambda: Matrix(np.full((3, 3), np.nan)), "not a matrix"),
        (lambda: Matrix(np.eye(3)) | 3, "unsupported operand"),  # type: ignore[operator]
    ],
)
def test_what_is_no_lut_is_refused(make: Any, what: str) -> None:
    with pytest.raises((LutbenchError, TypeError), match=what):
        make()


def test_what_the_docs_show_is_taken() -> None:
    assert Lut3D(CUBE, domain=(0, 1)) == Lut3D(CUBE)
    assert Matrix(np.eye(3)) == Matrix(((1, 0, 0), (0, 1, 0), (0, 0, 1)), [0, 0, 0])
    assert Lut3D(CUBE.tolist()) == Lut3D(CUBE)
