"""Known ways for two LUTs to differ, each told in plain words, with its figure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lutbench.measure.causes import explain
from lutbench.measure.comparison import compare
from lutbench.measure.delta_e import view_of
from lutbench.measure.guesses import Explanation
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.log import AcesCct
from lutbench.model.curves.video import Bt709, Srgb
from lutbench.model.gamuts import ACES_AP1, BT709
from lutbench.model.signal import RangeFromSignal, SignalFromRange
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.transforms import Transform
from lutbench.tables.lut import Lut1D, Lut3D
from lutbench.tables.nodes import sample

SOURCE = Encoding(AcesCct(), ACES_AP1)
TARGET = Encoding(Bt709(), BT709)
TONE = ToneCurve.between(SOURCE, TARGET)
EXACT = Conversion(SOURCE, TARGET, tone=TONE).pipeline()
LUT = sample(EXACT, 33)
TABLE = LUT.table


def _lut(table: np.ndarray) -> Lut3D:
    return Lut3D(np.ascontiguousarray(table))


def _file_rows(table: np.ndarray) -> np.ndarray:
    """The rows as a .cube file has them, red fastest."""
    return np.swapaxes(table, 0, 2).reshape(-1, 3)


def _of_file_rows(rows: np.ndarray) -> Lut3D:
    return _lut(np.swapaxes(rows.reshape(33, 33, 33, 3), 0, 2))


def _one_node(amount: float = 0.01) -> Lut3D:
    table = TABLE.copy()
    table[10, 11, 12, 1] += amount
    return _lut(table)


def _saturated(amount: float) -> Lut3D:
    luma = (TABLE @ np.array(BT709.luminance_weights))[..., None]
    return _lut(np.clip(luma + amount * (TABLE - luma), 0, 1))


def _channel(gain: float) -> Lut3D:
    return _lut(TABLE * [1, 1, gain])


ROWS = _file_rows(TABLE)
LEGAL_OUT, LEGAL_IN = RangeFromSignal("legal"), SignalFromRange("legal")

CASES: dict[str, tuple[Transform, str, float | None]] = {
    "six decimals": (_lut(np.round(TABLE, 6)), "same", None),
    "one node": (_one_node(), "few_nodes", 1.0),
    "gain of half a percent": (_lut(TABLE * 1.005), "output_gain", 1.005),
    "offset": (_lut(TABLE + 0.01), "output_offset", 0.01),
    "power": (_lut(TABLE**1.1), "output_power", 1.1),
    "saturation": (_saturated(0.9), "output_saturation", 0.9),
    "a channel": (_channel(0.98), "output_channel_gains", None),
    "outputs swapped": (_lut(TABLE[..., ::-1]), "output_channels", None),
    "inputs swapped": (_lut(TABLE.transpose(1, 2, 0, 3)), "input_channels", None),
    "nodes in the other order": (_lut(TABLE.transpose(2, 1, 0, 3)), "node_order", None),
    "both swapped": (_lut(TABLE.transpose(1, 0, 2, 3)[..., [1, 0, 2]]), "all_channels", None),
    "legal out": (_lut(LEGAL_OUT.apply(TABLE)), "output_range_legal", None),
    "legal out read as full": (
        _lut(np.clip(LEGAL_IN.apply(TABLE), 0, 1)),
        "output_range_full",
        None,
    ),
    "legal in": (sample(LEGAL_IN | EXACT, 33), "input_range_full", None),
    "legal in and out": (sample(LEGAL_IN | EXACT | LEGAL_OUT, 33), "input_and_output_range", None),
    "8 bit": (_lut(np.rint(TABLE * 255) / 255), "rounding", 8.0),
    "10 bit": (_lut(np.rint(TABLE * 1023) / 1023), "rounding", 10.0),
    "17 nodes": (sample(EXACT, 17), "size", None),
    "resampled": (sample(LUT, 32), "size", None),
    "trilinear": (LUT.with_interpolation("trilinear"), "interpolation", None),
    "exact": (EXACT, "between_nodes", None),
    "half a stop": (
        sample(Conversion(SOURCE, TARGET, exposure=0.5, tone=TONE).pipeline(), 33),
        "exposure",
        0.5,
    ),
    "another display": (
        sample(Conversion(SOURCE, Encoding(Srgb(), BT709), tone=TONE).pipeline(), 33),
        "output_curve",
        None,
    ),
    "another domain": (Lut3D(TABLE, [[0, 0, 0], [0.9, 0.9, 0.9]]), "domain", None),
    "a line lost": (
        _of_file_rows(np.concatenate([ROWS[:500], ROWS[501:], ROWS[-1:]])),
        "shifted_rows",
        None,
    ),
}


def _first(other: Transform) -> Explanation:
    found = compare(LUT, other, source=SOURCE, target=TARGET, sets=["chart"]).explanation
    assert found, "no reason was found"
    return found[0]


@pytest.mark.parametrize("case", CASES)
def test_simple_reasons(case: str) -> None:
    other, code, amount = CASES[case]
    found = _first(other)
    assert found.code == code, found.text
    if amount is not None:
        # A stop is found by trial on interpolated tables; the rest are exact fits.
        assert found.amount == pytest.approx(amount, abs=0.005 if code == "exposure" else 1e-6)


def test_the_channels_that_differ_are_named() -> None:
    found = compare(LUT, _channel(0.98), source=SOURCE, target=TARGET).explanation
    assert found[-1].text == "only B of the output differs"


def test_a_lost_line_is_named() -> None:
    assert "from row 501 " in _first(CASES["a line lost"][0]).text


def test_a_difference_that_is_not_simple_is_not_explained() -> None:
    rng = np.random.default_rng(5)
    noisy = _lut(np.clip(TABLE + rng.normal(0, 0.02, TABLE.shape), 0, 1))
    warped = sample(Conversion(SOURCE, TARGET, adaptation="none").pipeline(), 33)
    for other in (noisy, warped):
        assert compare(LUT, other, source=SOURCE, target=TARGET).explanation == ()


def test_one_dimension() -> None:
    rows = np.repeat(np.linspace(0, 1, 64)[:, None] ** 1.3, 3, axis=1)
    damaged = rows.copy()
    damaged[20] += 0.01
    (found,) = compare(Lut1D(rows), Lut1D(damaged)).explanation
    assert (found.code, found.amount) == ("few_nodes", 1.0)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("bounds", [(0.0, 1.0), (64 / 1023, 940 / 1023)])
def test_a_clamp_is_named_when_it_is_the_cause(turned: bool, bounds: tuple[float, float]) -> None:
    """numpy's clip of the same table."""
    free = sample(replace(Conversion(SOURCE, TARGET), clamp=False).pipeline(), 17)
    held = Lut3D(np.clip(free.table, *bounds))
    sides = (held, free) if turned else (free, held)
    first = explain(*sides, view_of(TARGET), SOURCE)[0]
    assert first.code == "clamp"
    assert f"{'A is B' if turned else 'B is A'} clipped to {round(bounds[0], 4):g}" in first.text
