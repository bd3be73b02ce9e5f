"""Levels against published tables, and against colour-science for every registered curve."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lutbench.errors import LutbenchError
from lutbench.exposure.filters import NEUTRAL_DENSITIES, choose_filter
from lutbench.exposure.levels import levels
from lutbench.exposure.reading import GREY, SKIN, WHITE, WHITE_CARD, Reading, stops_of
from lutbench.model.catalogue import open_catalogue
from lutbench.tables.lut import Lut1D, Lut3D

CATALOGUE = open_catalogue(user=False)


@pytest.mark.parametrize(
    ("curve", "grey", "card", "white"),
    # Report ITU-R BT.2408, table 1: 18 %, 90 % and 100 % reflectance.
    [("BT.2100 PQ", 38, 57, 58), ("BT.2100 HLG", 38, 73, 75)],
)
def test_hdr_line_up(curve: str, grey: int, card: int, white: int) -> None:
    day = levels(CATALOGUE.curve(curve))
    found = [round(day.at(light).recorded.percent) for light in (GREY, WHITE_CARD, WHITE)]
    assert found == [grey, card, white]


def test_acescct() -> None:
    # Academy S-2016-001: 0.18 → 0.413588402; black 0.0729055341958355.
    day = levels(CATALOGUE.curve("ACEScct"))
    assert day.at(GREY).recorded.signal == pytest.approx(0.413588402, abs=1e-9)
    assert day.at(0.0).recorded.signal == pytest.approx(0.0729055341958355, abs=1e-12)


def test_printing_density() -> None:
    # Common practice of film scanning: black 95, white 685; 18 % at 467.8, so code 468.
    day = levels(CATALOGUE.curve("Cineon"))
    codes = [day.at(light).recorded.code(10, "full") for light in (0.0, GREY, WHITE)]
    assert codes == [95, 468, 685]


def test_legal_codes() -> None:
    # Recommendation ITU-R BT.709-6, item 5.6: black 16, white 235 in 8 bit; 64 and 940 in 10.
    assert [Reading(x).code(8, "legal") for x in (0.0, 1.0)] == [16, 235]
    assert [Reading(x).code(10, "legal") for x in (0.0, 1.0)] == [64, 940]
    assert [Reading(x).code(12, "legal") for x in (0.0, 1.0)] == [256, 3760]
    # A full-range code on a legal scale: 1023 reads (1023 - 64) / 876 = 109.5 %, 0 reads -7.3 %.
    assert Reading(1.0).percent_full_as_legal == pytest.approx(109.4749, abs=1e-3)
    assert Reading(0.0).percent_full_as_legal == pytest.approx(-7.3059, abs=1e-3)


def test_every_registered_log_curve_lands_where_colour_puts_it() -> None:
    import colour

    seen = 0
    for entry in CATALOGUE.curves():
        if entry.origin != "registry" or entry.unusable or entry.name not in colour.LOG_ENCODINGS:
            continue
        day = levels(CATALOGUE.curve(entry.name))
        for light in (GREY, SKIN, WHITE_CARD):
            with np.errstate(all="ignore"):  # it computes both sides of a break
                # The signal, IRE / 100: some functions give legal code values unless told.
                ire = {"out_normalised_code_value": False} if entry.curve.codes == "legal" else {}
                expected = float(colour.LOG_ENCODINGS[entry.name](light, **ire))
            assert day.at(light).recorded.signal == pytest.approx(expected, abs=1e-12), entry.name
        seen += 1
    assert seen >= 10


def test_a_zebra_from_50_percent_misses_grey_on_most_log_curves() -> None:
    # Common practice: on most camera log curves a grey card sits under 50 %.
    logs = [
        entry.curve
        for entry in CATALOGUE.curves()
        if entry.origin == "registry" and entry.curve and not entry.unusable
        and entry.curve.family == "log"
    ]  # fmt: skip
    under = [curve for curve in logs if curve.mid_grey < 0.5]
    assert len(under) > len(logs) / 2
    for curve in under:
        zebra = levels(curve, zebra_min=50).zebra
        assert not zebra.marks_mid_grey
        advice = next(each for each in zebra.advice if each.reflectance == GREY)
        assert "under the lowest zebra setting of 50 %" in advice.text
        # Never the card as a way out where no zebra marks the card either.
        card = next(each for each in zebra.advice if each.reflectance == WHITE_CARD)
        assert ("90 % white card" in advice.text) == (card.setting is not None)
        assert "false-colour" in advice.text


def test_zebra_picks_the_setting_under_the_subject() -> None:
    zebra = levels(CATALOGUE.curve("BT.2100 HLG"), zebra_min=50, zebra_step=5).zebra
    chosen = {each.reflectance: each.setting and each.setting.percent for each in zebra.advice}
    # BT.2408: 90 % lies at 73 %, 100 % at 75 %; 36 % at 53 %.
    assert chosen == {GREY: None, SKIN: 50.0, WHITE_CARD: 70.0, WHITE: 75.0}
    for each in zebra.settings:
        curve = CATALOGUE.curve("BT.2100 HLG")
        assert float(curve.encode(each.reflectance)) == pytest.approx(each.percent / 100)


def test_a_zebra_that_starts_at_clipped_white() -> None:
    # On BT.709, 100 % is the top: the zebra at 100 % marks it, none marks what lies over it.
    zebra = levels(CATALOGUE.curve("BT.709"), zebra_min=97, zebra_step=5).zebra
    assert [each.percent for each in zebra.settings] == [97.0]
    linear_stop = levels(CATALOGUE.curve("gamma 2.4")).zebra
    assert linear_stop.advice[-1].setting is not None


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"zebra_min": 101.0}, "lowest zebra"),
        ({"zebra_min": float("nan")}, "lowest zebra"),
        ({"zebra_step": 0.0}, "zebra step"),
        ({"over_exposure": -1.0}, "over-exposure"),
    ],
)
def test_refused(arguments: dict[str, float], message: str) -> None:
    with pytest.raises(LutbenchError, match=message):
        levels(CATALOGUE.curve("BT.709"), **arguments)  # type: ignore[arg-type]


def test_neutral_density() -> None:
    # Common practice: 0.3 a stop; ND 1.2 is four stops, exactly 3.99.
    by_density = {each.density: each for each in NEUTRAL_DENSITIES}
    assert by_density[1.2].nominal_stops == 4
    assert by_density[1.2].stops == pytest.approx(math.log2(10**1.2))
    assert by_density[1.8].factor == 64
    assert by_density[0.9].to_data()["transmission"] == pytest.approx(0.125893, abs=1e-6)


def test_filter_for_an_over_exposure() -> None:
    choice = choose_filter(4.0)
    assert (choice.weaker, choice.stronger) == (None, NEUTRAL_DENSITIES[3])
    between = choose_filter(2.5)
    assert between.weaker is not None
    assert between.stronger is not None
    assert (between.weaker.density, between.stronger.density) == (0.6, 0.9)
    assert choose_filter(0.5).weaker is None
    assert "stop down instead" in choose_filter(0.4, [0.6]).text  # it would leave 1.6 under
    assert "leaves 0.2 stops under" in choose_filter(0.8).text
    text = choose_filter(12.0).text
    assert text.startswith("12.0 stops over: ND 3.0 + 0.6 corrects it to within")


def test_after_a_lut_and_its_ranges() -> None:
    # A LUT that squares: 0.5 in full range becomes 0.25.
    table = np.linspace(0, 1, 1001)[:, None].repeat(3, 1) ** 2
    squared = Lut1D(table)
    curve = CATALOGUE.curve("linear")
    full = levels(curve, squared)
    after = full.at(GREY).after_lut
    assert after is not None
    assert after.signal == pytest.approx(0.18**2, abs=1e-6)
    # Fed with legal codes it sees (64 + 876·0.18) / 1023.
    legal = levels(curve, squared, source_range="legal").at(GREY).after_lut
    assert legal is not None
    assert legal.signal == pytest.approx(((64 + 876 * 0.18) / 1023) ** 2, abs=1e-6)
    # An identity between legal ends gives the signal back.
    same = levels(curve, Lut3D.identity(33), source_range="legal", target_range="legal")
    assert same.at(GREY).after_lut.signal == pytest.approx(0.18, abs=1e-9)  # type: ignore[union-attr]


def test_which_light_falls_on_the_ends_after_a_lut() -> None:
    # Black at 0.1 and white at 0.5 of a linear signal: reflectances 10 % and 50 %.
    x = np.linspace(0, 1, 1001)
    lut = Lut1D(np.clip((x - 0.1) / 0.4, 0, 1)[:, None].repeat(3, 1))
    ends = levels(CATALOGUE.curve("linear"), lut).after_ends
    assert ends is not None
    assert ends.zero == pytest.approx(0.1, abs=1 / 4096)
    assert ends.full == pytest.approx(0.5, abs=1 / 4096)
    never = levels(CATALOGUE.curve("linear"), Lut1D(np.full((2, 3), 0.5))).after_ends
    assert never is not None
    assert (never.zero, never.full) == (None, None)


def test_json_keys_are_stable() -> None:
    data = levels(CATALOGUE.curve("ACEScct"), Lut3D.identity(9), over_exposure=3).to_data()
    assert list(data) == [
        "schema", "curve", "curve_note", "codes", "range_note", "lut", "source_range",
        "target_range", "exposed_stops", "levels", "ends", "after_lut_ends", "zebra",
        "neutral_density", "filter_choice", "display",
    ]  # fmt: skip
    assert list(data["levels"][0]) == [
        "label", "reflectance", "stops", "clipped", "signal", "percent", "percent_full_as_legal",
        "code", "luminance", "after_lut",
    ]  # fmt: skip
    assert data["levels"][0]["stops"] is None
    assert list(data["levels"][0]["code"]) == ["full", "legal"]
    assert list(data["levels"][0]["code"]["legal"]) == ["8", "10", "12"]
    lights = [each["reflectance"] for each in data["levels"]]
    assert lights == sorted(lights)


def test_stops() -> None:
    assert stops_of(0.18 * 8) == pytest.approx(3)
    assert stops_of(0.0) == -math.inf
