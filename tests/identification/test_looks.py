"""Looks and tints as parts of a hypothesis: what they leave alone, and that they are found."""

from __future__ import annotations

import numpy as np
from identification_cases import Case, build, camera_curves, look_parameters, wide_gamuts

from lutbench.identification import identify
from lutbench.identification.forms.looks import NUMBERS, SmoothLook, changes
from lutbench.identification.samples import samples_of
from lutbench.identification.untint import Tint, untinted_forms
from lutbench.model.grade import CDL_WEIGHTS
from lutbench.tables.lut import Lut3D

GREYS = np.repeat(np.linspace(0, 1, 33)[:, None], 3, axis=1)


def looked(look: str) -> Case:
    """A conversion that clips under a look."""
    parameters = look_parameters(look, np.random.default_rng(3))
    ends = (camera_curves()[3], wide_gamuts()[4], "ITU-R BT.1886", "ITU-R BT.709")
    return Case("combined", *ends, 33, exposure=1.0, look=look, parameters=parameters)


def test_a_look_moves_no_grey() -> None:
    # The strength of a colour is never quite 0, so that it has a slope: √1e-8 is left.
    moved = SmoothLook(tuple(np.random.default_rng(1).normal(size=NUMBERS))).apply(GREYS)
    assert np.abs(moved - GREYS).max() < 2e-4
    assert np.abs(changes(GREYS)[..., :16]).max() < 1e-12


def test_a_tint_that_was_taken_out_puts_it_back() -> None:
    samples = samples_of(Lut3D(build(looked("split tone"))))
    for form in untinted_forms(samples):
        assert isinstance(form.tint, Tint)
        fine = samples.inside(samples.neutral).all(axis=1) & (form.neutral > -1).all(axis=1)
        back = form.tint.apply(form.neutral[fine])
        # Greys are put back by the luma that they have without the tint: exactly.
        assert (
            np.abs(form.neutral[fine] @ np.array(CDL_WEIGHTS) - form.neutral[fine, 1]).max() < 1e-6
        )
        assert np.abs(back - samples.neutral[fine]).max() < 1e-6


def test_the_conversion_under_a_look_on_clipped_signals_is_named() -> None:
    case = looked("selective")
    found = identify(Lut3D(build(case)))
    assert found.best is not None
    assert case.source_curve in (found.best.source.curve, *found.best.same_as.source_curve)
    assert found.best.target.gamut == "BT.709"
