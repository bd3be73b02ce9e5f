"""Coding conventions: the legal scale is counted once, against colour-science and the standards.

Sources: Recommendations ITU-R BT.709-6, item 5.6, and BT.2100-2, table 9 (code values);
Academy S-2016-001 (ACEScct); colour-science's functions in both normalisations.
"""

from __future__ import annotations

import inspect

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lutbench.exposure.levels import levels
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.log import CameraLog
from lutbench.model.definitions import parse_definitions
from lutbench.model.gamuts import ACES_AP1, BT709
from lutbench.model.signal import BIT_DEPTHS, Range
from lutbench.recipes.make import build

pytestmark = pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning:colour")

KNOWN = open_catalogue(user=False)
CODES = np.arange(1024) / 1023


def with_legal_codes() -> list[str]:
    """The registered logs that say themselves that their values are legal codes."""
    return [
        name
        for name, function in colour.LOG_ENCODINGS.items()
        if "out_normalised_code_value" in inspect.signature(function).parameters
    ]


def test_about_a_third_of_the_registered_logs_publish_legal_codes() -> None:
    assert len(with_legal_codes()) >= 10
    for name in with_legal_codes():
        assert KNOWN.curve(name).codes == "legal"


@pytest.mark.parametrize("name", with_legal_codes())
def test_signal_and_codes_are_both_outputs_of_the_registry(name: str) -> None:
    """100 times the signal is the function's IRE; legal codes of it are its code values."""
    light = np.r_[0.0, 0.02, 0.18, 0.36, 0.9, 1.0, 4.0]
    curve, encoder = KNOWN.curve(name), colour.LOG_ENCODINGS[name]
    ire = encoder(light, out_normalised_code_value=False)
    assert curve.encode(light) == pytest.approx(ire, abs=1e-12)
    day = levels(curve)
    for reflectance in (0.0, 0.18, 0.9):
        reading = day.at(reflectance).recorded
        # In percent, and in codes: the legal scale once.
        assert reading.percent == pytest.approx(
            100 * float(encoder(reflectance, out_normalised_code_value=False)), abs=1e-9
        )
        value = float(encoder(reflectance)) * 1023
        assert reading.code(10, "legal") == pytest.approx(value, abs=0.5 + 1e-9)
        # Legal codes of other depths are those of ten bits times a power of two (BT.709, 5.6).
        assert reading.code(12, "legal") == pytest.approx(4 * value, abs=0.5 + 1e-9)
        assert reading.code(8, "legal") == pytest.approx(value / 4, abs=0.5 + 1e-9)


@pytest.mark.parametrize("name", with_legal_codes())
def test_a_lut_takes_legal_codes_as_they_are_published(name: str) -> None:
    """``legal`` on such a source once misread light by up to a stop at code 940."""
    decoder = colour.LOG_DECODINGS[name]
    published = decoder(CODES)
    for given_range in (None, "legal"):
        end = Encoding(KNOWN.curve(name), BT709, given_range)  # type: ignore[arg-type]
        task = Conversion(end, Encoding(KNOWN.curve("linear"), BT709), "curve", clamp=False)
        light = task.pipeline().apply(np.repeat(CODES[:, None], 3, axis=1))[:, 1]
        assert light == pytest.approx(published, rel=1e-9, abs=1e-12)
    # A full-range file of it carries the signal: what the function takes for IRE.
    end = Encoding(KNOWN.curve(name), BT709, "full")
    task = Conversion(end, Encoding(KNOWN.curve("linear"), BT709), "curve", clamp=False)
    light = task.pipeline().apply(np.repeat(CODES[:, None], 3, axis=1))[:, 1]
    expected = decoder(CODES, in_normalised_code_value=False)
    assert light == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("name", with_legal_codes())
def test_a_lut_into_legal_codes_keeps_those_over_940(name: str) -> None:
    """The nodes are the registered function's own values, held to what a code can be."""
    lut = build("ACEScct", name, source_gamut="ACEScg", target_gamut="ACEScg", size=17)
    light = KNOWN.curve("ACEScct").decode(np.linspace(0, 1, 17))
    expected = np.clip(colour.LOG_ENCODINGS[name](light), 0, 1)
    axis = lut.table[range(17), range(17), range(17), 1]
    assert axis == pytest.approx(expected, abs=1e-9)
    assert axis[-1] > 940 / 1023  # past nominal white


def test_whole_codes_of_a_registered_standard_are_legal_ones() -> None:
    """Academy S-2013-001 (ACESproxy) rounds the legal codes of ACEScc, 64 to 940 of ten bits."""
    entry = next(each for each in KNOWN.curves() if each.name == "ACESproxy")
    assert entry.curve is not None
    assert entry.curve.codes == "legal"
    assert "ACEScc with range legal" in entry.unusable
    light = 0.18 * 2.0 ** np.linspace(-6, 9, 400)
    end = Encoding(KNOWN.curve("ACEScc"), ACES_AP1, "legal")
    task = Conversion(Encoding(KNOWN.curve("linear"), ACES_AP1), end, "curve", clamp=False)
    codes = 1023 * task.pipeline().apply(np.repeat(light[:, None], 3, axis=1))[:, 0]
    rounded = 1023 * colour.log_encoding(light, function="ACESproxy")
    assert np.abs(codes - rounded).max() <= 0.5 + 1e-6
    assert rounded == pytest.approx(np.rint(rounded), abs=1e-9)


