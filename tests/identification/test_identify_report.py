"""What `identify` tells of looks, tone, ambiguities and groups.

The LUTs are those of tests/cases/identification_cases.py: colour-science decodes,
converts and encodes, and the looks are written out there, the CDL by the formula of
ASC CDL 1.2 with the luma weights of BT.709.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import open_world
import pytest
from identification_cases import Case, build, decode, encode, gamut_matrix, lattice, shoulder

import lutbench
from lutbench.identification import Identification, identify
from lutbench.identification.groups import groups_of
from lutbench.identification.lookwords import tint_word
from lutbench.identification.result import ToneChange
from lutbench.identification.tone import tone_csv
from lutbench.model.catalogue import open_catalogue
from lutbench.tables.lut import Lut3D

pytestmark = [
    pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning"),
    pytest.mark.slow,  # a look is identified in each
]

PLAIN = Case("combined", "ACEScct", "ACEScg", "ITU-R BT.1886", "ITU-R BT.709")
CDL = {
    "slope": np.array([1.05, 1.0, 0.96]),
    "offset": np.array([0.01, 0.0, -0.01]),
    "power": np.array([0.95, 1.0, 1.06]),
    "saturation": 1.15,
}


@cache
def lut_of(case: Case) -> Lut3D:
    return Lut3D(build(case))


def looked(look: str, **parameters: object) -> Case:
    return replace(PLAIN, look=look, parameters=parameters)


_found: dict[str, Identification] = {}


def found_for(case: Case) -> Identification:
    key = repr(case)
    if key not in _found:
        _found[key] = identify(Lut3D(build(case)))
    return _found[key]


def test_a_cdl_put_in_comes_out_with_its_parameters() -> None:
    cdl = found_for(looked("cdl", **CDL)).look.cdl
    assert cdl is not None
    # Values of six decimals, half a millionth off at most; the steepest parameter,
    # a power in the shadows, makes some twenty times that of it.
    np.testing.assert_allclose(cdl.slope, CDL["slope"], atol=1e-5)
    np.testing.assert_allclose(cdl.offset, CDL["offset"], atol=1e-5)
    np.testing.assert_allclose(cdl.power, CDL["power"], atol=1e-5)
    assert cdl.saturation == pytest.approx(1.15, abs=1e-5)
    assert cdl.error.median < 0.001


def test_a_saturation_is_told_for_every_hue() -> None:
    look = found_for(looked("saturation", saturation=1.25)).look
    assert look.saturation == pytest.approx(1.25, abs=0.01)
    assert {each.hue for each in look.hues} >= {"reds", "greens", "blues", "skin-side reds"}
    for each in look.hues:
        assert each.saturation == pytest.approx(1.25, abs=0.02)
        assert each.turned == pytest.approx(0, abs=0.5)
    assert "25 % more saturated" in " ".join(look.description)


def test_a_turn_of_hue_is_told_in_degrees_of_the_vectorscope() -> None:
    """The look turns Cb and Cr that are scaled alike; a vectorscope scales them by BT.709."""
    look = found_for(looked("hue rotation", degrees=8.0)).look
    assert look.cdl is None
    turned = [each.turned for each in look.hues]
    # Between axes of unlike scale (1.8556 and 1.5748) a turn of 8° is one of 6.8 to 9.4°.
    assert all(6.5 < each < 9.7 for each in np.abs(turned))
    assert len(set(np.sign(turned))) == 1
    assert any("turned" in phrase for phrase in look.description)


def test_a_split_tone_is_warm_in_the_highlights_and_cool_in_the_shadows() -> None:
    look = found_for(looked("split tone", amount=0.06)).look
    by_part = {each.part: each for each in look.tones}
    assert by_part["highlights"].b > 2
    assert by_part["shadows"].b < -1
    assert "highlights" in " ".join(look.description)


def test_a_look_on_some_hues_leaves_the_others() -> None:
    look = found_for(looked("selective", amount=0.4, hue=0.0)).look
    by_hue = {each.hue: each for each in look.hues}
    assert by_hue["reds"].saturation > 1.2
    assert by_hue["cyans"].saturation == pytest.approx(1, abs=0.03)


def test_no_look_has_no_direction() -> None:
    look = found_for(PLAIN).look
    assert (look.present, look.cdl, look.description) == (False, None, ())


@pytest.mark.parametrize(
    ("a", "b", "word"),
    [
        (0, 0.3, ""),
        (0, 2, "slightly warm"),
        (0, -4, "cool"),
        (-9, 0, "strongly green"),
        (4, -1, "magenta"),
    ],
)
def test_tints_have_words(a: float, b: float, word: str) -> None:
    assert tint_word(ToneChange("shadows", 0.0, a, b)) == word


def test_mid_grey_lands_where_colour_science_puts_it() -> None:
    tone = found_for(PLAIN).tone
    assert tone is not None
    assert tone.plain
    # The table between two nodes of 33, on a curve that bends little there.
    assert tone.grey_signal == pytest.approx(float(encode("ITU-R BT.1886", 0.18)), abs=2e-3)
    assert tone.contrast == pytest.approx(1, abs=0.03)


def test_a_tone_curve_is_described() -> None:
    case = replace(PLAIN, tone="shoulder")
    found = found_for(case)
    tone = found.tone
    assert tone is not None
    assert not tone.plain
    assert found.best is not None
    assert (found.best.source.gamut, found.best.target.gamut) == ("ACES AP1", "BT.709")
    # The shoulder is straight up to a light of 0.25, 0.47 stops over grey.
    assert tone.grey_signal == pytest.approx(float(encode("ITU-R BT.1886", 0.18)), abs=3e-3)
    assert tone.roll_off_stops is not None
    assert 0.3 < tone.roll_off_stops < 1.6
    # White is reached with the brightest light that the source records.
    if tone.white_stops is not None:
        brightest = np.log2(float(decode("ACEScct", np.array(1.0))) / 0.18)
        assert tone.white_stops == pytest.approx(brightest, abs=1.5)
    assert "with an unnamed tone curve" in found.explanation


def test_under_a_tone_curve_bt1886_stands_before_gamma_22() -> None:
    """Contrast 1.15 under BT.1886 is 1.05 under gamma 2.2: no LUT tells the two apart."""
    light = np.maximum(decode("ACEScct", lattice(17)) @ gamut_matrix(PLAIN).T, 0)
    toned = shoulder(0.18 * (light / 0.18) ** 1.15, white=300.0)
    best = identify(Lut3D(np.round(np.clip(encode("ITU-R BT.1886", toned), 0, 1), 6))).best
    assert best is not None
    assert best.target.curve == "BT.1886"
    assert "gamma 2.2" in best.same_as.target_curve
    assert best.exposure_stops == pytest.approx(0, abs=0.1)


def test_the_tone_curve_as_a_table_gives_the_lut_back(tmp_path: Path) -> None:
    case = replace(PLAIN, tone="shoulder")
    found = found_for(case)
    assert found.tone is not None
    (tmp_path / "tone.csv").write_text(tone_csv(found.tone, found), encoding="utf-8")
    definitions = tmp_path / "own.toml"
    definitions.write_text('[curves."tone found"]\nkind = "table"\nfile = "tone.csv"\n')
    known = open_catalogue(definitions)
    built = lutbench.build(
        "ACEScct",
        "tone found",
        source_gamut="ACEScg",
        target_gamut="BT.709",
        size=case.size,
        catalogue=known,
    )
    off = np.abs(built.table - build(case)) * 1023
    # In gamut, where a conversion has one answer: half of all values within what a
    # curve that is known at the nodes of its lattice allows.
    light = decode("ACEScct", lattice(case.size)) @ gamut_matrix(case).T
    inside = (light > 0).all(axis=-1)
    assert np.median(off[inside]) < 0.5
    assert np.percentile(off[inside], 95) < 4


def test_the_explanation_is_what_a_shooter_understands() -> None:
    found = found_for(PLAIN)
    assert found.explanation.startswith("Expects ACEScct and ACES AP1 in full range.")
    assert "Converts tone and gamut to BT.709 for a BT.1886 display." in found.explanation
    assert "Mid grey lands at 49 %" in found.explanation
    warm = found_for(looked("cdl", **CDL)).explanation
    assert "Adds a look:" in warm
    assert "a single CDL describes it" in warm


def test_notes_say_what_would_settle_it() -> None:
    notes = " ".join(found_for(PLAIN).notes)
    # BT.1886 without black lift is gamma 2.4, so either name is right.
    assert "BT.1886 and gamma 2.4 are the same curve" in notes
    look = " ".join(found_for(looked("hue rotation", degrees=8.0)).notes)
    assert "without its look would give a safer answer" in look
    nothing = identify(Lut3D(1 - lattice(9)))
    assert nothing.confidence != "high"
    assert any("--source-curve" in note for note in nothing.notes)


def test_an_identity_needs_no_note() -> None:
    found = identify(Lut3D(lattice(9)))
    assert (found.kind, found.notes) == ("identity", ())
    assert found.explanation == "Changes nothing: every output value equals its input value."


def test_groups_differ_in_one_thing() -> None:
    cases = {
        "a": PLAIN,
        "brighter": replace(PLAIN, exposure=1.0),
        "darker": replace(PLAIN, exposure=-1.0),
        "legal": replace(PLAIN, target_range="legal"),
        "saturated": looked("saturation", saturation=1.25),
        "again": PLAIN,
        "hdr": replace(PLAIN, target_curve="ST 2084", target_gamut="ITU-R BT.2020"),
    }
    groups = groups_of([(name, found_for(case)) for name, case in cases.items()])
    by_names = {frozenset(group.names): group for group in groups}
    assert by_names[frozenset({"a", "again"})].same_values
    told = {group.differ_in: set(group.names) for group in groups}
    assert told[("exposure",)] >= {"brighter", "darker"}
    assert "legal" in told[("target range",)]
    assert "saturated" in told[("look",)]
    assert any("hdr" in group.names and group.differ_in == ("target",) for group in groups)
    assert by_names[frozenset({"a", "again"})].words == "hold the same values"
    assert all(group.to_data()["files"] == list(group.names) for group in groups)


def test_no_group_differs_in_exposure_alone_where_curves_differ() -> None:
    """Tone curves of their own hide the display: the tables tell, where the names do not."""
    toned = replace(PLAIN, tone="shoulder")
    cases = {
        "one": toned,
        "brighter": replace(toned, exposure=0.7),
        "other display": replace(toned, target_curve="sRGB"),
        "other display, brighter": replace(toned, target_curve="sRGB", exposure=0.7),
        "gamma": replace(toned, target_curve="gamma 2.2", exposure=0.3),
        "other source": replace(toned, source_curve="ACEScc", exposure=-0.5),
    }
    named = {"one", "brighter"}, {"other display", "other display, brighter"}
    for group in groups_of([(name, found_for(case)) for name, case in cases.items()]):
        if group.differ_in == ("exposure",):
            assert set(group.names) in named


def test_each_of_a_group_says_what_it_has() -> None:
    found = [
        (f"{stops:+g}", found_for(replace(PLAIN, exposure=stops))) for stops in (-1.0, 0.0, 1.0)
    ]
    group = next(each for each in groups_of(found) if each.differ_in == ("exposure",))
    greys = [float(each.removeprefix("mid grey at ").removesuffix(" %")) for each in group.details]
    # BT.1886 of 18 % light, a stop darker and brighter.
    assert greys == pytest.approx([100 * (0.18 * 2**s) ** (1 / 2.4) for s in (-1, 0, 1)], abs=0.1)


def test_the_report_is_plain_data() -> None:
    import json

    data = json.loads(json.dumps(found_for(looked("cdl", **CDL)).to_data()))
    assert set(data["look"]["delta_e_2000"]) == {"median", "p95", "max"}
    assert set(data["look"]["cdl"]) == {
        *("slope", "offset", "power", "saturation", "error", "delta_e_2000"),
    }
    assert data["tone"]["grey_percent"] == pytest.approx(100 * data["tone"]["grey_signal"])
    assert {each["part"] for each in data["look"]["tones"]} == {
        "shadows",
        "mid tones",
        "highlights",
    }


def test_a_tone_curve_that_no_coloured_node_shows_is_that_of_the_greys() -> None:
    case = open_world.case("PQ to HLG, HLG to PQ", 31001)
    found = identify(case.lut, catalogue=open_catalogue(user=False))
    assert found.best is not None
    assert found.best.source.curve in case.truth.names("source_curve")
    assert found.tone is not None
