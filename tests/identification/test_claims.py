"""What a LUT's file says of itself is held against its table.

The tables are colour-science's conversions (`identification_cases`); the comments are those
that the project's own recipes write, and the titles such as people give.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from identification_cases import Case, build

from lutbench.identification import Identification, identify
from lutbench.identification.claims import in_words
from lutbench.model.catalogue import open_catalogue
from lutbench.recipes.make import comments_for, make
from lutbench.recipes.schema import recipe_from_text
from lutbench.tables.lut import Lut3D

TRUE = "ACEScct, ACEScg to BT.1886, BT.709"
TABLE = Case("combined", "ACEScct", "ACEScg", "ITU-R BT.1886", "ITU-R BT.709", size=17)

RECIPE = """
[source]
curve = "ACEScct"
gamut = "ACES AP1"
[target]
curve = "BT.1886"
gamut = "BT.709"
[tone]
method = "{tone}"
[[lut]]
name = "one"
size = 17
"""


@cache
def table() -> Lut3D:
    return Lut3D(build(TABLE))


def said(title: str = "", comments: tuple[str, ...] = ()) -> Identification:
    lut = Lut3D(table().table, title=title, comments=comments)
    return identify(lut, catalogue=open_catalogue(user=False))


def verdicts(found: Identification) -> dict[str, str]:
    return {each.part: each.verdict for each in found.claims}


@pytest.mark.parametrize("tone", ["clip", "shoulder"])
def test_what_a_recipe_writes_is_so(tone: str) -> None:
    job = recipe_from_text(RECIPE.format(tone=tone)).jobs[0]
    lut = replace(make(job), comments=comments_for(job, "none"))
    found = identify(lut, catalogue=open_catalogue(user=False))
    assert set(verdicts(found).values()) == {"so"}
    assert {"source curve", "target gamut", "source range", "exposure"} <= set(verdicts(found))
    assert "and the table agrees" in in_words(found.claims)


def test_a_comment_that_is_not_so_is_told_with_what_the_table_shows() -> None:
    job = recipe_from_text(RECIPE.format(tone="clip")).jobs[0]
    comments = tuple(line.replace("ACEScct", "Cineon") for line in comments_for(job, "none"))
    found = said(comments=comments)
    assert verdicts(found) == {
        **dict.fromkeys(verdicts(found), "so"),
        "source curve": "not so",
    }
    wanted = "source curve Cineon, but the table does not agree: it shows ACEScct"
    assert wanted in in_words(found.claims)


def test_titles_name_two_ends() -> None:
    """A name of a curve and of a gamut is so where either is."""
    assert verdicts(said(f"Day view {TRUE}")) == {
        "source": "so",
        "source gamut": "so",
        "target curve": "so",
        "target": "so",
    }
    wrong = said("ACEScct to gamma 2.6")
    assert verdicts(wrong) == {"source": "so", "target curve": "not so"}
    assert [each.shows for each in wrong.claims][1] == "BT.1886"


@pytest.mark.parametrize("title", ["", "a view", "to", "BT.709", "nothing to say", "to " * 200])
def test_a_title_without_two_names_claims_little(title: str) -> None:
    assert not said(title).claims


def test_what_the_table_does_not_show_stays_open() -> None:
    """A table of noise names nothing, so that no claim can be held against it."""
    rng = np.random.default_rng(1)
    lut = Lut3D(rng.random((5, 5, 5, 3)), title=TRUE)
    found = identify(lut, catalogue=open_catalogue(user=False))
    assert set(verdicts(found).values()) == {"open"}
    assert "the table cannot confirm this" in in_words(found.claims)


def test_text_of_a_file_is_never_repeated() -> None:
    bad = "\x1b[2J"
    found = said(f"ACEScct {bad} to {bad} BT.1886", (f"source: curve {bad}, full range",))
    assert bad not in in_words(found.claims)
    assert bad not in str(found.to_data()["claims"])
