"""A tone mapper from outside: registered by one call, known to recipes and to `build`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest

from lutbench.errors import LutbenchError
from lutbench.model import tone as tones
from lutbench.model.tone import ToneMapper, register, tone_mapper, tone_names
from lutbench.model.transforms import Array
from lutbench.recipes.make import build, make
from lutbench.recipes.schema import recipe_from_text


@dataclass(frozen=True)
class Halved(ToneMapper):
    """Light times a share: a mapper that no one would want."""

    share: float = 0.5
    rounds: bool = False
    method: ClassVar[str] = "halved"

    def _apply(self, rgb: Array) -> Array:
        return np.round(rgb * self.share) if self.rounds else rgb * self.share


@pytest.fixture
def halved() -> Iterator[None]:
    register(Halved)
    yield
    del tones._ADDED["halved"]


RECIPE = """
[[lut]]
name = "toy"
kind = "curve"
dimensions = 1
size = 3
source = { curve = "linear" }
target = { curve = "linear" }
tone = { method = "halved", share = 0.25 }
"""


@pytest.mark.usefixtures("halved")
def test_a_registered_mapper_is_built_by_name() -> None:
    lut = build("linear", "linear", kind="curve", dimensions=1, size=3, tone="halved")
    assert lut.table[:, 0].tolist() == [0.0, 0.25, 0.5]
    made = make(recipe_from_text(RECIPE).jobs[0])
    assert made.table[:, 0].tolist() == [0.0, 0.125, 0.25]
    assert "tone: halved, share 0.25, rounds False" in made.comments


@pytest.mark.usefixtures("halved")
def test_a_setting_of_the_wrong_kind_is_refused_with_its_place() -> None:
    with pytest.raises(LutbenchError, match=r"rounds: 0\.25 is neither true nor false"):
        recipe_from_text(RECIPE.replace("share", "rounds"))
    with pytest.raises(LutbenchError, match="'contrast' is not known"):
        recipe_from_text(RECIPE.replace("share", "contrast"))


def test_names_are_looked_up_in_any_case_and_never_taken_twice() -> None:
    assert tone_mapper("CLIP") is None
    assert tone_mapper("Shoulder") is not None
    with pytest.raises(LutbenchError, match="clip, shoulder, eetf"):
        tone_mapper("curl")

    @dataclass(frozen=True)
    class Other(ToneMapper):
        method: ClassVar[str] = "shoulder"

    with pytest.raises(LutbenchError, match="cannot be named 'shoulder'"):
        register(Other)
    assert tone_names()[:3] == ("clip", "shoulder", "eetf")
