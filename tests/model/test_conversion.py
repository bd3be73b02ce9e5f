"""Whole conversions against colour-science's own."""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lutbench.errors import DefinitionError, LutbenchError
from lutbench.model.catalogue import Catalogue
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.hdr import HlgScene
from lutbench.model.light import Display
from lutbench.model.tone.eetf import Eetf
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.transforms import Clamp, Matrix, Pipeline, Transform
from lutbench.tables.lut import lattice
from lutbench.tables.nodes import sample

pytestmark = pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning:colour")

KNOWN = Catalogue()
NODES = lattice(9)

TARGETS = {
    "BT.709": colour.models.oetf_BT709,
    "BT.1886": colour.models.eotf_inverse_BT1886,
    "sRGB": colour.models.eotf_inverse_sRGB,
    "BT.2100 HLG": lambda light: colour.models.oetf_BT2100_HLG(light * HlgScene.WHITE_SCALE),
    # Scene light comes to the light of ST 2084 through the reference OOTF of BT.2100.
    "ST 2084": lambda light: colour.models.oetf_BT2100_PQ(np.maximum(light, 0) * PQ_WHITE),
}
PQ_WHITE = colour.models.ootf_inverse_BT2100_PQ(203)
WIDE = ["ACES2065-1", "ACEScg", "ITU-R BT.2020", "P3-D65"]


def ends(source: str, source_gamut: str, target: str, target_gamut: str) -> dict[str, Encoding]:
    return {
        "source": Encoding(KNOWN.curve(source), KNOWN.gamut(source_gamut)),
        "target": Encoding(KNOWN.curve(target), KNOWN.gamut(target_gamut)),
    }


def logs() -> list[str]:
    usable = {each.name for each in KNOWN.usable_curves}
    return [name for name in colour.LOG_ENCODINGS if name in usable]


@pytest.mark.parametrize("name", logs())
def test_every_registered_log_to_every_target(name: str) -> None:
    """decode, matrix, encode and clamp by colour-science, to the nodes of our LUT."""
    light = colour.log_decoding(NODES, function=name)
    for index, (target, encode) in enumerate(TARGETS.items()):
        gamut = WIDE[index % len(WIDE)]
        spaces = [colour.RGB_COLOURSPACES[gamut], colour.RGB_COLOURSPACES["ITU-R BT.709"]]
        matrix = colour.matrix_RGB_to_RGB(*spaces, chromatic_adaptation_transform="Bradford")
        expected = np.clip(encode(colour.algebra.vecmul(matrix, light)), 0, 1)
        task = Conversion(**ends(name, gamut, target, "BT.709"))
        lut = sample(task.pipeline(), 9)
        # Both are float64. BT.709 in colour-science steps by 2.5e-4 at light 0.018
        # exactly; away from the step they agree to the matrix's rounding.
        assert lut.table == pytest.approx(expected, abs=2e-6), (target, gamut)


def test_the_kinds_leave_alone_what_they_should() -> None:
    both = ends("ACEScct", "ACEScg", "BT.1886", "BT.709")
    grey = np.repeat(np.linspace(0, 1, 101)[:, None], 3, axis=1)
    gamut = Conversion(**both, kind="gamut").pipeline().apply(grey)
    # White-preserving matrices: a gamut-only conversion leaves the neutral axis alone.
    assert gamut == pytest.approx(grey, abs=1e-9)
    curve = Conversion(**both, kind="curve").pipeline()
    alone = curve.apply(NODES)
    for channel in range(3):
        axis = curve.apply(np.repeat(np.linspace(0, 1, 9)[:, None], 3, axis=1))[:, channel]
        shape = [1, 1, 1]
        shape[channel] = 9
        assert alone[..., channel] == pytest.approx(
            np.broadcast_to(axis.reshape(shape), (9, 9, 9)), abs=1e-12
        )
    assert Conversion(**both, kind="gamut").result.curve.name == "ACEScct"
    assert Conversion(**both, kind="curve").result.gamut.name == "ACES AP1"


def test_legal_range_on_either_side() -> None:
    full = Conversion(**ends("ACEScct", "ACEScg", "BT.1886", "BT.709")).pipeline()
    both = ends("ACEScct", "ACEScg", "BT.1886", "BT.709")
    source = Encoding(both["source"].curve, both["source"].gamut, "legal")
    target = Encoding(both["target"].curve, both["target"].gamut, "legal")
    signal = np.random.default_rng(8).random((100, 3))
    legal_in = (64 + 876 * signal) / 1023
    assert Conversion(source, both["target"]).pipeline().apply(legal_in) == pytest.approx(
        full.apply(signal), abs=1e-12
    )
    legal_out = Conversion(both["source"], target).pipeline().apply(signal)
    assert legal_out == pytest.approx((64 + 876 * full.apply(signal)) / 1023, abs=1e-12)


def test_without_clamp_headroom_is_kept() -> None:
    both = ends("ACEScct", "ACEScg", "BT.1886", "BT.709")
    assert Conversion(**both, clamp=False).pipeline().apply(NODES).max() > 1.5
    assert Conversion(**both).pipeline().apply(NODES).max() == 1.0


