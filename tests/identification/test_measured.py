"""What `identify` measures where nobody registered a name, and that it is sure of none there."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import open_world
import pytest
from measured_cases import FORMS, case_of, light_error, primaries_error

import lutbench
from lutbench.identification.forms.fitted import Fitted
from lutbench.identification.knowledge import knowledge_of
from lutbench.identification.measuring import is_unnamed
from lutbench.identification.samples import samples_of
from lutbench.model.catalogue import Catalogue, open_catalogue

LIGHT, POINTS = 0.005, 0.002
"""What is aimed at: half a percent of light, two thousandths of a coordinate."""


@pytest.mark.parametrize("form", [FORMS[2], FORMS[5]])
@pytest.mark.slow
def test_an_invented_curve_and_its_primaries_are_measured(form: str) -> None:
    # Drawn by hand from the seeds: their targets are those that most LUTs have.
    case = case_of(form, 0)
    found = lutbench.identify(case.lut, catalogue=open_catalogue(user=False))
    assert found.confidence != "high"
    light, points = light_error(case, found.measured), primaries_error(case, found.measured)
    assert light is not None
    assert light < LIGHT
    assert points is not None
    assert points < POINTS
    assert found.measured is not None
    assert re.search(
        "an unnamed curve|a curve close to .* if not that curve itself", found.explanation
    )


def test_only_a_conversion_of_an_invented_curve_and_gamut_has_no_name() -> None:
    known = knowledge_of(open_catalogue(user=False))
    cases = {"own curve and primaries, to a display": 5, "own curve, to a display": 1}
    luts = [case_of(form, seed).lut for form, seed in cases.items()]
    ends = {"source_curve": "ACEScct", "source_gamut": "ACEScg"}
    luts.append(lutbench.build(target_curve="BT.1886", target_gamut="BT.709", **ends))
    fits = [Fitted(samples_of(each), known) for each in luts]
    assert [is_unnamed(each) for each in fits] == [True, False, False]


@pytest.mark.slow
def test_greys_show_the_display_behind_a_curve_that_is_measured() -> None:
    case = open_world.case("unregistered camera (parametric log)", 12002)
    found = lutbench.identify(case.lut, catalogue=open_catalogue(user=False))
    assert found.measured is not None
    assert found.measured.curve is not None
    best = found.candidates[0]
    assert best.target.curve == case.truth.target_curve
    assert best.certainty["target curve"] == "likely"
    assert f"it gives {case.truth.target_curve}" in found.explanation


WRONG_TARGET = ("own primaries, to a display",)
"""The form of which the search takes the target for another one, so that primaries are far off."""


def marked(form: str) -> Any:
    off = pytest.mark.xfail(strict=True, reason="primaries are seen against a wrong target")
    return pytest.param(form, marks=off) if form in WRONG_TARGET else form


@pytest.mark.slow
@pytest.mark.parametrize("form", [marked(form) for form in FORMS])
def test_curves_and_primaries_are_measured_in_the_middle(form: str) -> None:
    cases = [case_of(form, seed) for seed in range(20, 23)]
    known = open_catalogue(user=False)
    found = [lutbench.identify(case.lut, catalogue=known) for case in cases]
    assert all(each.confidence != "high" for each in found)
    for error, limit in ((light_error, LIGHT), (primaries_error, POINTS)):
        told = [error(case, each.measured) for case, each in zip(cases, found, strict=True)]
        asked = [each for each in told if each is not None]
        assert not asked or float(np.median(asked)) < limit


@pytest.mark.slow
def test_nobody_is_sure_of_the_name_of_an_encoding_that_is_left_out() -> None:
    """Every sixth encoding of the registries, in each way that a LUT is made from it."""
    from open_world.ends import Ends
    from open_world.spaces import belongs_with, gamut_names, log_names
    from open_world.unregistered_curve import WAYS, left_out

    for number, name in enumerate(log_names()[::6]):
        gamut = belongs_with(name, gamut_names(0.13))
        ends = Ends(name, gamut, "BT.1886", "BT.709")
        for way in WAYS:
            rng = np.random.default_rng(number)
            case = left_out(rng, ends, way, size=33, decimals=6)
            found = lutbench.identify(case.lut, catalogue=Catalogue(without=case.without))
            assert found.confidence != "high"
