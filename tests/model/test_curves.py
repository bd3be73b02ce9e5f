"""Transfer curves against published values and against colour-science."""

from __future__ import annotations

import re
from dataclasses import dataclass

import colour
import numpy as np
import pytest
from numpy.typing import NDArray

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.model.catalogue import STANDARD_CURVES, Catalogue, standard_curve
from lutbench.model.curves.base import Curve, Decode, Encode
from lutbench.model.curves.hdr import (
    HlgDisplayToScene,
    HlgScene,
    HlgSystemGamma,
    PqDisplay,
    PqScene,
    hlg_light,
    hlg_signal,
    hlg_system_gamma,
    pq_signal,
)
from lutbench.model.curves.log import AcesCc, AcesCct, CameraLog, PrintingDensity
from lutbench.model.curves.tabulated import Tabulated, read_curve_csv
from lutbench.model.curves.usable import why_unusable
from lutbench.model.curves.video import BT2020_12_BIT, Bt709, Bt1886, Bt2020, Power, Srgb

# colour-science takes logarithms of values that it then does not use.
pytestmark = pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning:colour")

CATALOGUE = Catalogue()
CURVES = [standard_curve(name) for name in STANDARD_CURVES]
SIGNAL = np.linspace(0.0, 1.0, 4097)

# (curve, light, signal, half a unit of the last published digit)
PUBLISHED = [
    # Recommendation ITU-R BT.709-6, item 1.2
    (Bt709(), 0.0179999, 0.081, 5e-4),
    (Bt709(), 0.18, 0.4090, 5e-5),
    (Bt709(), 1.0, 1.0, 1e-12),
    # IEC 61966-2-1
    (Srgb(), 0.18, 0.4614, 5e-5),
    (Srgb(), 0.0031308, 12.92 * 0.0031308, 1e-9),
    # Recommendation ITU-R BT.1886 with L_B = 0, L_W = 1
    (Bt1886(), 0.18, 0.48944, 5e-6),
    # Report ITU-R BT.2408, table 1
    (PqScene(), 0.18, 0.38, 5e-3),
    (PqScene(), 0.9, 0.57, 5e-3),
    (PqScene(), 1.0, 0.58, 5e-3),
    (HlgScene(), 0.18, 0.38, 5e-3),
    (HlgScene(), 0.9, 0.73, 5e-3),
    (HlgScene(), 1.0, 0.75, 1e-12),
    # SMPTE ST 2084 / Recommendation ITU-R BT.2100: cd/m² over 203
    (PqDisplay(), 100 / 203, 0.50808, 5e-6),
    (PqDisplay(), 1.0, 0.58069, 5e-6),
    (PqDisplay(), 1000 / 203, 0.75183, 5e-6),
    (PqDisplay(), 10000 / 203, 1.0, 1e-12),
    # Academy S-2016-001
    (AcesCct(), 0.0078125, 0.155251141552511, 1e-14),
    (AcesCct(), 0.18, 0.413588402, 5e-10),
    (AcesCct(), 0.0, 0.0729055341958355, 1e-14),
    # Academy S-2014-003
    (AcesCc(), 0.18, 0.413588402, 5e-10),
    (AcesCc(), 0.0, (np.log2(2**-16) + 9.72) / 17.52, 1e-14),
    # Common practice of film scanning: 10-bit black 95, white 685
    (PrintingDensity(), 0.0, 95 / 1023, 1e-12),
    (PrintingDensity(), 1.0, 685 / 1023, 1e-12),
    (PrintingDensity(), 0.18, 467.8 / 1023, 0.05 / 1023),
]


@pytest.mark.parametrize(("curve", "light", "signal", "tolerance"), PUBLISHED)
def test_published_value(curve: Curve, light: float, signal: float, tolerance: float) -> None:
    assert float(curve.encode(light)) == pytest.approx(signal, abs=tolerance)


def test_bt1886_published_value() -> None:
    # Recommendation ITU-R BT.1886 with L_B = 0, L_W = 1
    assert float(Bt1886().decode(0.5)) == pytest.approx(0.18946, abs=5.1e-6)


def test_hlg_published_values() -> None:
    # Recommendation ITU-R BT.2100-2, table 5
    assert hlg_signal(np.array([0, 1 / 12, 0.265, 1])) == pytest.approx(
        [0, 0.5, 0.75003, 1], abs=5e-6
    )


