"""Bands of a false colour in cd/m².

PQ says cd/m² itself (SMPTE ST 2084 by colour-science), HLG through its display's OOTF: 75 % is
203 cd/m² on 1000 (Report ITU-R BT.2408).
"""

from __future__ import annotations

import colour
import numpy as np
import pytest

from lutbench.errors import DefinitionError
from lutbench.model.false_colour import FalseColour
from lutbench.recipes.schema import recipe_from_text

RECIPE = """
[[lut]]
name = "bright"
kind = "false_colour"
bands_in = "cd/m2"
bands = [{ low = 100, high = 203, colour = "yellow" }, { low = 203, colour = "orange" }]
source = { curve = "CURVE", gamut = "BT.2020" }
"""


def task_of(source: str) -> FalseColour:
    task = recipe_from_text(RECIPE.replace('CURVE"', source)).jobs[0].task
    assert isinstance(task, FalseColour)
    return task


@pytest.mark.parametrize("source", ['ST 2084"', 'BT.2100 PQ"', 'BT.2100 HLG", display_peak = 1000'])
def test_bands_in_luminance_are_those_of_the_display(source: str) -> None:
    task = task_of(source)
    assert [each.label for each in task.bands] == ["100 to 203 cd/m²", "over 203 cd/m²"]
    signal = np.array([0.74, 0.76])
    if "HLG" not in source:
        signal = colour.models.eotf_inverse_ST2084(np.array([202.0, 204.0]))
    painted = task.apply(np.repeat(signal[:, None], 3, axis=1))
    assert painted[0] == pytest.approx(task.bands[0].signal)
    assert painted[1] == pytest.approx(task.bands[1].signal)


def test_a_source_without_a_luminance_is_refused() -> None:
    with pytest.raises(DefinitionError, match="does not state its luminance"):
        task_of('ACEScct"')
