"""Scene light and display light: where they meet, against the Recommendations and colour-science.

Sources: Recommendation ITU-R BT.2100-2, tables 4 and 5; Report ITU-R BT.2408, table 1;
Report ITU-R BT.2390-8, 5.4.1 and 6.2 (both from memory of the Reports); colour-science.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import colour
import numpy as np
import pytest

from lutbench.errors import LutbenchError
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.hdr import HlgDisplayLight, PqDisplay, PqScene, hlg_system_gamma
from lutbench.model.curves.usable import falls
from lutbench.model.light import Display
from lutbench.model.tone.eetf import Eetf
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.recipes.make import quick_job
from lutbench.recipes.schema import recipe_from_text
from lutbench.recipes.settings import Settings

KNOWN = open_catalogue(user=False)
BT2020 = KNOWN.gamut("BT.2020")
GREYS = np.repeat(np.linspace(0.05, 0.75, 71)[:, None], 3, axis=1)


def end(name: str, display: Display | None = None, **settings: float) -> Encoding:
    curve = KNOWN.curve(name)
    if settings:
        curve = type(curve)(**settings)  # type: ignore[call-arg]
    return Encoding(curve, BT2020, display=display)


def through(source: Encoding, target: Encoding, values: object, **options: object) -> np.ndarray:  # type: ignore[type-arg]
    task = Conversion(source, target, **options)  # type: ignore[arg-type]
    return np.asarray(task.pipeline().apply(values))


def pq(luminance: float) -> float:
    return float(colour.models.eotf_inverse_ST2084(luminance, 10000))


def test_pq_is_one_signal_whichever_light_it_is_named_by() -> None:
    """ST 2084 and BT.2100 PQ are the same signals; it once made 4.5 of 10 cd/m²."""
    for one, other in itertools.permutations(("ST 2084", "BT.2100 PQ")):
        assert through(end(one), end(other), GREYS) == pytest.approx(GREYS, abs=1e-12)
    ten = pq(10.0)
    assert through(end("ST 2084"), end("BT.2100 PQ"), [ten] * 3) == pytest.approx(ten, abs=1e-9)


@pytest.mark.parametrize("name", ["ST 2084", "BT.2100 PQ"])
def test_scene_light_comes_to_pq_through_the_reference_ootf(name: str) -> None:
    """BT.2100 table 4 by colour-science: E to 203 cd/m² at light 1.0, whatever PQ is called."""
    light = np.geomspace(1e-3, 20, 50)
    log = KNOWN.curve("ACEScct").encode(light)
    scale = colour.models.ootf_inverse_BT2100_PQ(203)
    expected = colour.models.oetf_BT2100_PQ(light * scale)
    out = through(end("ACEScct"), end(name), np.repeat(log[:, None], 3, axis=1))
    # pq(0) is 7e-7 in colour-science, and 0 here.
    assert out[:, 0] == pytest.approx(expected, abs=2e-6)
    # Report ITU-R BT.2408, table 1, in whole percent.
    grey, white = (through(end("ACEScct"), end(name), [KNOWN.curve("ACEScct").encode(x)] * 3)
                   for x in (0.18, 1.0))  # fmt: skip
    assert grey == pytest.approx(0.38, abs=0.005)
    assert white == pytest.approx(0.58, abs=0.005)


def test_grey_and_white_of_hlg_stand_where_the_report_says_on_any_display() -> None:
    """BT.2408, table 1: 38 % and 75 % of HLG, from scene light, display named or not."""
    log = KNOWN.curve("ACEScct")
    for display in (None, Display(400), Display(1000, 0.05), Display(2000, surround=20)):
        for light, percent in ((0.18, 0.38), (1.0, 0.75)):
            out = through(end("ACEScct"), end("BT.2100 HLG", display), [log.encode(light)] * 3)
            assert out == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize("peak", [400.0, 1000.0, 2000.0])
@pytest.mark.parametrize("black", [0.0, 0.005, 0.1])
def test_the_light_of_an_hlg_display_with_a_black_level(peak: float, black: float) -> None:
    """BT.2100-2, table 5, with the black lift β: colour-science's EOTF."""
    rgb = np.random.default_rng(4).random((200, 3))
    ours = HlgDisplayLight(Display(peak, black)).apply(rgb) * 203
    theirs = colour.models.eotf_BT2100_HLG(rgb, L_B=black, L_W=peak, method="ITU-R BT.2100-2")
    assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-6)
    back = HlgDisplayLight(Display(peak, black)).inverse().apply(ours / 203)
    assert back == pytest.approx(rgb, abs=1e-9)


