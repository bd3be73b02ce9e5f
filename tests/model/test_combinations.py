"""Every tone mapper with every way of gamut and every target: greys, folds, mid grey.

Mid grey: docs/maths/tone.md and sigmoid.md say that scene light 0.18 comes to light 0.18 of
the target, so to 48.9 % of BT.1886 (0.18^(1/2.4), Recommendation ITU-R BT.1886), 38 % of PQ
and of HLG (Report ITU-R BT.2408, table 1).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion
from lutbench.model.tone import tone_names
from lutbench.recipes.make import quick_job
from lutbench.recipes.settings import Settings
from lutbench.tables.cells import jacobians
from lutbench.tables.lut import lattice

KNOWN = open_catalogue(user=False)
TARGETS = {
    ("BT.1886", "BT.709"): 0.489,
    ("gamma 2.6", "P3-D65"): 0.517,
    ("BT.2100 PQ", "BT.2020"): 0.38,
    ("BT.2100 HLG", "BT.2020"): 0.38,
}
SOURCES = (("ACEScct", "BT.2020"), ("BT.2100 HLG", "BT.2020"))
WAYS = ("clip", "compress", "map")


def task_of(tone: str, way: str, source: tuple[str, str], target: tuple[str, str]) -> Conversion:
    settings = Settings(
        source_curve=source[0],
        source_gamut=source[1],
        target_curve=target[0],
        target_gamut=target[1],
        tone=tone,
        gamut=way,
    )
    task = quick_job(settings, KNOWN).task
    assert isinstance(task, Conversion)
    return task


# Where a mapper itself cuts light off (the EETF under 0 and over its peak, the sigmoid's outset
# beyond BT.2020), cells across the cut may turn; docs/maths/gamut-map.md counts them.
CUTS = {("eetf", "clip"), ("eetf", "compress"), ("sigmoid", "map")}


@pytest.mark.parametrize("source", SOURCES, ids=lambda each: each[0])
@pytest.mark.parametrize("target", TARGETS, ids=lambda each: each[0])
@pytest.mark.parametrize(("tone", "way"), list(product(tone_names(), WAYS)))
def test_greys_stay_and_mid_grey_lands(
    tone: str, way: str, source: tuple[str, str], target: tuple[str, str]
) -> None:
    pipe = task_of(tone, way, source, target).pipeline()
    ramp = np.repeat(np.linspace(0, 1, 257)[:, None], 3, axis=1)
    shown = pipe.apply(ramp)
    # Matrices of published primaries carry white to white to the last digits.
    assert np.ptp(shown, axis=1).max() < 1e-12
    assert (np.diff(shown[:, 1]) >= -1e-12).all()
    grey = KNOWN.curve(source[0]).encode(0.18)
    assert pipe.apply([grey] * 3) == pytest.approx([TARGETS[target]] * 3, abs=0.003)


@pytest.mark.parametrize("target", TARGETS, ids=lambda each: each[0])
@pytest.mark.parametrize(("tone", "way"), sorted(set(product(tone_names(), WAYS)) - CUTS))
def test_nothing_folds_where_nothing_is_cut_off(
    tone: str, way: str, target: tuple[str, str]
) -> None:
    task = task_of(tone, way, ("BT.2100 HLG", "BT.2020"), target)
    nodes = lattice(25)
    table = replace(task, clamp=False).pipeline().apply(nodes)
    turned = np.linalg.det(jacobians(table)).reshape(24, 24, 24, 6) * 24**3
    whole = ((table >= -1e-9) & (table <= 1 + 1e-9)).all(axis=-1)
    for axis in range(3):
        whole = np.logical_and(*(np.delete(whole, k, axis) for k in (0, -1)))
    # 1 is a cell as large after as before. The EETF is flat at its peak: of cells there nothing
    # is left, give or take a hundred-thousandth.
    assert turned[whole].min() > -3e-5
