"""Free fits of a source: what they solve, against the same solved whole and the matrix put in."""

from __future__ import annotations

import numpy as np
import pytest
from identification_cases import (
    Case,
    build,
    camera_curves,
    gamut_matrix,
    look_parameters,
    wide_gamuts,
)

from lutbench.identification import freeform
from lutbench.identification.curvebank import End
from lutbench.identification.freefit import CurveFit, CurveForm
from lutbench.identification.freeform import refitted, settle, started
from lutbench.identification.ground import CurveGround, ground_of
from lutbench.identification.knowledge import knowledge_of
from lutbench.identification.samples import Samples, samples_of
from lutbench.model.catalogue import open_catalogue
from lutbench.model.compression import GamutCompression
from lutbench.tables.lut import Lut3D

pytestmark = pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning")

CURVE, GAMUT, TARGET = camera_curves()[3], wide_gamuts()[4], "ITU-R BT.709"


@pytest.fixture(scope="module")
def case() -> Case:
    """A conversion under a CDL, which gives each channel a curve of its own."""
    return Case(
        "combined",
        CURVE,
        GAMUT,
        "ITU-R BT.1886",
        TARGET,
        33,
        look="cdl",
        parameters=look_parameters("cdl", np.random.default_rng(5)),
    )


@pytest.fixture(scope="module")
def scene(case: Case) -> tuple[CurveGround, Samples, End]:
    samples = samples_of(Lut3D(build(case)))
    ground = ground_of(samples)
    assert ground is not None
    assert ground.tinted
    sources = knowledge_of(open_catalogue()).sources
    end = next(e for e in sources if CURVE in e.curve.names and e.range == "full")
    return ground, samples, end


def fitted(scene: tuple[CurveGround, Samples, End], form: CurveForm) -> CurveFit:
    ground, samples, end = scene
    return settle(ground, samples, [end], started(ground, form, 0, np.eye(3), np.eye(3)), 12)


def test_channels_that_share_nothing_are_solved_as_if_together(
    scene: tuple[CurveGround, Samples, End], monkeypatch: pytest.MonkeyPatch
) -> None:
    form = CurveForm(tinted=True)
    assert form.systems == 3
    apart = fitted(scene, form)
    monkeypatch.setattr(CurveForm, "systems", property(lambda _: 1))
    whole = fitted(scene, form)
    # One set of equations solved in two ways: rounding decides at which step each stops,
    # which is where a step moves the matrix less than SETTLED.
    np.testing.assert_allclose(apart.matrix, whole.matrix, atol=freeform.SETTLED)
    np.testing.assert_allclose(apart.error, whole.error, atol=1e-2)


def test_a_matrix_is_found_and_held(scene: tuple[CurveGround, Samples, End], case: Case) -> None:
    ground, samples, end = scene
    true = gamut_matrix(case)
    rows = true / true.sum(axis=1, keepdims=True)
    free = fitted(scene, CurveForm(tinted=True))
    held = refitted(ground, samples, [end], free, true)
    np.testing.assert_array_equal(held.matrix, rows)
    # Curves of 22 pieces follow smooth ones to hundredths of a code, and M with them.
    assert held.error < 0.1
    np.testing.assert_allclose(free.matrix, rows, atol=2e-3)


@pytest.mark.parametrize(
    ("form", "rows", "systems"),
    [
        (CurveForm(), 2, 1),
        (CurveForm(tinted=True), 2, 3),
        (CurveForm(tinted=True, compression=GamutCompression()), 6, 1),
        (CurveForm(tinted=True, held=True, compression=GamutCompression()), 0, 3),
    ],
)
def test_a_matrix_that_is_held_is_no_parameter(form: CurveForm, rows: int, systems: int) -> None:
    assert (form.rows, form.systems) == (rows, systems)