def test_a_registered_standard_on_another_scale_says_so() -> None:
    """ARIB STD-B67 has light 1.0 at half of the signal; the curve is that of BT.2100 HLG."""
    other, hlg = KNOWN.curve("ARIB STD-B67"), KNOWN.curve("BT.2100 HLG")
    assert float(other.encode(1.0)) == pytest.approx(0.5)
    assert other.kind_of_light.one == "at 50 % of the signal"
    assert "BT.2100 HLG" in other.note
    assert other.codes == "legal"
    signal = np.linspace(0, 1, 200)
    scale = float(other.decode(0.75))
    assert other.decode(signal) / scale == pytest.approx(hlg.decode(signal), abs=1e-5)
    for each in KNOWN.curves():
        if (
            each.curve
            and not each.unusable
            and each.origin == "registry"
            and each.curve.clip < 1.01
        ):
            assert each.curve.kind_of_light.one == "the brightest that is recorded"
            assert "1.0 is the brightest" in each.curve.note


@pytest.mark.parametrize(
    ("name", "light", "percent", "ten_bit", "codes"),
    [
        # BT.709-6, items 1.2 and 5.6: 0.409 of the signal; black 64, white 940.
        ("BT.709", 0.18, 40.9, 422, "legal"),
        ("BT.709", 0.0, 0.0, 64, "legal"),
        ("BT.709", 1.0, 100.0, 940, "legal"),
        # BT.2100-2, table 9, narrow range, with BT.2408, table 1: 38 % and 75 %, 58 %.
        ("BT.2100 HLG", 0.18, 38.0, 396, "legal"),
        ("BT.2100 HLG", 1.0, 75.0, 721, "legal"),
        ("BT.2100 PQ", 0.18, 38.0, 396, "legal"),
        ("BT.2100 PQ", 1.0, 58.0, 573, "legal"),
        # S-2016-001: 0.413588402 of full scale is 423.1 of 1023.
        ("ACEScct", 0.18, 41.4, 423, "full"),
    ],
)
def test_published_code_values(
    name: str, light: float, percent: float, ten_bit: int, codes: Range
) -> None:
    curve = KNOWN.curve(name)
    assert curve.codes == codes
    reading = levels(curve).at(light).recorded
    assert reading.percent == pytest.approx(percent, abs=0.5)  # the Report's whole percents
    assert reading.code(10, codes) == pytest.approx(ten_bit, abs=1)


LOG = {
    "kind": "log", "base": 10.0, "log_side_slope": 0.25, "log_side_offset": 0.6,
    "lin_side_slope": 1.0, "lin_side_offset": 0.01, "lin_side_break": 0.01,
}  # fmt: skip


@given(
    slope=st.floats(0.18, 0.3),
    offset=st.floats(0.55, 0.65),
    codes=st.sampled_from(["full", "legal"]),
    carried=st.sampled_from([None, "full", "legal"]),
    bits=st.sampled_from(BIT_DEPTHS),
)
def test_no_combination_counts_the_legal_scale_twice_or_not_at_all(
    slope: float, offset: float, codes: Range, carried: Range | None, bits: int
) -> None:
    """Black, grey and white of any definition, range and depth, by the closed form."""
    table = LOG | {"log_side_slope": slope, "log_side_offset": offset, "codes": codes}
    found = parse_definitions({"curves": {"Mine": table}}, __file__)  # type: ignore[arg-type]
    curve = Catalogue(found).curve("Mine")
    assert curve.codes == codes
    light = np.array([0.0, 0.18, 1.0])
    plain = CameraLog("plain", **{k: v for k, v in table.items() if isinstance(v, float)})
    formula = plain.encode(light)
    # What the definition's numbers say: legal codes of ten bits over 1023, or the signal.
    signal = (formula * 1023 - 64) / 876 if codes == "legal" else formula
    assert curve.encode(light) == pytest.approx(signal, abs=1e-12)
    end = Encoding(curve, ACES_AP1, carried, bits)  # type: ignore[arg-type]
    assert end.range == (carried or codes)
    task = Conversion(Encoding(KNOWN.curve("linear"), ACES_AP1), end, "curve", clamp=False)
    values = task.pipeline().apply(np.repeat(light[:, None], 3, axis=1))[:, 0]
    unit = 2 ** (bits - 8)
    legal = (16 * unit + 219 * unit * signal) / (2**bits - 1)
    assert values == pytest.approx(legal if end.range == "legal" else signal, abs=1e-12)
    if bits == 10 and carried is None:
        assert values == pytest.approx(formula, abs=1e-12)
    reading = levels(curve).at(0.18).recorded
    assert reading.percent == pytest.approx(100 * signal[1], abs=1e-9)
    if bits in (8, 10, 12):
        assert reading.code(bits, "legal") == pytest.approx(
            16 * unit + 219 * unit * signal[1], abs=0.5 + 1e-6
        )