def test_a_brighter_surround_lowers_the_system_gamma() -> None:
    """BT.2390-8, 6.2: each doubling of the surround is times 0.98."""
    assert hlg_system_gamma(1000.0, 10.0) == pytest.approx(1.2 * 0.98)
    assert hlg_system_gamma(1000.0, 1.25) == pytest.approx(1.2 / 0.98**2)


def test_hlg_at_1000_and_pq_show_the_same_light() -> None:
    """Display-referred conversion (BT.2408, 6): cd/m² of one are cd/m² of the other."""
    hlg = end("BT.2100 HLG", Display(1000))
    out = through(hlg, end("ST 2084"), GREYS)
    shown = colour.models.eotf_BT2100_HLG(GREYS, L_B=0, L_W=1000)
    assert out == pytest.approx(colour.models.eotf_inverse_ST2084(shown, 10000), abs=1e-6)
    assert through(hlg, end("BT.2100 PQ"), GREYS) == pytest.approx(out, abs=1e-12)


def test_scene_light_at_both_ends_is_a_scene_referred_conversion() -> None:
    """BT.2408, 5: HLG to PQ over the scene, by colour-science's OETFs."""
    out = through(end("BT.2100 HLG"), end("BT.2100 PQ"), GREYS)
    scene = colour.models.oetf_inverse_BT2100_HLG(GREYS)
    scene /= float(colour.models.oetf_inverse_BT2100_HLG(0.75))
    scale = colour.models.ootf_inverse_BT2100_PQ(203)
    assert out == pytest.approx(colour.models.oetf_BT2100_PQ(scene * scale), abs=1e-6)


@pytest.mark.parametrize("name", ["ST 2084", "BT.1886", "sRGB", "gamma 2.2"])
def test_hlg_meets_display_light_only_with_its_display(name: str) -> None:
    for ends in ((end("BT.2100 HLG"), end(name)), (end(name), end("BT.2100 HLG"))):
        with pytest.raises(LutbenchError, match=r"unless its display is named.*display_peak"):
            Conversion(*ends)


def test_sdr_display_light_comes_to_pq_alike_under_both_names() -> None:
    """BT.1886 white at 203 cd/m² (BT.2408, 5.1, display-referred), grey as it is shown."""
    sdr = KNOWN.curve("BT.1886").encode([0.18, 1.0])
    values = np.repeat(sdr[:, None], 3, axis=1)
    expected = [pq(0.18 * 203), pq(203)]
    for name in ("ST 2084", "BT.2100 PQ"):
        out = through(end("BT.1886"), end(name), values)[:, 0]
        assert out == pytest.approx(expected, abs=1e-6)


def test_bt709_with_its_display_named_is_bt1886() -> None:
    """BT.709-6, item 1.2: the reference display of a BT.709 signal is BT.1886."""
    named = end("BT.709", Display(100, 0.05))
    out = through(named, end("BT.1886", Display(100, 0.05)), GREYS)
    assert out == pytest.approx(GREYS, abs=1e-12)
    light = named.to_light().apply(GREYS)
    assert light == pytest.approx(colour.models.eotf_BT1886(GREYS, 0.05, 100) / 100, abs=1e-12)


@pytest.mark.parametrize("white", [100.0, 203.0, 300.0])
def test_the_eetf_of_a_pq_pair_ends_at_its_target_whatever_white_is(white: float) -> None:
    """A pair with white 100 once came out at 197 in place of 400 cd/m²."""
    pair = end("ST 2084", white=white), end("ST 2084", white=white)
    out = through(*pair, [pq(1000.0)] * 3, tone=Eetf(1000, 400))
    assert out == pytest.approx(pq(400.0), abs=1e-9)
    under = through(*pair, [pq(50.0)] * 3, tone=Eetf(1000, 400))
    assert under == pytest.approx(pq(50.0), abs=1e-9)  # below the knee nothing changes