REFERENCES = [
    # BT.709 and BT.2020 of colour-science step at the break; test away from the step.
    (Bt709(), colour.models.oetf_BT709, np.r_[np.linspace(-0.1, 0.0179, 99), SIGNAL + 0.0182]),
    (Bt2020(), colour.models.oetf_BT2020, np.r_[np.linspace(-0.1, 0.0179, 99), SIGNAL + 0.0182]),
    (Bt1886(), colour.models.eotf_inverse_BT1886, SIGNAL * 4),
    (Srgb(), colour.models.eotf_inverse_sRGB, np.linspace(-0.2, 4, 4097)),
    (AcesCc(), colour.models.log_encoding_ACEScc, np.linspace(-0.1, 60, 4097)),
    (AcesCct(), colour.models.log_encoding_ACEScct, np.linspace(-0.1, 60, 4097)),
    (PrintingDensity(), colour.models.log_encoding_Cineon, np.linspace(-0.01, 12, 4097)),
    (Power("gamma 2.6", 2.6), lambda x: colour.gamma_function(x, 1 / 2.6), SIGNAL * 2),
]


@pytest.mark.parametrize(
    ("curve", "reference", "light"), REFERENCES, ids=[each[0].name for each in REFERENCES]
)
def test_standard_curve_agrees_with_colour_science(curve, reference, light) -> None:  # type: ignore[no-untyped-def]
    # Both compute in float64: only the order of operations differs.
    assert curve.encode(light) == pytest.approx(reference(light), abs=1e-12, rel=1e-12)


def test_twelve_bit_constants_agree_with_colour_science() -> None:
    light = np.r_[np.linspace(0, 0.0180, 99), np.linspace(0.0182, 1, 999)]
    reference = colour.models.oetf_BT2020(light, is_12_bits_system=True)
    assert BT2020_12_BIT.encode(light) == pytest.approx(reference, abs=1e-12)


def test_pq_agrees_with_colour_science() -> None:
    nits = np.geomspace(1e-4, 10000, 999)
    assert pq_signal(nits) == pytest.approx(
        colour.models.eotf_inverse_ST2084(nits, 10000), abs=1e-12
    )
    curve = PqScene()
    e = np.linspace(1e-6, 1, 999)
    # colour-science gives PQ's reference OETF for E in 0..1.
    reference = colour.models.oetf_BT2100_PQ(e)
    assert curve.encode(e / curve.white_scale) == pytest.approx(reference, abs=1e-6)


def test_hlg_agrees_with_colour_science() -> None:
    e = np.linspace(0, 1.2, 999)
    # a, b and c of table 5 are rounded to 8 decimals there; c computed here agrees to that.
    assert hlg_signal(e) == pytest.approx(colour.models.oetf_BT2100_HLG(e), abs=2e-8)
    assert hlg_light(hlg_signal(e)) == pytest.approx(e, abs=1e-12)


@pytest.mark.parametrize("peak", [400.0, 1000.0, 2000.0])
def test_hlg_display_chain_agrees_with_colour_science(peak: float) -> None:
    rgb = np.random.default_rng(1).random((50, 3))
    ours = HlgSystemGamma(peak).apply(rgb / HlgScene.WHITE_SCALE) * 203
    reference = colour.models.ootf_BT2100_HLG(rgb, L_B=0, L_W=peak)
    assert ours == pytest.approx(reference, rel=1e-6)
    back = HlgDisplayToScene(peak).apply(ours / 203) * HlgScene.WHITE_SCALE
    assert back == pytest.approx(rgb, abs=1e-9)


def test_hlg_reference_white_on_a_thousand_nit_display() -> None:
    # Report ITU-R BT.2408, table 1: 26, 179 and 203 cd/m².
    grey = np.repeat(np.array([[0.18], [0.9], [1.0]]), 3, axis=1)
    shown = HlgSystemGamma(1000.0).apply(grey)[:, 0] * 203
    assert shown == pytest.approx([26, 179, 203], abs=0.5)


def test_hlg_system_gamma_outside_the_nominal_peaks() -> None:
    # Recommendation ITU-R BT.2100-2, table 5, note 5f
    assert hlg_system_gamma(4000) == pytest.approx(1.2 * 1.111**2)


@pytest.mark.parametrize("black", [0.0, 1e-4, 1e-3, 0.01])
def test_bt1886_with_a_black_level_agrees_with_colour_science(black: float) -> None:
    reference = colour.models.eotf_BT1886(SIGNAL, L_B=black, L_W=1.0)
    curve = Bt1886(black=black)
    assert curve.decode(SIGNAL) == pytest.approx(reference, abs=1e-12)
    assert curve.encode(curve.decode(SIGNAL)) == pytest.approx(SIGNAL, abs=1e-9)


@pytest.mark.parametrize("curve", CURVES, ids=lambda each: each.name)
def test_standard_curve_comes_back(curve: Curve) -> None:
    assert why_unusable(curve) == ""
    back = curve.encode(curve.decode(SIGNAL))
    # The step of 2.5e-4 at the break of BT.709, BT.2020 and of PQ's OOTF, which is
    # made of BT.709, stays: it comes with the rounded constants of the texts.
    tolerance = 2.6e-4 if isinstance(curve, Bt709 | PqScene) else 1e-7
    assert back == pytest.approx(SIGNAL, abs=tolerance)
    assert (np.diff(curve.decode(np.linspace(-0.1, 1.1, 4001))) >= 0).all()
    assert (np.diff(curve.encode(np.linspace(-0.1, 20, 4001))) >= 0).all()


