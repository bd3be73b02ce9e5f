"""Gamut compression with numbers of its own.

The LUTs of `open_world` are made by a formula of their own, after the Academy reference gamut
compression (version 1.3) with other thresholds, limits and power.
"""

from __future__ import annotations

import numpy as np
import open_world
import pytest

from lutbench.identification import identify
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import Conversion, Encoding
from lutbench.tables.nodes import sample

OWN = GamutCompression((0.7, 0.75, 0.65), (1.3, 1.4, 1.5), 1.6)


def test_its_numbers_are_found() -> None:
    source = Encoding.named("ACEScct", "ACEScg")
    target = Encoding.named("sRGB", "BT.709")
    lut = sample(Conversion(source, target, compression=OWN).pipeline(), 33)
    found = identify(lut)
    best = found.best
    assert best is not None
    assert best.hypothesis is not None
    assert (best.source.curve, best.source.gamut) == ("ACEScct", "ACES AP1")
    assert (best.target.curve, best.target.gamut) == ("sRGB", "BT.709")
    given = best.hypothesis.compression
    assert given is not None
    np.testing.assert_allclose(given.thresholds, OWN.thresholds, rtol=0.01)
    np.testing.assert_allclose(given.limits, OWN.limits, rtol=0.01)
    assert given.power == pytest.approx(OWN.power, rel=0.01)
    assert "a gamut compression with limits of 1.3" in found.explanation


@pytest.mark.slow
@pytest.mark.parametrize("seed", [304, 305, 306, 3300])
def test_names_are_found_before_it(seed: int) -> None:
    case = open_world.case("gamut compression with other limits", seed)
    best = identify(case.lut).best
    assert best is not None
    assert best.source.curve in case.truth.names("source_curve")
    assert best.source.gamut in case.truth.names("source_gamut")
    assert best.target.gamut in case.truth.names("target_gamut")
