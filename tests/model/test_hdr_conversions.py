"""The conversions between SDR, PQ and HLG that Report ITU-R BT.2408 describes, by their names.

Derived a second time from Recommendations ITU-R BT.709, BT.1886 and BT.2100 with
colour-science's curves; anchor points from Report ITU-R BT.2408, table 1 (38 %, 58 %, 75 %).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import colour
import numpy as np
import pytest

from lutbench.errors import NotInvertibleError
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion
from lutbench.model.tone.gamma_adjust import GammaAdjust
from lutbench.recipes.make import comments_for, quick_job
from lutbench.recipes.settings import Settings

# colour-science takes the logarithm of what its other piece then stands for.
pytestmark = pytest.mark.filterwarnings("ignore:invalid value encountered in log")

KNOWN = open_catalogue(user=False)
WEIGHTS = np.array([0.2627, 0.6780, 0.0593])
SIGNAL = np.random.default_rng(6).uniform(0.02, 0.98, (300, 3))


def converted(source: str, target: str, signal: object, **more: Any) -> np.ndarray:  # type: ignore[type-arg]
    settings = Settings(
        source_curve=source,
        source_gamut="BT.2020",
        target_curve=target,
        target_gamut="BT.2020",
        **more,  # type: ignore[typeddict-item]
    )
    job = quick_job(settings, KNOWN)
    return np.asarray(job.transform().apply(signal))


def hlg_signal(display: np.ndarray, peak: float) -> np.ndarray:  # type: ignore[type-arg]
    """Display light in cd/m² to HLG: BT.2100-2, table 5, inverse OOTF and OETF."""
    gamma = 1.2 + 0.42 * np.log10(peak / 1000)
    relative = display / peak
    luminance = (relative @ WEIGHTS)[..., None]
    scene = luminance ** ((1 - gamma) / gamma) * relative
    return np.asarray(colour.models.oetf_BT2100_HLG(scene))


def hlg_display(signal: np.ndarray, peak: float) -> np.ndarray:  # type: ignore[type-arg]
    """HLG to the light of a display of that peak, black 0."""
    gamma = 1.2 + 0.42 * np.log10(peak / 1000)
    scene = colour.models.oetf_inverse_BT2100_HLG(signal)
    return np.asarray(peak * (scene @ WEIGHTS)[..., None] ** (gamma - 1) * scene)


def test_sdr_into_pq_display_referred() -> None:
    """BT.1886 light with its white at HDR reference white, 203 cd/m²."""
    expected = colour.models.eotf_inverse_ST2084(203 * SIGNAL**2.4)
    assert converted("BT.1886", "ST 2084", SIGNAL) == pytest.approx(expected, abs=1e-6)
    assert converted("BT.1886", "ST 2084", [[1.0] * 3])[0, 0] == pytest.approx(0.58, abs=0.002)


def test_sdr_into_hlg_display_referred() -> None:
    expected = hlg_signal(203 * SIGNAL**2.4, 1000)
    found = converted("BT.1886", "BT.2100 HLG", SIGNAL, target_display_peak=1000.0)
    # colour-science's luminance weights have more digits than the four of the table.
    assert found == pytest.approx(expected, abs=5e-5)
    white = converted("BT.1886", "BT.2100 HLG", [[1.0] * 3], target_display_peak=1000.0)
    assert white[0, 0] == pytest.approx(0.75, abs=0.002)


def test_sdr_scene_referred() -> None:
    """BT.709 camera light with its white at 75 % HLG and 58 % PQ."""
    light = colour.models.oetf_inverse_BT709(SIGNAL)
    white = float(colour.models.oetf_inverse_BT2100_HLG(0.75))
    expected = colour.models.oetf_BT2100_HLG(light * white)
    # BT.709's two pieces meet with a step of 0.00025 in signal.
    assert converted("BT.709", "BT.2100 HLG", SIGNAL) == pytest.approx(expected, abs=5e-4)
    for target, wanted in (("BT.2100 HLG", 0.75), ("BT.2100 PQ", 0.58)):
        assert converted("BT.709", target, [[1.0] * 3])[0, 0] == pytest.approx(wanted, abs=0.002)
        grey = float(KNOWN.curve("BT.709").encode(0.18))
        assert converted("BT.709", target, [[grey] * 3])[0, 0] == pytest.approx(0.38, abs=0.003)


@pytest.mark.parametrize("peak", [600.0, 1000.0, 2000.0])
def test_pq_and_hlg_at_a_named_peak(peak: float) -> None:
    light = hlg_display(SIGNAL, peak)
    pq = colour.models.eotf_inverse_ST2084(light)
    there = converted("BT.2100 HLG", "ST 2084", SIGNAL, source_display_peak=peak)
    assert there == pytest.approx(pq, abs=5e-5)
    back = converted("ST 2084", "BT.2100 HLG", there, target_display_peak=peak)
    assert back == pytest.approx(SIGNAL, abs=1e-9)
    # The peak of either is the peak of the other.
    assert converted(
        "BT.2100 HLG", "ST 2084", [[1.0] * 3], source_display_peak=peak
    ) == pytest.approx(colour.models.eotf_inverse_ST2084(peak) * np.ones((1, 3)), abs=1e-6)


@pytest.mark.parametrize(("source", "target"), [(600.0, 1000.0), (1000.0, 600.0), (1500.0, 450.0)])
def test_a_gamma_adjustment_is_what_hlg_does_between_displays(source: float, target: float) -> None:
    """BT.2100-2's OOTF undone for one peak and done for the other, by colour-science."""
    signal = SIGNAL[:50]
    light = np.array([hlg_display(each, source) for each in signal])
    wanted = np.array([hlg_display(each, target) for each in signal])
    found = GammaAdjust(source, target).apply(light)
    assert found == pytest.approx(wanted, rel=1e-4)
    # So the HLG signal of the adjusted light is the one that it came from.
    same = converted(
        "BT.2100 HLG",
        "BT.2100 HLG",
        signal,
        source_display_peak=source,
        target_display_peak=target,
        tone="gamma-adjust",
    )
    assert same == pytest.approx(signal, abs=1e-9)