@pytest.mark.parametrize("curve", CURVES, ids=lambda each: each.name)
def test_nan_stays_nan_and_extremes_do_not_crash(curve: Curve) -> None:
    assert np.isnan(curve.encode(np.nan))
    assert np.isnan(curve.decode(np.nan))
    for value in (-1e30, -1.0, 1e30):
        assert not np.isnan(curve.encode(value))
        assert not np.isnan(curve.decode(value))


WHITE_OF_BT2100 = {
    "ITU-R BT.2100 HLG": float(colour.OETF_INVERSES["ITU-R BT.2100 HLG"](0.75)),
    "ITU-R BT.2100 PQ": float(colour.models.ootf_inverse_BT2100_PQ(203)),
}


def registry() -> list[tuple[str, str]]:
    names = [(name, "log") for name in colour.LOG_ENCODINGS]
    return names + [(name, "oetf") for name in colour.OETFS if name not in colour.LOG_ENCODINGS]


@pytest.mark.parametrize(("name", "kind"), registry())
def test_every_registered_curve(name: str, kind: str) -> None:
    """Each registered curve agrees with the registry, or says why it cannot be used."""
    entry = next(
        each
        for each in CATALOGUE.curves()
        if name.casefold() in map(str.casefold, (each.name, *each.aliases))
    )
    if entry.unusable:
        with pytest.raises(LutbenchError, match=r"cannot be used: .+"):
            CATALOGUE.curve(name)
        return
    curve = CATALOGUE.curve(name.upper())
    light = np.r_[0.001, np.linspace(0.02, 1, 400)]
    encoder = (colour.LOG_ENCODINGS if kind == "log" else colour.OETFS)[name]
    decoder = (colour.LOG_DECODINGS if kind == "log" else colour.OETF_INVERSES)[name]
    out, into = {}, {}
    if curve.formula_codes == "legal":
        # The signal is IRE / 100, which these functions give and take when told to.
        out, into = {"out_normalised_code_value": False}, {"in_normalised_code_value": False}
    # BT.2100: light 1.0 is reference white here, and the peak in colour-science.
    scale = 1.0 if entry.origin == "registry" else WHITE_OF_BT2100.get(name, 1.0)
    expected = encoder(light * scale, **out)
    decoded = decoder(SIGNAL[::16], **into) / scale
    # Pure logarithms run to minus infinity; ours stop at or under signal 0.
    inside = np.asarray(expected) > 0
    assert inside.sum() >= 400
    # PQ through its own OOTF: pq(0) is 7e-7 in colour-science.
    within = 2e-6 if "PQ" in name else 1e-9
    assert curve.encode(light)[inside] == pytest.approx(np.asarray(expected)[inside], abs=within)
    assert (curve.encode(light)[~inside] < 1e-4).all()
    # The registry decodes signals inside BT.709's step to 5e-5 more light than the break.
    assert curve.decode(SIGNAL[::16]) == pytest.approx(np.asarray(decoded), abs=6e-5, rel=1e-5)


def test_the_usable_registry_is_most_of_it() -> None:
    unusable = [each for each in CATALOGUE.curves() if each.unusable]
    assert all(len(each.unusable) > 10 for each in unusable)
    assert len(unusable) <= 4
    assert len(CATALOGUE.usable_curves) > 40


def test_most_registered_logs_put_grey_under_a_zebra_floor_of_half() -> None:
    """Common practice: a grey card on a camera log sits below 50 %."""
    greys = [each.mid_grey for each in CATALOGUE.usable_curves if each.family == "log"]
    assert sum(grey < 0.5 for grey in greys) > len(greys) * 0.7


def test_the_parametric_log_states_acescct() -> None:
    # The Common LUT Format gives ACEScct as a camera log with these parameters.
    log = CameraLog(
        "as ACEScct",
        base=2.0,
        log_side_slope=1 / 17.52,
        log_side_offset=9.72 / 17.52,
        lin_side_break=0.0078125,
    )
    light = np.linspace(-0.01, 60, 999)
    # The standard's own linear constants are rounded to 15 digits.
    assert log.encode(light) == pytest.approx(colour.models.log_encoding_ACEScct(light), abs=1e-12)
    assert log.decode(log.encode(light)) == pytest.approx(light, rel=1e-10, abs=1e-12)


def test_the_parametric_log_states_printing_density() -> None:
    offset = 10 ** ((95 - 685) / 300)
    log = CameraLog(
        "as printing density",
        base=10.0,
        log_side_slope=300 / 1023,
        log_side_offset=685 / 1023,
        lin_side_slope=1 - offset,
        lin_side_offset=offset,
    )
    light = np.linspace(0, 10, 999)
    assert log.encode(light) == pytest.approx(colour.models.log_encoding_Cineon(light), abs=1e-12)


