"""`compare`: the figures, the sets of test colours, the worst colours."""

from __future__ import annotations

import colour
import numpy as np
import pytest

import lutbench
from lutbench.errors import LutbenchError
from lutbench.measure.comparison import APART_SHARE, compare
from lutbench.measure.samples import random_points
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.hdr import PqScene
from lutbench.model.curves.log import AcesCct
from lutbench.model.curves.video import Bt709, Bt1886
from lutbench.model.gamuts import ACES_AP1, BT709, BT2020
from lutbench.tables.lut import Lut1D, Lut3D
from lutbench.tables.nodes import sample, sample_behind
from lutbench.tables.shaping import Span, shaper_of

SOURCE = Encoding(AcesCct(), ACES_AP1)
LUT = sample(Conversion(SOURCE, Encoding(Bt709(), BT709)).pipeline(), 17)


def test_a_lut_and_itself() -> None:
    found = lutbench.compare(LUT, LUT)
    assert found.overall["delta_e_2000"].max == 0
    assert found.overall["code_10bit"].max == 0
    assert found.worst == ()
    assert [each.code for each in found.explanation] == ["same"]


def test_code_values_of_a_known_offset() -> None:
    found = compare(LUT, Lut3D(LUT.table + 10 / 1023), bits=12)
    data = found.to_data()
    for figure in ("mean", "p95", "p99", "max"):
        assert data["code_10bit"][figure] == pytest.approx(10, abs=1e-9)
        assert data["code_values"][figure] == pytest.approx(10 * 4095 / 1023, abs=1e-9)
    assert data["code_values"]["bits"] == 12


def test_delta_e_of_the_random_colours_against_colour_science() -> None:
    other = Lut3D(np.clip(LUT.table * [1.0, 0.97, 1.02], 0, 1))
    signals = random_points().signals
    labs = [
        colour.XYZ_to_Lab(side.apply(signals) ** 2.4 @ BT709.to_xyz.T, BT709.white)
        for side in (LUT, other)
    ]
    expected = colour.delta_E(*labs, method="CIE 2000")
    found = compare(LUT, other).sets["random"]["delta_e_2000"]
    assert found.mean == pytest.approx(expected.mean(), rel=1e-9)
    assert found.p99 == pytest.approx(np.percentile(expected, 99), rel=1e-9)


def test_a_target_in_pq_is_judged_by_delta_e_itp() -> None:
    target = Encoding(PqScene(), BT2020)
    hdr = sample(Conversion(SOURCE, target).pipeline(), 17)
    found = compare(hdr, Lut3D(hdr.table + 1 / 1023), target=target)
    assert found.view.measure == "delta_e_itp"
    # One 10-bit PQ code on all channels moves I by one code: 720 / 1023 (BT.2124, BT.2100).
    neutral = found.sets["neutral"]["delta_e_itp"]
    assert neutral.p95 == pytest.approx(720 / 1023, rel=1e-3)


def test_both_lattices_are_compared() -> None:
    names = set(compare(LUT, Lut3D.identity(9)).sets)
    assert names == {"chart", "neutral", "random", "nodes of 17", "nodes of 9"}
    wide = Lut3D(LUT.table, [[0, 0, 0], [2, 2, 2]])
    found = compare(LUT, wide)
    assert {"nodes of 17", "nodes of 17 of the second"} <= set(found.sets)
    assert "rows of 5" in compare(LUT, Lut1D(np.linspace(0, 1, 15).reshape(5, 3))).sets


def test_one_damaged_node_is_seen_behind_a_shaper_too() -> None:
    exact = Conversion(SOURCE, Encoding(Bt1886(), BT709)).pipeline()
    whole = sample_behind(exact, shaper_of(AcesCct(), Span(0.001, 1.0, 4096)), 9)
    table = whole.table.copy()
    table[3, 4, 5, 0] += 0.05
    damaged = type(whole)(whole.shaper, Lut3D(table))
    spread = compare(whole, damaged).sets["nodes of 9"]["code_10bit"]
    assert spread.max == pytest.approx(0.05 * 1023, rel=1e-3)


def test_the_worst_colours_are_the_worst_and_lie_apart() -> None:
    table = LUT.table.copy()
    table[8, 8, 8] += 0.2
    table[2, 12, 5] += 0.1
    found = compare(LUT, Lut3D(table), worst=3)
    assert len(found.worst) == 2  # all other differences lie beside these
    assert found.worst[0].input == (0.5, 0.5, 0.5)
    inputs = np.array([each.input for each in found.worst])
    assert np.abs(inputs[0] - inputs[1]).max() >= APART_SHARE
    assert found.worst[0].delta_e_2000 == found.overall["delta_e_2000"].max


def test_assumptions_are_told() -> None:
    assert len(compare(LUT, LUT).assumed) == 2
    assert compare(LUT, LUT, source=SOURCE, target=Encoding(Bt709(), BT709)).assumed == ()


@pytest.mark.parametrize(
    "options", [{"bits": 9}, {"sets": ["greens"]}, {"sets": []}], ids=["bits", "set", "no set"]
)
def test_what_cannot_be_asked(options: dict) -> None:
    with pytest.raises(LutbenchError):
        compare(LUT, LUT, **options)


def test_nodes_alone_of_pipelines_are_nothing_to_compare() -> None:
    exact = Conversion(SOURCE, Encoding(Bt709(), BT709)).pipeline()
    with pytest.raises(LutbenchError, match="no test colours"):
        compare(exact, exact, sets=["nodes"])


def test_one_wrong_grey_is_not_called_invisible() -> None:
    """The word is that of most colours; where others are clearly different, it says so."""
    sound = Lut3D.identity(17)
    table = sound.table.copy()
    table[9, 9, 9] = (1, 0, 0)
    found = compare(sound, Lut3D(table), sets=("random", "nodes"))
    assert found.size == "invisible"
    assert found.words.startswith("Invisible in most colours, clearly visible in some: 95 %")
    assert compare(sound, sound).words.startswith("Invisible: 95 %")


@pytest.mark.parametrize(
    ("gain", "word"),
    [
        (1.0005, "invisible"),
        (1.03, "just visible"),
        (1.12, "clearly visible"),
        (2.0, "another picture"),
    ],
)
def test_the_size_is_a_word_by_colour_sciences_delta_e(gain: float, word: str) -> None:
    """The word by ΔE 2000 of colour-science, with bounds at 1, 3 and 10 (common practice)."""
    from lutbench.model.grade import Cdl

    plain, gained = (Cdl((g, g, g), clamp=False) for g in (1.0, 1 / gain))
    found = compare(plain, gained, sets=("neutral",))
    level = np.linspace(0, 1, 1024)
    ramp = np.repeat(level[:, None], 3, axis=1)
    lab = [
        colour.XYZ_to_Lab(
            colour.RGB_to_XYZ(np.clip(ramp * g, 0, None) ** 2.4, "ITU-R BT.709"),
            colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"],
        )
        for g in (1.0, 1 / gain)
    ]
    p95 = float(np.percentile(colour.delta_E(*lab, method="CIE 2000"), 95))
    bound = {"invisible": (0, 1), "just visible": (1, 3), "clearly visible": (3, 10)}
    low, high = bound.get(word, (10, 1000))
    assert low <= p95 < high
    assert found.size == word
    assert found.to_data()["size"] == word