@pytest.mark.parametrize("display", [None, Display(100)])
def test_the_eetf_fills_a_display_of_standard_range(display: Display | None) -> None:
    """A target with peak 100 once topped out at 74 %."""
    out = through(
        end("ST 2084"), end("BT.1886", display), [pq(1000.0)] * 3, tone=Eetf(1000, 100)
    )  # fmt: skip
    assert out == pytest.approx(1.0, abs=1e-9)


def test_the_eetf_works_on_display_light_from_a_scene_side_source_too() -> None:
    """The same signals come out whichever light PQ is named by, on either end."""
    names = ("ST 2084", "BT.2100 PQ")
    luminance = colour.models.eotf_ST2084(GREYS)
    expected = PqDisplay().encode(Eetf(1000, 300).apply(luminance) / 203)
    for ends in itertools.product(names, names):
        out = through(*map(end, ends), GREYS, tone=Eetf(1000, 300))
        assert out == pytest.approx(expected, abs=1e-7), ends


@pytest.mark.parametrize(
    ("source", "target", "named"),
    [
        ("ACEScct", "BT.1886", "ACEScct"),
        ("BT.2100 HLG", "BT.709", "BT.709"),
        ("BT.2100 PQ", "BT.709", "BT.709"),
        ("BT.2100 PQ", "BT.2100 HLG", "BT.2100 HLG"),
    ],
)
def test_the_eetf_refuses_scene_light(source: str, target: str, named: str) -> None:
    with pytest.raises(LutbenchError, match=f"eetf works on display light, but {named} encodes"):
        Conversion(end(source), end(target), tone=Eetf())


@pytest.mark.parametrize("peak", [400.0, 600.0, 1000.0, 2000.0])
@pytest.mark.parametrize("name", ["BT.2100 HLG", "ST 2084", "BT.2100 PQ"])
def test_a_shoulder_reaches_the_peak_of_the_display_that_is_named(peak: float, name: str) -> None:
    """HLG at 1000 once reached 0.96, and at 400 it clipped."""
    source, target = end("ACEScct"), end(name, Display(peak))
    tone = ToneCurve.between(source, target)
    out = through(source, target, np.repeat(np.linspace(0, 1, 500)[:, None], 3, axis=1), tone=tone)
    top = 1.0 if name == "BT.2100 HLG" else pq(peak)
    assert out.max() == pytest.approx(top, abs=1e-6)
    assert (out[:, 1] >= top - 1e-6).sum() <= 2
    sdr = Conversion(target, end("BT.1886"), tone=ToneCurve.between(target, end("BT.1886")))
    assert sdr.pipeline().apply([top] * 3) == pytest.approx(1.0, abs=1e-6)


def test_a_pq_white_other_than_203_moves_both_its_lights_alike() -> None:
    for curve in (PqScene(white=100.0), PqDisplay(white=100.0)):
        assert float(curve.encode(1.0)) == pytest.approx(pq(100.0), abs=1e-7)
        assert curve.kind_of_light.side == ("scene" if isinstance(curve, PqScene) else "display")


def refused(*ends: Encoding) -> bool:
    """HLG without a display against display light."""
    unnamed = [each for each in ends if each.curve.name == "BT.2100 HLG" and not each.display]
    return bool(unnamed) and any(each.side == "display" for each in ends)


DISPLAYS = {
    "BT.2100 HLG": [None, Display(400), Display(1000, 0.02), Display(2000, surround=25)],
    "ST 2084": [None, Display(600)],
    "BT.2100 PQ": [None, Display(1000)],
    "BT.1886": [None, Display(100, 0.05)],
    "BT.709": [None, Display(100)],
    "sRGB": [None, Display(80)],
    "ACEScct": [None],
    "linear": [None],
}
ENDS = [end(name, display) for name, displays in DISPLAYS.items() for display in displays]
ENDS += [end("ST 2084", white=100.0), end("BT.2100 PQ", white=100.0)]