@pytest.mark.parametrize(
    "parameters",
    [
        {"base": 1.0},
        {"log_side_slope": -0.1},
        {"lin_side_slope": 0.0},
        {"linear_slope": 1.0},
        {"lin_side_break": -1.0},
        {"lin_side_break": 0.1, "linear_slope": -2.0},
        {"base": float("nan")},
    ],
)
def test_a_log_that_does_not_rise_is_refused(parameters: dict[str, float]) -> None:
    with pytest.raises(DefinitionError, match="accepted: a rising curve"):
        CameraLog("bad", **parameters)


def test_a_table_of_a_known_curve_comes_near_it() -> None:
    light = np.r_[0, np.geomspace(0.001, 50, 40)]
    signal = colour.models.log_encoding_ACEScct(light)
    table = Tabulated("measured", tuple(light), tuple(signal))
    assert table.encode(light) == pytest.approx(signal, abs=1e-9)
    between = np.geomspace(0.002, 45, 500)
    # 40 points over 16 stops: a monotone cubic stays within half a 10-bit code.
    assert table.encode(between) == pytest.approx(
        colour.models.log_encoding_ACEScct(between), abs=0.5 / 1023
    )
    assert table.decode(table.encode(between)) == pytest.approx(between, rel=1e-9)
    assert why_unusable(Tabulated("wide", tuple(light), tuple(signal))) == ""


def test_a_curve_csv(tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = tmp_path / "curve.csv"
    file.write_text("light,signal\n# a note\n0,0.1\n0.18,0.4\n\n1,0.6\n8,0.9\n")
    curve = read_curve_csv(file, "four points")
    assert curve.mid_grey == pytest.approx(0.4, abs=1e-9)
    file.write_text("light,signal\n0,0.1\n0.18,zero\n")
    with pytest.raises(DefinitionError, match=r"curve\.csv:3: .*accepted: two numbers"):
        read_curve_csv(file, "bad")
    file.write_text("0,0.1\n0.2,0.4\n0.3,0.3\n")
    with pytest.raises(DefinitionError, match="not monotone at row 3"):
        read_curve_csv(file, "bad")
    with pytest.raises(LutbenchError, match="cannot read"):
        read_curve_csv(tmp_path / "none.csv", "bad")


def test_curves_as_transforms() -> None:
    curve = AcesCct()
    step = Decode(curve) | Encode(Bt709())
    assert repr(step) == "Decode('ACEScct') | Encode('BT.709')"
    assert step.to_data()["steps"][0] == {
        "kind": "decode",
        "curve": {"family": "log", "codes": "full", "name": "ACEScct"},
    }
    rgb = np.random.default_rng(0).random((4, 5, 3))
    assert step.inverse().apply(step.apply(rgb)) == pytest.approx(rgb, abs=1e-9)


@dataclass(frozen=True)
class Broken(Curve):
    """A straight line with one fault."""

    fault: str = ""

    def _decode(self, signal: NDArray[np.float64]) -> NDArray[np.float64]:
        if self.fault == "falls":
            return np.where(signal > 0.5, signal - 0.2, signal)
        if self.fault == "stands":
            return np.minimum(signal, 0.75)
        if self.fault == "hole":
            return np.where(signal > 0.9, np.inf, signal)
        return signal

    def _encode(self, light: NDArray[np.float64]) -> NDArray[np.float64]:
        if self.fault == "no way back":
            return np.where(light > 0.3, np.nan, light)
        if self.fault == "quantised":
            return np.round(light * 15) / 15
        return light


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("falls", r"not monotone: decoded light falls at signal 0\.500"),
        ("stands", r"no inverse: decoded light does not rise at signal 0\.75"),
        ("hole", "decoding is not finite"),
        ("no way back", "no inverse: encoding is not finite for the light"),
        # A step of a fifteenth is up to a thirtieth off: 34 of 1023.
        ("quantised", r"quantised or clamped: signal 0\.\d+ comes back 34 10-bit codes off"),
    ],
)
def test_why_a_curve_cannot_serve(fault: str, words: str) -> None:
    assert re.match(words, why_unusable(Broken("broken", fault)))
    assert why_unusable(Broken("sound")) == ""


def test_a_steep_table_stays_finite_far_below_and_above() -> None:
    """Straight in asinh(light) beyond its ends, it would overflow to either side."""
    steep = Tabulated("steep", (-0.5, 0.1, 0.9), (0.0, 0.001, 0.0015))
    light = steep.decode([-1e4, -1.0, 1.0, 1e4])
    assert np.isfinite(light).all()
    assert (np.diff(light) >= 0).all()
