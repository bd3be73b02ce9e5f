"""Sources times displays: each LUT of a pair is the LUT that two plain tables would have made."""

from __future__ import annotations

import numpy as np
import pytest

from lutbench.errors import DefinitionError
from lutbench.recipes.make import make
from lutbench.recipes.schema import recipe_from_text

ENDS = """
[source]
range = "full"
[sources.a]
curve = "ACEScct"
gamut = "ACES AP1"
[sources.b]
curve = "BT.709"
gamut = "BT.2020"
lut = { exposure = 0.5 }
[displays.sdr]
curve = "BT.1886"
gamut = "BT.709"
lut = { tone = { method = "shoulder" } }
[displays.cinema]
curve = "BT.1886"
gamut = "P3-D65"
"""


def luts(text: str) -> dict[str, str]:
    """The names of a recipe's jobs, with the words of their ends."""
    return {
        job.name: f"{job.task.source.curve.name} to {job.task.target.gamut.name}"  # type: ignore[union-attr]
        for job in recipe_from_text(text).jobs
    }


def test_each_pair_is_made_once() -> None:
    found = luts(ENDS + '[[lut]]\nname = "{source}_{display}"\nsize = 5\n')
    assert found == {
        "a_sdr": "ACEScct to BT.709",
        "a_cinema": "ACEScct to P3-D65",
        "b_sdr": "BT.709 to BT.709",
        "b_cinema": "BT.709 to P3-D65",
    }


def test_a_pair_is_the_lut_that_plain_tables_make() -> None:
    crossed = recipe_from_text(ENDS + '[[lut]]\nname = "{source}_{display}"\nsize = 5\n')
    plain = recipe_from_text(
        """
        [[lut]]
        name = "b_sdr"
        size = 5
        exposure = 0.5
        source = { curve = "BT.709", gamut = "BT.2020", range = "full" }
        target = { curve = "BT.1886", gamut = "BT.709" }
        tone = { method = "shoulder" }
        """
    )
    job = next(each for each in crossed.jobs if each.name == "b_sdr")
    np.testing.assert_array_equal(make(job).table, make(plain.jobs[0]).table)
    # What one display's LUTs are given does not reach the other's.
    other = next(each for each in crossed.jobs if each.name == "b_cinema")
    assert other.task.tone is None  # type: ignore[union-attr]


def test_a_lut_may_choose_and_may_stand_alone() -> None:
    found = luts(
        ENDS
        + """
        [[lut]]
        name = "{display}_only"
        sources = "a"
        title = "For {display}"
        size = 5
        [[lut]]
        name = "own"
        size = 5
        source = { curve = "sRGB", gamut = "BT.709" }
        target = { curve = "BT.1886", gamut = "BT.709" }
        """
    )
    assert list(found) == ["sdr_only", "cinema_only", "own"]
    faces = recipe_from_text(ENDS + '[[lut]]\nname = "faces_{source}"\nkind = "false_colour"\n')
    assert [job.name for job in faces.jobs] == ["faces_a", "faces_b"]


@pytest.mark.parametrize(
    ("lut", "message"),
    [
        ('name = "day"', "2 sources would give LUTs of the same name"),
        ('name = "{source}"', "2 displays would give LUTs of the same name"),
        ('name = "{source}"\ndisplays = "sdx"', "none of the displays is named 'sdx'"),
        ('name = "{source}"\ndisplays = 3', "list of names"),
    ],
)
def test_what_cannot_be_crossed_is_refused(lut: str, message: str) -> None:
    with pytest.raises(DefinitionError, match=message):
        recipe_from_text(f"{ENDS}[[lut]]\n{lut}\n")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("sources = 3", "named tables"),
        ("[sources]\na = 3", "is not a table"),
        ('[displays.x]\nlut = { tune = "eetf" }', "'tune' is not a key"),
        ('[displays.x]\ncurve = "BT.1886"\nlut = { source = {} }', "'source' is not a key"),
    ],
)
def test_tables_that_are_none_are_refused(text: str, message: str) -> None:
    with pytest.raises(DefinitionError, match=message):
        recipe_from_text(f'{text}\n[[lut]]\nname = "x"\n')
