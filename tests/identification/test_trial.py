"""Pairs of gamuts tried one by one, on LUTs made by colour-science (identification_cases.py)."""

from __future__ import annotations

import numpy as np
import pytest
from identification_cases import Case, build, camera_curves, negative, wide_gamuts
from identification_score import curve_name, gamut_name, judged

from lutbench.identification import identify
from lutbench.identification.knowledge import knowledge_of
from lutbench.identification.neutral import match_neutral
from lutbench.identification.samples import samples_of
from lutbench.identification.trial import search_by_trial
from lutbench.model.catalogue import open_catalogue
from lutbench.tables.lut import Lut3D

pytestmark = pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning")

KNOWN = knowledge_of(open_catalogue(user=False))
WITHIN = 0.9


def hidden(number: int) -> Case:
    """A bright, clipped LUT of few nodes, with a strong look on a third of the hues."""
    return Case(
        "combined",
        camera_curves()[number],
        wide_gamuts()[number % len(wide_gamuts())],
        "ITU-R BT.1886",
        "ITU-R BT.709",
        size=17,
        exposure=0.7,
        look="selective",
        parameters={"amount": -0.35, "hue": -1.4 + number},
    )


def tried(table: np.ndarray) -> list[tuple[str, str, str, str]]:
    """The names of what is found by trial, best first."""
    samples = samples_of(Lut3D(table))
    match = match_neutral(samples, KNOWN.sources, KNOWN.targets)
    found = search_by_trial(samples, KNOWN.sources, KNOWN.targets, KNOWN.bank, match, WITHIN)
    names = []
    for each in found:
        pair = KNOWN.bank.pair(each.pair)
        source, target = KNOWN.sources[each.source], KNOWN.targets[each.target]
        names.append((source.curve.name, target.curve.name, pair.source.name, pair.target.name))
    return names


@pytest.mark.parametrize("number", range(0, 24, 4))
def test_the_nodes_that_a_look_leaves_alone_tell_the_gamuts(number: int) -> None:
    case = hidden(number)
    found = tried(build(case))
    assert found
    assert found[0][2:] == (gamut_name(case.source_gamut), gamut_name(case.target_gamut))
    assert curve_name(case.target_curve) == found[0][1]


@pytest.mark.parametrize("number", [4, 12])
@pytest.mark.slow
def test_identify_names_them(number: int) -> None:
    case = hidden(number)
    told = judged(identify(Lut3D(build(case))), case)
    assert told["kind"]
    assert told["top 1"]
    assert told["look"]


@pytest.mark.parametrize("name", ["random smooth", "hue rotation", "channel swap"])
def test_what_is_no_conversion_agrees_with_no_pair(name: str) -> None:
    assert tried(negative(name, 17, seed=2)) == []