def test_exposure_moves_light_by_stops() -> None:
    both = ends("ACEScct", "ACEScg", "linear", "ACEScg")
    grey = KNOWN.curve("ACEScct").encode([0.18] * 3)
    for stops in (-2.0, 1.5):
        out = Conversion(**both, exposure=stops).pipeline().apply(grey)
        assert out == pytest.approx(0.18 * 2**stops, rel=1e-9)


def test_hdr_reference_levels_to_standard_range() -> None:
    """Report ITU-R BT.2408: 203 cd/m² is the white of standard range, and back."""
    up = Conversion(**ends("BT.1886", "BT.709", "ST 2084", "BT.2020")).pipeline()
    assert up.apply([1.0, 1.0, 1.0]) == pytest.approx(0.58069, abs=5e-6)
    down = Conversion(
        **ends("ST 2084", "BT.2020", "BT.1886", "BT.709"), tone=Eetf(1000, 203)
    ).pipeline()
    peak = KNOWN.curve("ST 2084").encode(1000 / 203)
    assert down.apply([peak] * 3) == pytest.approx(1.0, abs=1e-9)


def test_eetf_on_a_pq_target_works_on_display_light() -> None:
    task = Conversion(**ends("ACEScct", "ACEScg", "BT.2100 PQ", "BT.2020"), tone=Eetf(10000, 600))
    out = task.pipeline().apply(np.repeat(np.linspace(0, 1, 200)[:, None], 3, axis=1))
    # 600 cd/m² in PQ: SMPTE ST 2084
    assert out.max() == pytest.approx(colour.models.eotf_inverse_ST2084(600, 10000), abs=1e-5)


def test_hlg_display_light() -> None:
    peak = Encoding(KNOWN.curve("BT.2100 HLG"), KNOWN.gamut("BT.2020"), display=Display(1000.0))
    target = Encoding(KNOWN.curve("ST 2084"), KNOWN.gamut("BT.2020"))
    out = Conversion(peak, target).pipeline().apply([0.75, 0.75, 0.75])
    # Report ITU-R BT.2408, table 1: 75 % HLG and 58 % PQ are both 203 cd/m².
    # The table rounds to whole cd/m²; half of one there is 2.6e-4 of PQ signal.
    assert out == pytest.approx(0.58069, abs=2.6e-4)
    back = Conversion(target, peak).pipeline().apply(out)
    assert back == pytest.approx(0.75, abs=1e-9)
    with pytest.raises(DefinitionError, match="a display has no meaning"):
        Encoding(KNOWN.curve("ACEScct"), KNOWN.gamut("BT.709"), display=Display(1000.0))


def test_what_does_not_go_together_is_refused() -> None:
    both = ends("ACEScct", "ACEScg", "BT.1886", "BT.709")
    for wrong, message in (
        ({"kind": "gamut", "tone": ToneCurve()}, "has no tone"),
        ({"kind": "curve", "compression": GamutCompression()}, "does not change the gamut"),
        ({"kind": "both"}, "combined, curve, gamut"),
        ({"grade_place": "middle"}, "before, light, after"),
    ):
        with pytest.raises(LutbenchError, match=message):
            Conversion(**both, **wrong)  # type: ignore[arg-type]


def test_a_description_is_plain_data() -> None:
    import json

    both = ends("ACEScct", "ACEScg", "BT.1886", "BT.709")
    tone = ToneCurve.between(both["source"], both["target"])
    data = Conversion(**both, tone=tone, compression=GamutCompression()).to_data()
    assert json.loads(json.dumps(data)) == data
    assert data["tone"]["kind"] == "tone_curve"
    pipeline = Conversion(**both).pipeline()
    assert json.loads(json.dumps(pipeline.to_data()))["kind"] == "pipeline"


pixels = arrays(np.float64, (6, 3), elements=st.floats(-0.5, 1.5))


@settings(max_examples=40, deadline=None)
@given(pixels, st.permutations(["m", "c", "e"]))
def test_composition_is_associative(rgb: np.ndarray, order: list[str]) -> None:  # type: ignore[type-arg]
    steps: dict[str, Transform] = {
        "m": Matrix.from_array(np.diag([0.5, 1.5, 2.0]) + 0.1),
        "c": Clamp(0, 1),
        "e": Conversion(**ends("ACEScct", "ACEScg", "sRGB", "BT.709")).pipeline(),
    }
    a, b, c = (steps[key] for key in order)
    assert ((a | b) | c) == (a | (b | c))
    assert isinstance(a | b | c, Pipeline)
    assert ((a | b) | c).apply(rgb).tobytes() == (a | (b | c)).apply(rgb).tobytes()


@settings(max_examples=30, deadline=None)
@given(arrays(np.float64, (6, 3), elements=st.floats(0.2, 0.7)))
def test_a_pipeline_and_its_inverse_are_nothing(rgb: np.ndarray) -> None:  # type: ignore[type-arg]
    task = Conversion(**ends("ACEScct", "ACEScg", "sRGB", "BT.709"), exposure=0.5, clamp=False)
    pipeline = task.pipeline()
    assert pipeline.inverse().apply(pipeline.apply(rgb)) == pytest.approx(rgb, abs=1e-9)
