"""A finding from outside the package: one class and one call."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from lutbench import inspect
from lutbench.errors import LutbenchError
from lutbench.inspection import registry
from lutbench.inspection.finding import Examined, Finding, FindingKind, Limit
from lutbench.tables.lut import Lut3D


class SmallTable(FindingKind):
    """A toy: fewer nodes than some limit."""

    code = "small_table"
    limit = Limit(17.0, "nodes", "the least that the toy's owner accepts")
    seen = "coarse colour"
    advice = "use a larger one"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        if lut.subject.size < self.limit_for(lut):
            yield self.finding(lut, f"{lut.subject.size} nodes along an edge", lut.subject.size)


@pytest.fixture
def toy() -> Iterator[SmallTable]:
    kind = SmallTable()
    registry.register(kind)
    yield kind
    registry.unregister(kind)


def test_a_finding_from_outside_is_looked_for(toy: SmallTable) -> None:
    found = inspect(Lut3D.identity(9))
    assert [each.code for each in found.findings] == ["small_table"]
    assert inspect(Lut3D.identity(9), limits={"small_table": 5.0}).findings == ()
    assert found.to_data()["limits"]["small_table"] == 17.0
    with pytest.raises(LutbenchError, match="exists already"):
        registry.register(toy)


def test_it_is_gone_once_it_is_taken_out() -> None:
    assert "small_table" not in registry.codes()
    assert inspect(Lut3D.identity(9)).findings == ()


def test_every_kind_has_its_words() -> None:
    for kind in registry.kinds():
        assert kind.code
        assert kind.seen
        assert kind.advice
        assert kind.limit or kind.unit
        if kind.limit:
            assert kind.limit.unit
            assert len(kind.limit.why.split()) > 3