def test_a_gamma_adjustment_of_sdr() -> None:
    """BT.2100-2, table 5, note 5f: 1.111 for each doubling, so 1.111^log2(2.03) from 100 to 203."""
    adjust = GammaAdjust()
    assert adjust.power == pytest.approx(1.111 ** np.log2(2.03), rel=1e-12)
    white = converted("BT.1886", "ST 2084", [[1.0] * 3], tone="gamma-adjust")
    assert white[0, 0] == pytest.approx(0.58, abs=0.002)
    assert converted(
        "BT.1886", "BT.2100 HLG", [[1.0] * 3], tone="gamma-adjust", target_display_peak=1000.0
    )[0, 0] == pytest.approx(0.75, abs=0.002)
    orange = np.array([80.0, 20.0, 5.0])
    found = adjust.apply(orange)
    # Chromaticity stays, luminance goes by the power.
    assert found / found.sum() == pytest.approx(orange / orange.sum(), rel=1e-9)
    luminance = 203 * (orange @ WEIGHTS / 100) ** adjust.power
    assert found @ WEIGHTS == pytest.approx(luminance, rel=1e-4)
    assert adjust.inverse().apply(found) == pytest.approx(orange, rel=1e-12)
    surround = GammaAdjust(1000.0, 1000.0, 5.0, 20.0)
    assert surround.power == pytest.approx(0.98**2)  # Report ITU-R BT.2390-8, 6.2: two doublings


PEAKS = {"source_display_peak": 1e3, "target_display_peak": 1e2}
ENDS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("BT.1886", "ST 2084", {}),
    ("BT.1886", "BT.2100 HLG", {"target_display_peak": 1000.0}),
    ("BT.709", "BT.2100 PQ", {}),
    ("BT.709", "BT.2100 HLG", {}),
    ("BT.2100 HLG", "ST 2084", {"source_display_peak": 1000.0}),
    ("ST 2084", "BT.2100 HLG", {"target_display_peak": 1000.0}),
    ("BT.1886", "ST 2084", {"tone": "gamma-adjust"}),
    ("BT.2100 HLG", "BT.1886", PEAKS | {"tone": "gamma-adjust"}),
    ("ST 2084", "BT.1886", PEAKS | {"tone": "bt2446-a"}),
    ("ST 2084", "BT.1886", PEAKS | {"tone": "bt2446-c"}),
)


@pytest.mark.parametrize(("source", "target", "more"), ENDS, ids=lambda each: str(each))
def test_each_has_an_inverse_and_says_what_it_means(
    source: str, target: str, more: dict[str, Any]
) -> None:
    ends = {"source_curve": source, "target_curve": target}
    settings: Any = {**ends, "source_gamut": "BT.2020", "target_gamut": "BT.2020", **more}
    job = quick_job(settings, KNOWN)
    task = job.task
    assert isinstance(task, Conversion)
    there = replace(task, clamp=False).pipeline().apply(SIGNAL)
    # A break of BT.709's rounded constants is 0.00025 wide (BT.709-6, item 1.2).
    assert task.inverse().apply(there) == pytest.approx(SIGNAL, abs=1e-9)
    # The side of light and the peaks stand in what a LUT says of itself.
    comments = " ".join(comments_for(job, ""))
    for name in ("source_display_peak", "target_display_peak"):
        if name in more:
            assert f"on a display of {more[name]:g} cd/m²" in comments
    assert {task.meeting.source, task.meeting.target} <= {"scene", "display"}
    assert task.tone is None or task.tone.side == "display"


def test_an_eetf_says_that_it_has_no_inverse() -> None:
    settings: Any = {"source_curve": "ST 2084", "target_curve": "BT.1886", "tone": "eetf"}
    settings |= {"source_gamut": "BT.2020", "target_gamut": "BT.2020", "target_display_peak": 100.0}
    task = quick_job(settings, KNOWN).task
    assert isinstance(task, Conversion)
    with pytest.raises(NotInvertibleError, match="flattens at the target peak"):
        task.inverse()
