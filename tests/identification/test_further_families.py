"""LUTs made elsewhere and kept apart hold what their truths say."""

from __future__ import annotations

import blind_families
import further_families
import numpy as np
import pytest
from open_world.case import Case, run


def check(case: Case) -> None:
    size = case.lut.size
    nodes = np.random.default_rng(0).integers(0, size, (50, 3)) / (size - 1)
    # Four decimals at least: half of the last.
    assert np.abs(case.lut.apply(nodes) - run(case.steps, nodes)).max() < 0.51e-4
    assert case.truth.names("source_curve")
    assert np.ptp(case.lut.table) > 0.5


@pytest.mark.parametrize("family", further_families.FAMILIES)
def test_a_further_family_gives_a_table_that_its_steps_explain(family: str) -> None:
    check(further_families.case(family, 3))


# Two tables, one behind the other, have no steps that give the file.
@pytest.mark.parametrize("family", sorted(set(blind_families.FAMILIES) - {"two tables in one"}))
def test_a_blind_family_gives_a_table_that_its_steps_explain(family: str) -> None:
    check(blind_families.case(family, 3))
