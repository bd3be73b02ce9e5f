"""Two views of one scene, and a look in both.

Outside references: colour-science's PQ and ICtCp for what the views show; mid grey of
BT.2100 PQ at 26 cd/m² and white at 203 (Report ITU-R BT.2408, table 1).
"""

from __future__ import annotations

from dataclasses import replace

import colour
import numpy as np
import pytest

from lutbench.errors import LutbenchError
from lutbench.measure.views import MID_GREY_NAME, look_apart, views_apart
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion
from lutbench.model.encoding import Encoding
from lutbench.model.grade import Cdl
from lutbench.model.light import Display
from lutbench.model.tone.shoulder import ToneCurve

KNOWN = open_catalogue(user=False)
SOURCE = Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("ACEScg"))
SDR = Encoding(KNOWN.curve("BT.1886"), KNOWN.gamut("BT.709"))
PQ = Encoding(KNOWN.curve("BT.2100 PQ"), KNOWN.gamut("BT.2020"))
LOOK = (Cdl((1.1, 1.0, 0.92), (0.01, 0.0, -0.01), (1.1, 1.05, 1.0), 1.15, clamp=False),)


def view(target: Encoding, **tone: float) -> Conversion:
    return Conversion(SOURCE, target, tone=ToneCurve.between(SOURCE, target, **tone))


def test_luminance_is_that_of_the_standards() -> None:
    found = views_apart(view(SDR), view(PQ))
    # SDR: light 0.18 of a white at 203; PQ: 26 cd/m² (BT.2408, rounded to 38 %).
    assert found.luminance[0] == pytest.approx([0.18 * 203, 26], rel=0.02)
    shown = np.repeat(found.luminance[0][:, None], 3, axis=1)
    ictcp = colour.RGB_to_ICtCp(shown, method="ITU-R BT.2100-2 PQ")
    wanted = float(colour.delta_E(ictcp[0], ictcp[1], method="ITP"))
    assert found.of(MID_GREY_NAME) == pytest.approx(wanted, rel=1e-3)
    assert len(found.to_data()["patches"]) == 25


def test_the_views_of_the_page_agree_in_grey_and_skin() -> None:
    """The figures of docs/maths/views.md."""
    sdr = view(SDR, grey_out=0.1266, contrast=1.3, shoulder_start=1.2)
    found = views_apart(sdr, view(PQ, shoulder_start=1.0))
    assert found.of(MID_GREY_NAME) < 0.5
    assert found.of("dark skin") < 2
    assert found.of("light skin") < 1.5
    assert views_apart(sdr, sdr).delta_e_itp.max() == 0


def test_a_look_in_log_parts_less_than_one_on_the_result() -> None:
    first, second = view(SDR), view(PQ)
    shares = [
        look_apart(
            replace(first, grade=LOOK, grade_place=place),
            replace(second, grade=LOOK, grade_place=place),
        ).share
        for place in ("before", "after")
    ]
    assert shares[0] < 0.75 * shares[1]
    one = replace(second, grade=LOOK, grade_place="before")
    assert look_apart(one, one).share == 0


def test_a_named_hlg_display_is_a_view() -> None:
    hlg = Encoding(KNOWN.curve("BT.2100 HLG"), PQ.gamut, display=Display(1000))
    found = views_apart(Conversion(SOURCE, hlg), Conversion(SOURCE, PQ))
    # HLG on 1000 cd/m² and PQ's reference OOTF put mid grey within 1 cd/m² of each other.
    assert np.ptp(found.luminance[0]) < 2


def test_bt_709_is_seen_on_its_display() -> None:
    """BT.709-6, item 1.2, note 1: the display of BT.1886; OETF and EOTF by colour-science."""
    camera = Encoding(KNOWN.curve("BT.709"), SDR.gamut)
    found = views_apart(Conversion(SOURCE, camera), view(PQ))
    shown = 203 * colour.models.eotf_BT1886(colour.models.oetf_BT709(0.18))
    assert found.luminance[0, 0] == pytest.approx(float(shown), rel=1e-3)


def test_what_is_no_view_is_refused() -> None:
    with pytest.raises(LutbenchError, match="not the curve of a display"):
        views_apart(Conversion(SOURCE, SOURCE), view(PQ))
    with pytest.raises(LutbenchError, match="has no look"):
        look_apart(view(SDR), view(PQ))
    other = Encoding(SOURCE.curve, KNOWN.gamut("BT.709"))
    with pytest.raises(LutbenchError, match="start from"):
        views_apart(view(SDR), Conversion(other, PQ))
    nothing = (Cdl(clamp=False),)
    with pytest.raises(LutbenchError, match="changes nothing visibly"):
        look_apart(replace(view(SDR), grade=nothing), replace(view(PQ), grade=nothing))
