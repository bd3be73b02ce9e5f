"""Levels in cd/m² against colour-science's display curves.

Anchor points: Report ITU-R BT.2408, table 1 (58 % PQ and 75 % HLG are 203 cd/m²; HLG on 1000).
"""

from __future__ import annotations

import dataclasses

import colour
import numpy as np
import pytest

import lutbench
from lutbench.cli.main import main
from lutbench.errors import DefinitionError, LutbenchError
from lutbench.exposure.levels import levels
from lutbench.exposure.luminance import shown_on
from lutbench.model.catalogue import open_catalogue
from lutbench.model.gamuts import BT709
from lutbench.model.light import Display

KNOWN = open_catalogue(user=False)


@pytest.mark.parametrize("name", ["ST 2084", "BT.2100 PQ"])
def test_pq_is_absolute_and_ends_at_the_display(name: str) -> None:
    shown = shown_on(KNOWN.curve(name), Display(600.0, 0.01))
    for signal in (0.0, 0.1, 0.38, 0.58, 0.69, 0.9):
        wanted = np.clip(colour.models.eotf_ST2084(signal), 0.01, 600)
        assert shown.luminance([signal] * 3) == pytest.approx(float(wanted), rel=1e-6)


@pytest.mark.parametrize("peak", [400.0, 1000.0, 2000.0])
@pytest.mark.parametrize("black", [0.0, 0.05])
def test_hlg_goes_through_its_system_gamma(peak: float, black: float) -> None:
    shown = shown_on(KNOWN.curve("BT.2100 HLG"), Display(peak, black))
    for signal in (0.1, 0.38, 0.75, 1.0):
        grey = np.full(3, signal)
        wanted = colour.models.eotf_BT2100_HLG(grey, black, peak, method="ITU-R BT.2100-2")
        assert shown.luminance(grey) == pytest.approx(float(wanted[1]), rel=1e-4)


def test_a_brighter_surround_brings_out_the_shadows() -> None:
    """Report ITU-R BT.2390-8, 6.2: the system gamma times 0.98^log2(surround / 5)."""
    light = float(colour.models.oetf_inverse_BT2100_HLG(0.38))
    for surround in (5.0, 20.0):
        shown = shown_on(KNOWN.curve("BT.2100 HLG"), Display(1000.0, 0.0, surround))
        wanted = 1000 * light ** (1.2 * 0.98 ** np.log2(surround / 5))
        assert shown.luminance([0.38] * 3) == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize("name", ["BT.709", "BT.1886"])
def test_standard_range_is_bt_1886_s(name: str) -> None:
    shown = shown_on(KNOWN.curve(name), Display(120.0, 0.1))
    for signal in (0.0, 0.2, 0.409, 1.0):
        wanted = float(colour.models.eotf_BT1886(signal, 0.1, 120.0))
        assert shown.luminance([signal] * 3) == pytest.approx(wanted, rel=1e-6)


def test_after_a_lut_its_result_is_what_is_watched() -> None:
    day = lutbench.levels(
        "ACEScct",
        "ACEScct, ACEScg to BT.1886, BT.709; tone=shoulder",
        display=Display(100.0),
    )
    assert day.at(0.18).luminance == pytest.approx(18, rel=1e-3)
    assert day.to_data()["display"]["peak"] == 100
    plain = lutbench.levels("BT.2100 HLG", display=Display(1000.0))
    assert plain.at(1.0).luminance == pytest.approx(203, rel=3e-3)
    assert levels(KNOWN.curve("BT.2100 HLG")).at(1.0).luminance is None


def test_colours_count_by_their_gamut() -> None:
    shown = shown_on(KNOWN.curve("BT.1886"), Display(100.0), BT709)
    # Recommendation ITU-R BT.709-6, item 3.2: 0.2126 of luminance is red.
    assert shown.luminance([1.0, 0.0, 0.0]) == pytest.approx(21.26, abs=0.01)


def test_what_has_no_luminance_is_refused() -> None:
    with pytest.raises(DefinitionError, match="not a curve that displays show"):
        shown_on(KNOWN.curve("ACEScct"), Display(100.0))
    lut = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=5)
    lut = dataclasses.replace(lut, comments=())
    with pytest.raises(LutbenchError, match="output is not known"):
        lutbench.levels("ACEScct", lut, display=Display(100.0))


def test_the_command_prints_it(capsys: pytest.CaptureFixture[str]) -> None:
    args = ["levels", "--curve", "BT.2100 HLG", "--display-peak", "1000"]
    for more, wanted in (([], "cd/m²"), (["--csv"], "luminance_cd_m2")):
        with pytest.raises(SystemExit) as ended:
            main([*args, *more])
        assert not ended.value.code
        assert wanted in capsys.readouterr().out
    with pytest.raises(SystemExit) as ended:
        main(["levels", "--curve", "BT.2100 HLG", "--surround", "10"])
    assert ended.value.code == 2
