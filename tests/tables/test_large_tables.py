"""Tables that are worked on in slabs: the same numbers, and never two copies of a table."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest

import lutbench as lb
from lutbench.algebra import resampling
from lutbench.formats.cube import parse_cube
from lutbench.formats.cube_write import format_cube
from lutbench.model.transforms import Matrix, Mould, Pipeline, Transform
from lutbench.tables import nodes
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, lattice

RNG = np.random.default_rng(21)
CURVE = Lut1D(np.cumsum(RNG.random((40, 3)), axis=0) / 30)
LUT = Lut3D(RNG.random((9, 9, 9, 3)), (-0.3, 1.7))
CHAIN = Pipeline((LUT, Matrix(np.eye(3) * 0.9), CURVE))


def peak(work: Callable[[], object]) -> int:
    """The most bytes that `work` holds at a time."""
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_a_mould_is_sealed_without_a_copy() -> None:
    mould = Mould((50, 50, 3))
    mould.array[...] = 0.25
    table = mould.sealed()
    assert not table.flags.writeable
    with pytest.raises(ValueError, match="cannot set WRITEABLE"):
        table.flags.writeable = True
    assert not hasattr(mould, "array")
    assert (table == 0.25).all()
    size = 8 * 300**2
    assert peak(lambda: Mould((300, 300)).sealed()) < 1.1 * size


@pytest.mark.parametrize("transform", [CHAIN, LUT, CURVE, ShaperLut3D(CURVE, LUT)], ids=repr)
def test_slabs_change_no_bit(transform: Transform, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = transform.apply(lattice(7))
    for slab in (1, 100, 1 << 20):
        monkeypatch.setattr(nodes, "SLAB_NODES", slab)
        assert np.array_equal(nodes.sample(transform, 7).table, whole)


def test_a_lut_gives_its_table_at_its_own_nodes() -> None:
    """Over a domain whose nodes are no round numbers a place is found with an error of 1e-16."""
    assert np.array_equal(nodes.sample(LUT, 9, domain=LUT.domain).table, LUT.table)
    assert np.array_equal(lb.chain(LUT).lut.table, LUT.table)
    assert np.array_equal(lb.blend(LUT, LUT, 0.3).lut.table, LUT.table)


@pytest.mark.parametrize("method", ["pchip", "cubic"])
def test_slabs_change_no_resampling(method: str, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = lb.resample(LUT, 13, method).lut.table
    monkeypatch.setattr(resampling, "SLAB_NODES", 100)
    assert np.array_equal(lb.resample(LUT, 13, method).lut.table, whole)


def test_no_second_table_stands_beside_the_one_that_is_made(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    lut = Lut3D.identity(65)
    text, size = format_cube(lut), lut.table.nbytes
    # The rows of a part of the text, and of some planes, stand beside the table.
    assert peak(lambda: parse_cube(text)) < 1.8 * size
    monkeypatch.setattr(nodes, "SLAB_NODES", 1)
    assert peak(lambda: nodes.sample(lut, 65)) < 1.2 * size
    assert peak(lambda: nodes.sample(CURVE, 65)) < 1.2 * size
