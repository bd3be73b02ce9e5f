"""Curves with a tone curve on them: what such a LUT tells, and what it does not.

The shape of a tone curve is that of Hurter and Driffield (1890): a toe, a straight part, a
shoulder. How far a curve is from it is held against scipy's linear programming. The LUTs
are those of identification_cases.py, made by colour-science.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from identification_cases import (
    Case,
    build,
    camera_curves,
    decode,
    encode,
    look_parameters,
    shoulder,
    wide_gamuts,
)
from identification_score import curve_name, judged
from scipy.optimize import linprog

from lutbench.identification import identify
from lutbench.identification.curvebank import End, classes_of, ends_of
from lutbench.identification.target import Through
from lutbench.identification.tonecurves import STEEPEST, tone_errors
from lutbench.model.catalogue import open_catalogue
from lutbench.tables.lut import Lut3D

pytestmark = pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning")

ENDS = ends_of(classes_of(open_catalogue(user=False)))
CURVES = camera_curves()[::5]
PLACES = np.linspace(0, 1, 33)


def end_of(name: str, range_name: str = "full") -> End:
    """A registered curve as an end of a conversion."""
    wanted = curve_name(name)
    return next(end for end in ENDS if wanted in end.curve.names and end.range == range_name)


def lit(name: str) -> Any:
    """The places where a registered curve holds light."""
    return PLACES[decode(name, PLACES) > 1e-3]


def untold_case(number: int) -> Case:
    """A registered curve under a shoulder with nodes too few to show its straight part."""
    gamut = wide_gamuts()[2]
    return Case(
        "curve",
        camera_curves()[number],
        gamut,
        "ITU-R BT.1886",
        gamut,
        size=17,
        tone="shoulder",
        exposure=1.0,
    )


@pytest.mark.parametrize("name", CURVES)
def test_a_shoulder_is_a_tone_curve_whatever_its_gain(name: str) -> None:
    places = lit(name)
    light = decode(name, places)
    source, target = end_of(name), end_of("ITU-R BT.1886")
    for stops in (-1.0, 0.0, 1.5):
        toned = shoulder(light * 2.0**stops, white=float(light.max()) * 2.0**stops + 1.0)
        error = tone_errors(places, encode("ITU-R BT.1886", toned), [source], [target])
        # Dense tables of curves are good to 3e-5 of the light: far under a code.
        assert error[0, 0] < 0.03


@pytest.mark.parametrize("name", CURVES)
def test_the_other_range_is_told_by_no_tone_curve(name: str) -> None:
    places = lit(name)
    signal = encode("ITU-R BT.1886", shoulder(decode(name, places)))
    errors = tone_errors(places, signal, [end_of(name, "legal")], [end_of("ITU-R BT.1886")])
    assert errors[0, 0] < 0.35


def test_a_dip_of_the_contrast_is_no_tone_curve() -> None:
    name = CURVES[0]
    places = lit(name)
    signal = encode("ITU-R BT.1886", shoulder(decode(name, places)))
    dipped = signal + 0.02 * np.sin(6 * np.pi * places)
    ends = [end_of(name)], [end_of("ITU-R BT.1886")]
    assert tone_errors(places, signal, *ends)[0, 0] < 0.03
    assert tone_errors(places, dipped, *ends)[0, 0] > 2


def test_what_is_steeper_than_a_print_is_no_tone_curve() -> None:
    places = np.linspace(0.05, 1, 33)
    ends = [end_of("linear")]
    for contrast, fine in ((1.0, True), (STEEPEST - 0.1, True), (STEEPEST + 0.1, False)):
        error = tone_errors(places, places ** (contrast / 2.4), ends, [end_of("ITU-R BT.1886")])
        assert np.isfinite(error[0, 0]) == fine


def test_the_error_is_that_of_linear_programming() -> None:
    # The least largest change, in codes, that makes the slope rise and then fall, for every
    # place of the turn: a linear programme (scipy's HiGHS).
    rng = np.random.default_rng(7)
    name = CURVES[1]
    places = lit(name)[:14]
    clean = encode("ITU-R BT.1886", shoulder(decode(name, places)))
    for _ in range(4):
        signal = np.sort(clean + rng.normal(0, 2 / 1023, len(clean)))
        told = tone_errors(places, signal, [end_of(name)], [end_of("ITU-R BT.1886")])[0, 0]
        through = Through.of(signal[:, None], [end_of("ITU-R BT.1886")])
        y, weight = through.log_light[0, :, 0], through.weight[0, :, 0]
        best = min(
            _least(np.log(decode(name, places)), y, weight, turn) for turn in range(len(places))
        )
        assert told == pytest.approx(best, rel=0.02, abs=0.02)


def _least(x: Any, y: Any, weight: Any, turn: int) -> float:
    """The least largest change in codes with the turn at a place."""
    count = len(x)
    rows, bounds = [], []
    for j in range(1, count - 1):
        row = np.zeros(count + 1)
        row[j + 1] += 1 / (x[j + 1] - x[j])
        row[j] -= 1 / (x[j + 1] - x[j]) + 1 / (x[j] - x[j - 1])
        row[j - 1] += 1 / (x[j] - x[j - 1])
        if j != turn:
            rows.append(-row if j < turn else row)
            bounds.append(0.0)
    for j in range(count):
        for sign in (1, -1):
            row = np.zeros(count + 1)
            row[j], row[-1] = sign, -1 / weight[j]
            rows.append(row)
            bounds.append(sign * y[j])
    cost = np.zeros(count + 1)
    cost[-1] = 1
    limits = [(None, None)] * count + [(0, None)]
    return float(linprog(cost, np.array(rows), bounds, bounds=limits).fun)


@pytest.mark.parametrize("number", [0, 6, 12])
def test_a_curve_that_is_not_told_is_said_to_be_so(number: int) -> None:
    case = untold_case(number)
    result = identify(Lut3D(build(case)))
    told = judged(result, case)
    assert told["kind"]
    assert told["top 1"]
    assert told["range"]
    assert result.confidence in ("low", "medium")
    best = result.candidates[0]
    if "source curve" in best.not_told:
        assert result.confidence == "low"
        assert "does not show" in result.explanation
        assert any("with --source-curve if you know it" in note for note in result.notes)
        assert best.to_data()["not_told"] == list(best.not_told)


def test_what_the_user_knows_is_not_untold() -> None:
    case = untold_case(6)
    lut = Lut3D(build(case))
    free, pinned = identify(lut), identify(lut, source_curve=curve_name(case.source_curve))
    assert "source curve" in free.candidates[0].not_told
    best = pinned.candidates[0]
    assert "source curve" not in best.not_told
    assert curve_name(case.source_curve) in (best.source.curve, *best.same_as.source_curve)
    assert pinned.confidence == "medium"


def test_a_curve_with_nodes_enough_is_told() -> None:
    gamut = wide_gamuts()[2]
    name = camera_curves()[6]
    case = Case("curve", name, gamut, "BT.2100 PQ", gamut, size=65, tone="shoulder")
    best = identify(Lut3D(build(case))).candidates[0]
    assert best.not_told == ()
    assert best.source.curve == curve_name(name)


@pytest.mark.parametrize("look", ["", "split tone", "cdl"])
def test_a_curve_is_told_to_be_one_under_a_look(look: str) -> None:
    parameters = look_parameters(look, np.random.default_rng(5)) if look else {}
    case = replace(untold_case(6), look=look, parameters=parameters, tone="sigmoid")
    result = identify(Lut3D(build(case)))
    told = judged(result, case)
    assert told["kind"]
    assert told["top 1"]
    assert result.look.present == bool(look)
