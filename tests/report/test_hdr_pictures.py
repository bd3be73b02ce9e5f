"""What comes out in HDR is shown on a page toned down, and said to be."""

from __future__ import annotations

from typing import Any

import colour
import numpy as np
import pytest

from lutbench.inspection.inspection import inspect
from lutbench.media.sheet import lut_sheet
from lutbench.media.subjects import photograph, still_of
from lutbench.media.toned import LABEL, for_page, is_hdr
from lutbench.model.catalogue import open_catalogue
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709, BT2020
from lutbench.recipes.make import build
from lutbench.report.page import page_html
from lutbench.report.pictures import our_still, shown_lut, shown_through
from lutbench.report.set_sheet import set_sheet_html

KNOWN = open_catalogue(user=False)
ENDS: dict[str, Any] = {"source_gamut": "ACES AP1", "target_gamut": "BT.2020", "size": 17}


@pytest.mark.parametrize("name", ["BT.2100 PQ", "ST 2084", "BT.2100 HLG"])
def test_white_is_as_bright_as_the_report_says(name: str) -> None:
    """Reference white, 203 cd/m² (Report ITU-R BT.2408), through method A of BT.2446-1.

    The steps of the method are done here a second time, for a neutral: from memory of the Report.
    """
    signal = 0.75 if "HLG" in name else float(colour.models.eotf_inverse_ST2084(203.0))
    shown = for_page(np.full((1, 1, 3), signal), Encoding(KNOWN.curve(name), BT2020))
    luma = (203 / 1000) ** (1 / 2.4)
    rho = 1 + 32 * (1000 / 10000) ** (1 / 2.4)
    perceived = np.log(1 + (rho - 1) * luma) / np.log(rho)
    knee = (
        1.077 * perceived
        if perceived <= 0.7399
        else -1.151 * perceived**2 + 2.7811 * perceived - 0.6302
    )
    rho_sdr = 1 + 32 * (100 / 10000) ** (1 / 2.4)
    expected = (rho_sdr**knee - 1) / (rho_sdr - 1)
    # Method A takes 1/1.1 of chroma from luma: none for a neutral.
    np.testing.assert_allclose(shown, expected, atol=0.01)


def test_sdr_is_left_as_it_is() -> None:
    picture = np.random.default_rng(2).random((4, 4, 3)).astype(np.float32)
    sdr = Encoding(KNOWN.curve("BT.1886"), BT709)
    assert not is_hdr(sdr)
    np.testing.assert_array_equal(for_page(picture, sdr), picture)


@pytest.mark.slow
def test_a_page_labels_it() -> None:
    for target in ("BT.2100 PQ", "BT.1886"):
        found = inspect(build("ACEScct", target, **ENDS))
        assert (LABEL in page_html(found)) is (target != "BT.1886")


def test_a_set_sheet_labels_it() -> None:
    pq = inspect(build("ACEScct", "BT.2100 PQ", **ENDS))
    sdr = inspect(build("ACEScct", "BT.1886", **ENDS))
    assert set_sheet_html([pq, sdr]).count(LABEL) == 1
    still = our_still(pq)
    shown = shown_through(pq, still.signal())
    raw = np.asarray(pq.lut.apply(still.signal()))
    # A PQ signal taken for SDR hardly ever passes 58 %; toned down, highlights come near white.
    assert raw.max() < 0.8
    assert np.quantile(shown, 0.999) > 0.8


def test_a_contact_sheet_shows_it_too() -> None:
    pq = inspect(build("ACEScct", "BT.2100 PQ", **ENDS))
    still = still_of(photograph()[::8, ::8])
    label, toned = shown_lut(pq)
    assert LABEL in label
    plain, shown = (lut_sheet(still, [("x", lut)]) for lut in (pq.lut, toned))
    assert plain.shape == shown.shape
    assert not np.array_equal(plain, shown)
