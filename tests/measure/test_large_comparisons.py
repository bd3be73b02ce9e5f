"""What is done in pieces gives what is done at once; what two tables say of why they differ."""

from __future__ import annotations

import numpy as np
import pytest

from lutbench.formats.clf_nodes import array_text
from lutbench.measure import tables
from lutbench.measure.comparison import _largest
from lutbench.measure.samples import LatticeInputs, nodes_of
from lutbench.tables.lut import Lut3D, ShaperLut3D
from lutbench.tables.nodes import node_inputs, sample_behind

RNG = np.random.default_rng(5)


def test_inputs_made_where_they_are_asked_for_are_those_of_the_nodes() -> None:
    lut = Lut3D(RNG.random((5, 5, 5, 3)), [[-0.1, 0, 0.2], [1.0, 2.0, 1.5]])
    samples = nodes_of(lut)
    assert samples is not None
    whole = node_inputs(lut).reshape(-1, 3)
    assert np.array_equal(np.asarray(samples.signals), whole)
    assert np.array_equal(samples.signals[17:40], whole[17:40])
    assert np.array_equal(samples.signals[np.array([3, 124])], whole[[3, 124]])
    assert np.array_equal(samples.signals[7], whole[7])
    assert np.array_equal(samples.ends, (whole.min(axis=0), whole.max(axis=0)))


def test_a_shaper_s_rows_come_after_the_nodes() -> None:
    from lutbench.tables.lut import Lut1D

    shaper = Lut1D(np.linspace([0.0] * 3, [1.0] * 3, 11) ** 0.5)
    lut = sample_behind(Lut3D.identity(3), shaper, 4)
    assert isinstance(lut, ShaperLut3D)
    samples = nodes_of(lut)
    assert samples is not None
    whole = np.concatenate([node_inputs(lut).reshape(-1, 3), node_inputs(lut.shaper)])
    assert np.array_equal(np.asarray(samples.signals), whole)
    assert isinstance(samples.signals, LatticeInputs)
    assert np.array_equal(samples.signals[60:70], whole[60:70])


@pytest.mark.parametrize("count", [1, 7, 100, 400])
def test_the_largest_are_those_of_a_whole_sort(count: int) -> None:
    # Many ties, as a table that is the same nearly everywhere has.
    values, then = RNG.integers(0, 4, 300).astype(float), RNG.integers(0, 3, 300).astype(float)
    wanted = np.lexsort((-then, -values))[:count]
    assert np.array_equal(_largest(values, then, count), wanted)


@pytest.mark.parametrize("slab", [3 * 5, 3 * 25 * 2, 1 << 20])
def test_slab_by_slab_says_the_same(slab: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables, "SLAB", slab)
    table = RNG.random((5, 5, 5, 3))
    other = table.copy()
    other[3, 1, 2, 1] += 0.5
    other[4, 4, 4, 0] -= 0.1
    assert tables.moved_nodes(table, other) == (2, (3, 1, 2))
    # A row of the file is lost: all that follow come one too early.
    rows = np.swapaxes(table, 0, 2).reshape(-1, 3)
    lost = np.concatenate([rows[:40], rows[41:], rows[-1:]]).reshape(5, 5, 5, 3)
    (found,) = tables.about_shift(table, np.swapaxes(lost, 0, 2))
    assert "early" in found.text
    assert "row 41" in found.text
    assert list(tables.about_shift(table, RNG.random((5, 5, 5, 3)))) == []
    (found,) = tables.about_rounding(table, np.rint(table * 255) / 255, "nodes")
    assert found.amount == 8


def test_numbers_of_an_array_are_written_as_str_writes_them() -> None:
    for numbers in (RNG.random(30), RNG.random(30).astype(np.float32)):
        lines = array_text(numbers, 3).splitlines()
        assert lines == [" ".join(map(str, row)) for row in numbers.reshape(-1, 3).tolist()] or (
            numbers.dtype == np.float32
            and lines == [" ".join(str(each) for each in row) for row in numbers.reshape(-1, 3)]
        )
