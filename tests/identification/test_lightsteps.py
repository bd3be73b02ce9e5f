"""Steps with numbers of their own: against colour-science, and each with its inverse."""

from __future__ import annotations

from typing import Any

import colour
import numpy as np
import open_world
import pytest

from lutbench.identification import identify
from lutbench.identification.forms.kinds import KINDS, StepKind
from lutbench.identification.lightsteps import Density, HueTurn, Paling, Vibrance

PIXELS = np.random.default_rng(5).uniform(0.05, 0.95, (200, 3))
STEPS = (
    Paling(0.5, 4.0, 0.8, 0.2126, 0.0722),
    Density(0.4, 1.5),
    Vibrance(0.4, 0.1, (2.4, 0.0, 0.0)),
    Vibrance(-0.25, 0.12, (2.4, 0.055, 1.0)),
    HueTurn((0.1, -0.05, 0.08, 0.06), (2.4, 0.0, 0.0)),
)


def in_oklab(rgb: Any, change: Any) -> Any:
    """Oklab of the light of a display with a power of 2.4, by colour-science."""
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    lab = colour.XYZ_to_Oklab(rgb**2.4 @ space.matrix_RGB_to_XYZ.T)
    back = colour.Oklab_to_XYZ(change(np.asarray(lab))) @ space.matrix_XYZ_to_RGB.T
    return np.maximum(back, 0) ** (1 / 2.4)


def test_vibrance_is_a_change_of_oklab() -> None:
    def livelier(lab: Any) -> Any:
        chroma = np.hypot(lab[..., 1:2], lab[..., 2:])
        return np.concatenate([lab[..., :1], lab[..., 1:] * (1 + 0.4 * np.exp(-chroma / 0.1))], -1)

    # Matrices of four decimals in one of the two: 2e-4 of light, a little more in dark signal.
    wanted = in_oklab(PIXELS, livelier)
    np.testing.assert_allclose(Vibrance(0.4, 0.1, (2.4, 0.0, 0.0)).apply(PIXELS), wanted, atol=2e-3)


def test_a_turn_is_one_of_oklab() -> None:
    def turn(lab: Any) -> Any:
        hue, chroma = np.arctan2(lab[..., 2], lab[..., 1]), np.hypot(lab[..., 1], lab[..., 2])
        hue = hue + 0.1 * np.cos(hue) + 0.06 * np.sin(2 * hue)
        return np.stack([lab[..., 0], chroma * np.cos(hue), chroma * np.sin(hue)], axis=-1)

    made = HueTurn((0.1, 0.0, 0.0, 0.06), (2.4, 0.0, 0.0)).apply(PIXELS)
    np.testing.assert_allclose(made, in_oklab(PIXELS, turn), atol=2e-3)


@pytest.mark.parametrize("step", STEPS, ids=repr)
def test_each_has_its_inverse(step: Any) -> None:
    muted = 0.5 + 0.4 * (PIXELS - 0.5)  # stays within what a display shows
    np.testing.assert_allclose(step.inverse().apply(step.apply(muted)), muted, atol=1e-9)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: type(kind.made(kind.table[0])).kind)
def test_many_at_once_are_each_by_itself(kind: StepKind) -> None:
    rng = np.random.default_rng(2)
    share = rng.uniform(0.3, 0.6, (3, 1, len(kind.numbers)))
    numbers = kind.table[1] + share * (kind.table[2] - kind.table[1])
    together = kind.moved(np.repeat(PIXELS[None], 3, axis=0), numbers)
    for given, found in zip(numbers, together, strict=True):
        step = kind.made(given[0])
        wanted = (step.inverse() if kind.after else step).apply(PIXELS)
        np.testing.assert_allclose(found, wanted, rtol=1e-12, atol=1e-12)


CASES = (
    ("highlights desaturated towards white", 3701),
    ("density look", 3701),
    ("density look", 5101),
    ("vibrance", 5100),
    ("hue twist", 5101),
)


@pytest.mark.slow
@pytest.mark.parametrize(("family", "seed"), CASES)
def test_names_are_found_beside_a_step(family: str, seed: int) -> None:
    case = open_world.case(family, seed)
    best = identify(case.lut).best
    assert best is not None
    assert best.source.curve in case.truth.names("source_curve")
    assert best.source.gamut in case.truth.names("source_gamut")
    assert best.probabilities["source curve"] > 0.5
