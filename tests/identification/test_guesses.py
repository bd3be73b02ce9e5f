"""What is a guess is called one, with its rate and what would settle it."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

import further_families
import open_world
import pytest
from open_world.case import PARTS

from lutbench.cli.identify_print import print_one
from lutbench.identification import Identification, identify
from lutbench.identification.result import GUESS, LIKELY, WHATS
from lutbench.identification.words import supposed
from lutbench.inspection.ends import with_identified_ends
from lutbench.inspection.inspection import inspect
from lutbench.model.catalogue import open_catalogue
from lutbench.report.identification import inside


@cache
def looked() -> tuple[Any, Identification]:
    """A LUT whose look leaves its source a guess."""
    lut = open_world.case("hue twist", 41001).lut
    return lut, identify(lut, catalogue=open_catalogue(user=False))


def test_a_word_follows_from_each_probability() -> None:
    best = looked()[1].best
    assert best is not None
    assert set(best.certainty) == {
        f"{end} {what}" for end in ("source", "target") for what in WHATS
    }
    for part, rate in best.probabilities.items():
        word = "likely" if rate >= LIKELY else "a guess" if rate > GUESS else "not told"
        assert best.certainty[part] == word
    assert "source curve" in best.guesses
    data = best.to_data()
    assert set(data["certainty"]) <= set(PARTS)
    assert data["certainty"]["source_curve"] == "a guess"


def test_a_guess_is_no_fact_in_any_sentence() -> None:
    found = looked()[1]
    best = found.best
    assert best is not None
    assert "The source curve is uncertain" in found.explanation
    rate = 100 * best.probabilities["source curve"]
    assert f"source curve {best.source.curve} ({rate:.0f} %)" in found.explanation
    assert "Expects" not in found.explanation
    assert any(re.search("settled by the camera's menu.*--source-curve", n) for n in found.notes)


@pytest.mark.slow
def test_a_measured_curve_does_not_contradict_a_guess() -> None:
    lut = open_world.case("BT.2390 EETF", 3301).lut
    found = identify(lut, catalogue=open_catalogue(user=False))
    assert found.best is not None
    assert found.measured is not None
    assert "source curve" in found.best.guesses
    assert found.explanation.startswith(f"Unless it expects {found.best.source.curve} (a guess")


def test_the_box_says_what_is_a_guess_and_what_settles_it() -> None:
    lut, found = looked()
    catalogue = open_catalogue(user=False)
    seen = with_identified_ends(inspect(lut, catalogue=catalogue), found, catalogue)
    assert found.best is not None
    assert seen.source_curve is None
    assert "a guess, right" in supposed(found.best)
    assert supposed(found.best) in seen.box.unsure
    assert "the camera's menu settles it" in seen.box.unsure


@pytest.mark.parametrize("family", ["plain conversion", "gamut only"])
def test_what_is_explained_to_its_rounding_holds_no_guess(family: str) -> None:
    found = identify(open_world.case(family, 1).lut, catalogue=open_catalogue(user=False))
    assert found.best is not None
    assert found.best.guesses == ()
    assert set(found.best.certainty.values()) <= {"sure", "likely"}


@pytest.mark.slow
def test_no_look_is_described_beside_a_wrong_conversion(capsys: pytest.CaptureFixture[str]) -> None:
    lut = further_families.case("tone on lightness", 3702).lut
    found = identify(lut, catalogue=open_catalogue(user=False))
    assert found.best is not None
    assert (found.confidence, found.measured) == ("none", None)
    print_one(found)
    printed = capsys.readouterr().out
    assert "Tone and look are not described" in printed
    assert "Look (" not in printed
    page = inside(found)
    assert (page.tone, page.hues, page.tones) == ([], [], [])
    assert [each.caption.split()[0] for each in page.figures] == ["How"]  # far off each is