@pytest.mark.parametrize("source", ENDS, ids=lambda each: f"{each.curve.name}, {each.display}")
def test_the_way_back_is_the_inverse_for_every_pair_of_ends(source: Encoding) -> None:
    """Every side, white and peak: where nothing clips the two conversions undo each other."""
    rgb = 0.35 + 0.2 * np.random.default_rng(12).random((60, 3))
    met = 0
    for target in ENDS:
        if refused(source, target):
            for ends in ((source, target), (target, source)):
                with pytest.raises(LutbenchError, match="unless its display is named"):
                    Conversion(*ends)
            continue
        met += 1
        there = Conversion(source, target, clamp=False).pipeline()
        back = Conversion(target, source, clamp=False).pipeline()
        # BT.709's two parts are 2.5e-4 apart at their break, and PQ is flat near black.
        assert back.apply(there.apply(rgb)) == pytest.approx(rgb, abs=1e-7), target
        grey = np.repeat(rgb[:, :1], 3, axis=1)
        out = there.apply(grey)
        assert np.ptp(out, axis=1).max() < 1e-9  # neutral stays neutral
    assert met >= 6


@pytest.mark.parametrize("name", ["BT.2100 PQ", "ST 2084", "BT.709", "BT.2100 HLG"])
def test_decoded_light_never_falls(name: str) -> None:
    """BT.2100's OOTF steps down by 0.2 % where its two parts meet; no signal may show it."""
    signal = np.linspace(-1.2, 1.2, 400_001)
    assert (np.diff(KNOWN.curve(name).decode(signal)) >= 0).all()


def test_xyz_keeps_the_white_of_what_is_converted() -> None:
    """colour-science: RGB to XYZ without an adaptation, white of BT.709 at D65."""
    rgb = np.random.default_rng(2).random((20, 3))
    space = colour.RGB_COLOURSPACES["ITU-R BT.709"].copy()
    space.use_derived_transformation_matrices(True)
    expected = colour.RGB_to_XYZ(rgb, space)
    settings = Settings(source_curve="linear", target_curve="linear")
    for ends, given, wanted in (
        (("BT.709", "XYZ"), rgb, expected),
        (("XYZ", "BT.709"), expected, rgb),
    ):
        named = Settings(**settings, source_gamut=ends[0], target_gamut=ends[1])
        task = replace(quick_job(named).task, clamp=False)
        assert task.pipeline().apply(given) == pytest.approx(wanted, abs=1e-9)
        text = (
            f'[source]\ncurve = "linear"\ngamut = "{ends[0]}"\n'
            f'[target]\ncurve = "linear"\ngamut = "{ends[1]}"\n[[lut]]\nname = "a"\n'
        )
        assert replace(recipe_from_text(text).jobs[0].task, clamp=False) == task


@pytest.mark.parametrize(
    ("name", "spellings"),
    [
        ("BT.2100 PQ", ("ITU-R BT.2100 PQ", "itu-r bt.2100 pq", "Rec.2100 PQ", "PQ")),
        ("BT.2100 HLG", ("ITU-R BT.2100 HLG", "ITU-R BT.2100  HLG", "Rec.2100 HLG", "hlg")),
    ],
)
def test_the_systems_of_bt2100_are_built_in_under_every_spelling(
    name: str, spellings: tuple[str, ...]
) -> None:
    """colour-science registers both as OETFs whose light ends at 1.0: never taken for these."""
    assert f"ITU-R {name}" in colour.OETFS
    for each in spellings:
        assert KNOWN.curve(each) == KNOWN.curve(name)
    assert [each.origin for each in KNOWN.curves() if each.name.endswith(name)] == ["standard"]


def test_registered_curves_that_fall_are_told() -> None:
    """What colour-science's own functions do, and nothing else, stands in the list."""
    falling = []
    with np.errstate(all="ignore"):
        for entry in KNOWN.curves():
            if entry.curve is None or entry.unusable or entry.curve.family != "log":
                continue
            if entry.name not in colour.LOG_ENCODINGS:
                continue
            light = np.r_[0.0, np.geomspace(1e-5, 16.0, 1 << 14)]
            signal = colour.LOG_ENCODINGS[entry.name](light)
            drop = float(np.diff(signal[np.isfinite(signal)]).min())
            if drop < -1e-6:
                falling.append(entry.name)
                assert "signal falls" in falls(entry.curve), entry.name
            elif drop > 1e-12:
                assert "signal falls" not in falls(entry.curve), entry.name
    assert falling


def test_no_curve_of_this_package_falls() -> None:
    """`lutbench list curves` takes it as given."""
    own = [entry for entry in KNOWN.curves() if entry.origin == "standard"]
    assert len(own) > 10
    for entry in own:
        assert entry.curve is not None, entry.name
        assert falls(entry.curve) == "", entry.name
