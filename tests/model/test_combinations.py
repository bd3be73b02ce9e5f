"""Every tone mapper with every way of gamut and every target: greys, folds, mid grey.

Mid grey: docs/maths/tone.md and sigmoid.md say that scene light 0.18 comes to light 0.18 of
the target, so to 48.9 % of BT.1886 (0.18^(1/2.4), Recommendation ITU-R BT.1886), 38 % of PQ
and of HLG (Report ITU-R BT.2408, table 1).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import Any

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
SCENE_TONES = ("clip", "shoulder", "sigmoid")
# Mappers of display light: the target's peak in cd/m², and where 26 cd/m² (38 % of PQ, HDR mid
# grey after BT.2408) come out in percent of BT.1886 signal. EETF: below its knee cd/m² stay,
# (26/203)^(1/2.4); methods A and C by the formulas of docs/maths/bt2446.md.
DISPLAY_TONES = {"eetf": (203.0, 0.425), "bt2446-a": (100.0, 0.335), "bt2446-c": (100.0, 0.530)}
WAYS = ("clip", "compress", "map")


def task_of(
    tone: str, way: str, source: tuple[str, str], target: tuple[str, str], **more: Any
) -> Conversion:
    settings = Settings(
        source_curve=source[0],
        source_gamut=source[1],
        target_curve=target[0],
        target_gamut=target[1],
        tone=tone,
        gamut=way,
        **more,
    )
    task = quick_job(settings, KNOWN).task
    assert isinstance(task, Conversion)
    return task


def greys_of(task: Conversion) -> np.ndarray:  # type: ignore[type-arg]
    """The grey scale through a conversion; it stays grey and rises."""
    ramp = np.repeat(np.linspace(0, 1, 257)[:, None], 3, axis=1)
    shown = task.pipeline().apply(ramp)
    # Matrices of published primaries carry white to white to the last digits; a steep toe
    # makes a thousand times that of it.
    assert np.ptp(shown, axis=1).max() < 1e-10
    assert (np.diff(shown[:, 1]) >= -1e-10).all()
    return shown


def turned_where_whole(task: Conversion) -> float:
    """The least Jacobian of a 25-node lattice, 1 for a cell as large after as before, where
    nothing is cut off."""
    nodes = lattice(25)
    table = replace(task, clamp=False).pipeline().apply(nodes)
    turned = np.linalg.det(jacobians(table)).reshape(24, 24, 24, 6) * 24**3
    whole = ((table >= -1e-9) & (table <= 1 + 1e-9)).all(axis=-1)
    whole &= (task.source.curve.decode(nodes) >= 0).all(axis=-1)
    for axis in range(3):
        whole = np.logical_and(*(np.delete(whole, k, axis) for k in (0, -1)))
    return float(turned[whole].min())


@pytest.mark.parametrize("target", TARGETS, ids=lambda each: each[0])
@pytest.mark.parametrize(("tone", "way"), list(product(SCENE_TONES, WAYS)))
def test_scene_light(tone: str, way: str, target: tuple[str, str]) -> None:
    task = task_of(tone, way, ("ACEScct", "BT.2020"), target)
    greys_of(task)
    grey = KNOWN.curve("ACEScct").encode(0.18)
    assert task.pipeline().apply([grey] * 3) == pytest.approx([TARGETS[target]] * 3, abs=0.003)
    linear = task_of(tone, way, ("BT.709", "BT.2020"), target)
    # The sigmoid's outset leaves BT.2020, and a mapping cuts that off.
    if (tone, way) != ("sigmoid", "map"):
        assert turned_where_whole(linear) > -1e-6


@pytest.mark.parametrize("gamut", ["BT.709", "P3-D65", "BT.2020"])
@pytest.mark.parametrize(("tone", "way"), list(product(DISPLAY_TONES, WAYS)))
def test_display_light(tone: str, way: str, gamut: str) -> None:
    peak, wanted = DISPLAY_TONES[tone]
    task = task_of(
        tone,
        way,
        ("ST 2084", "BT.2020"),
        ("BT.1886", gamut),
        source_peak=1000.0,
        target_peak=peak,
    )
    shown = greys_of(task)
    assert shown[-1] == pytest.approx(1, abs=1e-9)
    grey = KNOWN.curve("ST 2084").encode(26 / 203)
    assert task.pipeline().apply([grey] * 3) == pytest.approx([wanted] * 3, abs=0.003)


def test_every_tone_is_in_the_check() -> None:
    """`bt2446-a-up` goes the other way, and is checked in test_bt2446.py."""
    assert {*SCENE_TONES, *DISPLAY_TONES, "bt2446-a-up"} == set(tone_names())
