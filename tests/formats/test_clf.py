"""CLF: as operators, run by colour-clf-io's own processor, read back; the standard's examples."""

from __future__ import annotations

from pathlib import Path

import colour
import colour_clf_io as clf
import numpy as np
import pytest
from colour.models.rgb.transfer_functions import (
    exponent_function_basic,
    exponent_function_monitor_curve,
    logarithmic_function_camera,
    logarithmic_function_quasilog,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

import lutbench
from lutbench.errors import FormatError, MissingExtraError
from lutbench.formats.clf_read import parse_clf
from lutbench.formats.clf_write import format_clf
from lutbench.formats.operators import Channels, Exponent, HalfLut1D, Log, Range
from lutbench.model.catalogue import Catalogue
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.base import Decode, Encode
from lutbench.model.curves.hdr import PqScene
from lutbench.model.curves.log import AcesCc, AcesCct, CameraLog, PrintingDensity
from lutbench.model.curves.video import BT2020_12_BIT, Bt709, Bt1886, Linear, Power, Srgb
from lutbench.model.grade import Cdl, Exposure, Saturation
from lutbench.model.signal import RangeFromSignal, SignalFromRange
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.transforms import Clamp, Matrix, Pipeline, Transform
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, lattice

RGB = np.random.default_rng(20).random((200, 3))
WIDE = np.random.default_rng(21).normal(0.3, 0.6, (200, 3))
MIX = Matrix(((0.7, 0.2, 0.1), (-0.1, 1.2, -0.1), (0.05, 0.15, 0.8)), (0.01, 0.0, -0.02))
TARN_LOG = CameraLog(
    "Tarn Log",
    base=10.0,
    log_side_slope=0.26,
    log_side_offset=0.55,
    lin_side_slope=1.05,
    lin_side_offset=0.012,
    lin_side_break=0.008,
)


def by_processor(data: bytes, rgb: np.ndarray) -> np.ndarray:
    """The file run by colour-clf-io's processor, which takes one colour at a time."""
    processor = clf.CLFProcessList(clf.read_clf(data))
    # It raises negative numbers to a power and then does not use the result.
    with np.errstate(invalid="ignore"):
        return np.array([processor.apply(pixel) for pixel in rgb])


EXACT: dict[str, Transform] = {
    "matrix": MIX.__class__(MIX.rows),
    "exposure": Exposure(-1.5),
    "saturation": Saturation(0.4),
    "clamp": Clamp(),
    "clamp below": Clamp(0.0, np.inf),
    "range in": SignalFromRange("legal"),
    "range out": RangeFromSignal("legal", 8),
    "CDL": Cdl((1.1, 1.0, 0.9), (-0.03, 0.02, 0.0), (1.25, 1.0, 0.8), 1.3),
    "CDL, not clamped": Cdl((1.1, 1.0, 0.9), (-0.03, 0.02, 0.0), (1.25, 1, 0.8), 1.3, clamp=False),
    "CDL reverse": Cdl((1.1, 1.0, 0.9), (0.03, 0.02, 0.0), (1.25, 1.0, 0.8), 1.3).inverse(),
    "power": Decode(Power("gamma 2.6", 2.6)),
    "power back": Encode(Power("gamma 2.6", 2.6)),
    "BT.1886": Decode(Bt1886()),
    "ACEScct": Encode(AcesCct()),
    "ACEScct back": Decode(AcesCct()),
    "camera log": Encode(TARN_LOG),
    "camera log back": Decode(TARN_LOG),
    "printing density": Encode(PrintingDensity()),
    "printing density back": Decode(PrintingDensity()),
    "log": Log(10.0, 0.3, 0.6, 0.9, 0.1),
    "power that passes negative values": Exponent(2.2, None, "pass"),
    "monitor curve, mirrored": Exponent(2.4, 0.055, "mirror", forward=False),
    "by channel": Channels(Exponent(2.0), Exponent(2.2), Exponent(2.4)),
    "green alone": Channels(None, Log(2.0, 0.1, 0.5, 1.0, 0.01), None),
}


@pytest.mark.parametrize("case", EXACT)
def test_operators_run_by_colour_clf_io_equal_our_transform(case: str) -> None:
    transform = EXACT[case]
    data, notes = format_clf(transform, title=case)
    assert notes == ()
    rgb = np.concatenate([RGB, WIDE])
    expected = transform.apply(rgb)
    # Both compute in float64. Where a logarithm has no argument over zero, the
    # processor takes the smallest float32 with seven digits only: 3e-7 of it.
    floored = 3e-7 if case in ("log", "green alone") else 0.0
    assert np.allclose(by_processor(data, rgb), expected, rtol=1e-12, atol=1e-12 + floored)
    assert np.allclose(parse_clf(data).lut.apply(rgb), expected, rtol=1e-12, atol=1e-12)


@settings(deadline=None)
@given(st.lists(st.sampled_from(sorted(EXACT)), min_size=1, max_size=4))
def test_any_chain_of_operators_comes_back(cases: list[str]) -> None:
    pipeline = Pipeline(tuple(EXACT[case] for case in cases))
    data, notes = format_clf(pipeline)
    assert notes == ()
    value, inside = RGB, np.ones(len(RGB), bool)
    for step in pipeline.steps:
        # Over a signal of 4 our decodings stop growing, where no light is any more.
        inside &= (np.abs(value) < 4).all(axis=-1)
        value = step.apply(np.clip(value, -4, 4))
    found = parse_clf(data).lut.apply(RGB[inside])
    assert np.allclose(found, value[inside], rtol=1e-9, atol=1e-12)


def test_a_matrix_with_offset_and_a_black_level_are_exact() -> None:
    """The processor of colour-clf-io does not run 3 by 4 matrices: checked by hand instead."""
    for transform in (MIX, Decode(Bt1886(black=0.001)), Encode(Bt1886(black=0.001))):
        data, notes = format_clf(transform)
        assert notes == ()
        value = RGB
        for node in clf.read_clf(data).process_nodes:
            values = node.array.as_array() if hasattr(node, "array") else None
            if values is not None and values.shape == (3, 4):
                value = value @ values[:, :3].T + values[:, 3]
            elif values is not None:
                value = value @ values.T
            else:
                exponent = node.exponent_params[0].exponent
                value = exponent_function_basic(value, exponent, node.style.value)
        assert np.allclose(value, transform.apply(RGB), rtol=1e-12, atol=1e-12)
        assert np.allclose(parse_clf(data).lut.apply(RGB), transform.apply(RGB), atol=1e-12)


def test_a_whole_conversion_is_exact_and_readable() -> None:
    """Log to display with every kind of step that the format has: no table in the file."""
    catalogue = Catalogue()
    conversion = Conversion(
        Encoding(TARN_LOG, catalogue.gamut("BT.2020"), "legal"),
        Encoding(catalogue.curve("BT.1886"), catalogue.gamut("BT.709"), "legal"),
        exposure=0.5,
        grade=(Cdl((1.05, 1.0, 0.95), (0.0, 0.01, 0.0), (1.1, 1.0, 1.0), 1.1),),
    )
    pipeline = conversion.pipeline()
    data, notes = format_clf(pipeline, title="Salt Road, day")
    assert notes == ()
    assert b"LUT" not in data
    expected = pipeline.apply(RGB)
    assert np.allclose(by_processor(data, RGB), expected, rtol=1e-10, atol=1e-12)
    back = parse_clf(data)
    assert np.allclose(back.lut.apply(RGB), expected, rtol=1e-12, atol=1e-12)
    assert back.notes == ()
    assert back.title == "Salt Road, day"


@pytest.mark.parametrize("name", [each.name for each in Catalogue().curves() if not each.unusable])
def test_every_curve_is_written_within_what_is_said(name: str) -> None:
    """Standards and the registry of colour-science alike."""
    curve = Catalogue().curve(name)
    signal = np.linspace(0, 1, 301)[:, None].repeat(3, axis=1)
    there_and_back = Decode(curve) | Encode(curve)
    data, notes = format_clf(there_and_back)
    stated = sum(float(note.split("within ")[1].split(",")[0]) for note in notes)
    # What is in the decoding comes through the slope of the encoding: at the foot of
    # a power that is steep, so the error is counted where the curve is not.
    error = np.abs(parse_clf(data).lut.apply(signal) - there_and_back.apply(signal))
    assert error[10:].max() <= max(20 * stated, 1e-9)
    assert error.max() < 1 / 1023


def test_srgb_and_12_bit_bt2020_say_how_near_they_are() -> None:
    for curve in (Srgb(), BT2020_12_BIT):
        data, notes = format_clf(Decode(curve) | Encode(curve))
        assert b"LUT" not in data
        assert all("monitor curve" in note for note in notes)
        assert len(notes) == 2


def test_bt709_is_not_passed_off_as_the_monitor_curve() -> None:
    """Its rounded constants leave a step of 0.00025 that the monitor curve does not have."""
    grid = np.linspace(0, 1, 10001)
    power = exponent_function_monitor_curve(grid, 1 / 0.45, 0.099, "monCurveRev")
    assert np.abs(Bt709().encode(grid) - power).max() > 2e-4
    data, notes = format_clf(Encode(Bt709()))
    assert b"<LUT1D" in data
    assert "sampled" in notes[0]
    # The step itself falls within one cell of the table.
    error = np.abs(parse_clf(data).lut.apply(RGB) - Bt709().encode(RGB))
    assert np.sort(error.ravel())[-3] < 1e-6


def test_tone_and_what_is_beside_it_are_sampled_together() -> None:
    pipeline = Decode(AcesCct()) | ToneCurve(white=6.0) | Encode(Srgb()) | Clamp()
    data, notes = format_clf(pipeline)
    assert data.count(b"<LUT1D") == 1
    assert len(notes) == 1
    assert np.abs(parse_clf(data).lut.apply(RGB) - pipeline.apply(RGB)).max() < 2e-6


def test_what_mixes_channels_is_sampled_as_a_whole() -> None:
    pipeline = Decode(AcesCct()) | MIX | GamutCompression() | Encode(Bt1886()) | Clamp()
    data, notes = format_clf(pipeline, size=17)
    assert notes == ("sampled as a whole in a 3D LUT of size 17",)
    read = parse_clf(data).lut
    assert isinstance(read, Lut3D)
    assert np.allclose(read.table, pipeline.apply(lattice(17)), atol=1e-12)


# Tables. colour-clf-io 0.2 multiplies the input of a table by its size, which is right
# for a lattice of two nodes only; so the tables that it reads are run by colour-science.


def test_a_lattice_of_two_nodes_runs_in_the_processor() -> None:
    lut = Lut3D(np.random.default_rng(1).random((2, 2, 2, 3)))
    data, _ = format_clf(lut)
    assert np.allclose(by_processor(data, RGB), lut.apply(RGB), atol=1e-12)


@pytest.mark.parametrize("interpolation", ["tetrahedral", "trilinear"])
def test_a_lattice_that_colour_clf_io_reads_is_ours(interpolation: str) -> None:
    table = np.random.default_rng(2).random((9, 9, 9, 3))
    lut = Lut3D(table, (-0.25, 1.5), "look", interpolation=interpolation)  # type: ignore[arg-type]
    data, notes = format_clf(lut)
    assert notes == ()
    scale, node = clf.read_clf(data).process_nodes
    assert (scale.min_in_value, scale.max_in_value) == (-0.25, 1.5)
    assert node.interpolation.value == interpolation
    interpolator = getattr(colour.algebra, f"table_interpolation_{interpolation}")
    theirs = colour.LUT3D(node.array.as_array(), domain=np.array([[-0.25] * 3, [1.5] * 3]))
    rgb = np.clip(WIDE, -0.25, 1.5)
    assert np.allclose(theirs.apply(rgb, interpolator=interpolator), lut.apply(WIDE), atol=1e-12)
    back = parse_clf(data).lut
    assert isinstance(back, Lut3D)
    assert np.array_equal(back.table, table)
    assert np.array_equal(back.domain, lut.domain)
    assert back.interpolation == interpolation


def test_a_1d_table_that_colour_clf_io_reads_is_ours() -> None:
    table = np.sort(np.random.default_rng(3).random((64, 3)), axis=0)
    data, _ = format_clf(Lut1D(table, title="curve"), title="curve")
    (node,) = clf.read_clf(data).process_nodes
    assert np.array_equal(node.array.as_array(), table)
    back = parse_clf(data).lut
    assert isinstance(back, Lut1D)
    assert np.array_equal(back.table, table)


@pytest.mark.parametrize(
    "lut",
    [
        Lut3D(lattice(5).astype(np.float32) ** 2, ((0.0, -1.0, 0.1), (1.0, 2.0, 0.9))),
        ShaperLut3D(
            Lut1D(np.linspace([0] * 3, [1] * 3, 17) ** 0.5, (-0.5, 16.0)), Lut3D(lattice(4) ** 2)
        ),
        HalfLut1D(np.linspace([0, 1, 2], [1, 2, 3], 65536)),
    ],
    ids=["domain by channel", "shaper", "half domain"],
)
def test_luts_of_all_kinds_come_back_the_same(lut: Transform) -> None:
    data, notes = format_clf(lut)
    assert notes == ()
    back = parse_clf(data).lut
    assert np.allclose(back.apply(WIDE), lut.apply(WIDE), rtol=0, atol=1e-6)


def test_half_floats_index_their_own_bits() -> None:
    values = np.arange(65536, dtype=np.uint16).view(np.float16).astype(np.float64)
    table = np.where(np.isfinite(values), values, 0.0)
    lut = HalfLut1D(np.repeat(table[:, None], 3, axis=1))
    assert np.allclose(lut.apply(WIDE), WIDE, atol=1e-12)
    assert lut.apply([-70000.0, 70000.0, 0.0]).tolist() == [-65504.0, 65504.0, 0.0]


def test_the_same_transform_gives_the_same_bytes() -> None:
    assert format_clf(EXACT["CDL"])[0] == format_clf(EXACT["CDL"])[0]
    assert format_clf(EXACT["CDL"])[0] != format_clf(EXACT["exposure"])[0]


# Formulas, against colour-science


@pytest.mark.parametrize("forward", [True, False])
def test_log_formulas(forward: bool) -> None:
    x = np.linspace(-0.2, 1.2, 1001)
    camera = {"log_side_slope": 0.25, "log_side_offset": 0.6, "lin_side_slope": 0.98}
    camera |= {"lin_side_offset": 0.012, "lin_side_break": 0.008}
    for slope in (None, 6.0):
        style = "cameraLinToLog" if forward else "cameraLogToLin"
        theirs = logarithmic_function_camera(x, style, 10, **camera, linear_slope=slope)
        ours = Log(10.0, **camera, linear_slope=slope, forward=forward)._apply(x)
        assert np.allclose(ours, theirs, rtol=1e-12, atol=1e-12)
    style = "linToLog" if forward else "logToLin"
    plain = {key: value for key, value in camera.items() if key != "lin_side_break"}
    x = x[camera["lin_side_slope"] * x + camera["lin_side_offset"] > 0]
    theirs = logarithmic_function_quasilog(x, style, 10, **plain)
    ours = Log(10.0, **plain, forward=forward)._apply(x)
    assert np.allclose(ours, theirs, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("style", ["Fwd", "Rev"])
@pytest.mark.parametrize(("exponent", "offset"), [(2.4, 0.055), (3.0, 0.16), (1 / 0.45, 0.099)])
def test_monitor_curve_formulas(style: str, exponent: float, offset: float) -> None:
    x = np.linspace(-0.5, 1.5, 2001)
    for name, negative in (("monCurve", "plain"), ("monCurveMirror", "mirror")):
        theirs = exponent_function_monitor_curve(x, exponent, offset, name + style)
        ours = Exponent(exponent, offset, negative, style == "Fwd")._apply(x)
        assert np.allclose(ours, theirs, rtol=1e-12, atol=1e-14)


@pytest.mark.parametrize("case", [case for case in EXACT if not case.startswith(("clamp", "CDL"))])
def test_inverse_undoes(case: str) -> None:
    transform = EXACT[case]
    rgb = np.clip(RGB, 0.02, 1)
    assert np.allclose(transform.inverse().apply(transform.apply(rgb)), rgb, atol=1e-9)


# The standard's own examples. From memory of the published specification (Academy
# S-2014-006, section 7 and annex), where each stands with the text that is checked here.

HEADER = '<ProcessList xmlns="urn:AMPAS:CLF:v3.0" id="example" compCLFversion="3.0">'


def example(*operators: str) -> Transform:
    return parse_clf(f"{HEADER}{''.join(operators)}</ProcessList>".encode(), "example.clf").lut


def test_example_lut1d_of_four_inverted_codes() -> None:
    lut = example(
        """<LUT1D id="lut-23" name="4 Value Lut" inBitDepth="12i" outBitDepth="12i">
        <Description>1D LUT - Turn 4 grey levels into 4 inverted codes</Description>
        <Array dim="4 1">
        3
        2
        1
        0
        </Array></LUT1D>"""
    )
    codes = lut.apply(np.array([[0.0] * 3, [1 / 3] * 3, [2 / 3] * 3, [1.0] * 3])) * 4095
    assert np.allclose(codes[:, 0], [3, 2, 1, 0])


def test_example_lut3d_of_12_bit_codes_blue_fastest() -> None:
    lut = example(
        """<LUT3D id="lut-24" name="green look" interpolation="trilinear"
        inBitDepth="12i" outBitDepth="16f"><Description>3D LUT</Description>
        <Array dim="2 2 2 3">
        0.0 0.0 0.0
        0.0 0.0 1.0
        0.0 1.0 0.0
        0.0 1.0 1.0
        1.0 0.0 0.0
        1.0 0.0 1.0
        1.0 1.0 0.0
        1.0 1.0 1.0
        </Array></LUT3D>"""
    )
    assert isinstance(lut, Lut3D)
    assert lut.interpolation == "trilinear"
    assert np.allclose(lut.apply(RGB), RGB)


def test_example_matrix_ap0_to_ap1() -> None:
    matrix = example(
        """<Matrix id="lut-28" name="AP0 to AP1" inBitDepth="16f" outBitDepth="16f">
        <Description>3x3 color space conversion from AP0 to AP1</Description>
        <Array dim="3 3">
        1.45143931614567   -0.236510746893740  -0.214928569251925
        -0.0765537733960204 1.17622969983357   -0.0996759264375522
        0.00831614842569772 -0.00603244979102103 0.997716301365324
        </Array></Matrix>"""
    )
    # Against colour-science's own matrix of the two gamuts.
    spaces = colour.RGB_COLOURSPACES
    theirs = colour.matrix_RGB_to_RGB(spaces["ACES2065-1"], spaces["ACEScg"], None)
    assert np.allclose(matrix.apply(RGB), RGB @ theirs.T, atol=1e-6)


def test_example_matrix_with_offset_is_scaled_by_bit_depth() -> None:
    matrix = example(
        """<Matrix id="lut-25" name="colorspace conversion" inBitDepth="10i" outBitDepth="10i">
        <Description> 3x4 Matrix , 4th column is offset </Description>
        <Array dim="3 4">
        1.2 0.0 0.0 0.002
        0.0 1.03 0.001 -0.005
        0.004 -0.007 1.004 0.0
        </Array></Matrix>"""
    )
    codes = np.array([100.0, 200.0, 300.0])
    expected = [120.002, 206.0 + 0.3 - 0.005, 0.4 - 1.4 + 301.2]
    assert np.allclose(matrix.apply(codes / 1023) * 1023, expected)


def test_example_range_full_to_legal() -> None:
    step = example(
        """<Range inBitDepth="10i" outBitDepth="10i">
        <Description>10-bit full range to SMPTE range</Description>
        <minInValue>0</minInValue><maxInValue>1023</maxInValue>
        <minOutValue>64</minOutValue><maxOutValue>940</maxOutValue></Range>"""
    )
    assert np.allclose(step.apply([0.0, 0.5, 1.0]) * 1023, [64, 502, 940])
    assert np.allclose(step.apply([-1.0, 2.0, 1.0]) * 1023, [64, 940, 940])
    # The same as our own range step, but for the clamp.
    assert np.allclose(step.apply(RGB), RangeFromSignal("legal").apply(RGB))


def test_example_log10() -> None:
    step = example(
        '<Log inBitDepth="16f" outBitDepth="16f" style="log10">'
        "<Description>Base 10 Logarithm</Description></Log>"
    )
    assert np.allclose(step.apply([0.01, 1.0, 100.0]), [-2, 0, 2])


def test_example_camera_log() -> None:
    """The form of the standard's example, with constants of an invented camera."""
    step = example(
        """<Log inBitDepth="32f" outBitDepth="32f" style="cameraLinToLog">
        <LogParams base="10" logSideSlope="0.26" logSideOffset="0.55"
        linSideSlope="1.05" linSideOffset="0.012" linSideBreak="0.008"
        linearSlope="6.1"/></Log>"""
    )
    theirs = logarithmic_function_camera(
        RGB, "cameraLinToLog", 10, 0.26, 1.05, 0.55, 0.012, 0.008, 6.1
    )
    assert np.allclose(step.apply(RGB), theirs)


def test_example_srgb_eotf_and_lightness() -> None:
    srgb = example(
        """<Exponent inBitDepth="32f" outBitDepth="32f" style="monCurveFwd">
        <Description>EOTF (sRGB)</Description>
        <ExponentParams exponent="2.4" offset="0.055" /></Exponent>"""
    )
    assert np.allclose(srgb.apply(RGB), colour.eotf(RGB, "sRGB"), atol=1e-6)
    lightness = example(
        """<Exponent inBitDepth="32f" outBitDepth="32f" style="monCurveRev">
        <Description>CIE L*</Description>
        <ExponentParams exponent="3.0" offset="0.16" /></Exponent>"""
    )
    theirs = colour.lightness(RGB * 100, method="CIE 1976") / 100
    assert np.allclose(lightness.apply(RGB), theirs, atol=1e-12)


def test_example_cdl() -> None:
    step = example(
        """<ASC_CDL id="cc01234" inBitDepth="16f" outBitDepth="16f" style="Fwd">
        <Description>scene 1 exterior look</Description>
        <SOPNode><Slope>1.000000 1.000000 0.900000</Slope>
        <Offset>-0.030000 -0.020000 0.000000</Offset>
        <Power>1.2500000 1.000000 1.000000</Power></SOPNode>
        <SatNode><Saturation>1.700000</Saturation></SatNode></ASC_CDL>"""
    )
    assert step == Cdl((1.0, 1.0, 0.9), (-0.03, -0.02, 0.0), (1.25, 1.0, 1.0), 1.7)


def test_example_aces_to_acescct() -> None:
    step = example(
        """<InputDescriptor>Academy Color Encoding Specification (ACES2065-1)</InputDescriptor>
        <Info><ACEStransformID>ACEScsc.ACES_to_ACEScct.a1.0.3</ACEStransformID></Info>
        <Matrix inBitDepth="16f" outBitDepth="16f"><Array dim="3 3">
        1.451439316146 -0.236510746894 -0.214928569252
        -0.076553773396 1.176229699834 -0.099675926438
        0.008316148426 -0.006032449791 0.997716301365
        </Array></Matrix>
        <Log inBitDepth="16f" outBitDepth="16f" style="cameraLinToLog">
        <LogParams base="2" logSideSlope="0.05707762557" logSideOffset="0.5547945205"
        linSideBreak="0.0078125"/></Log>"""
    )
    spaces = colour.RGB_COLOURSPACES
    matrix = colour.matrix_RGB_to_RGB(spaces["ACES2065-1"], spaces["ACEScct"], None)
    with np.errstate(invalid="ignore"):  # of negative light, which is not used
        expected = colour.log_encoding(RGB @ matrix.T, "ACEScct")
    assert np.allclose(step.apply(RGB), expected, atol=1e-6)


def test_the_smpte_namespace_is_read_and_noted() -> None:
    data = (
        b'<ProcessList xmlns="http://www.smpte-ra.org/ns/2136-1/2024" id="a" name="n">'
        b'<Log inBitDepth="32f" outBitDepth="32f" style="log2"/></ProcessList>'
    )
    read = parse_clf(data)
    assert np.allclose(read.lut.apply([1.0, 2.0, 4.0]), [0, 1, 2])
    assert any("2136-1" in note for note in read.notes)


# What is refused

LOG = '<Log inBitDepth="32f" outBitDepth="32f" style="linToLog">%s</Log>'
RANGE = '<Range inBitDepth="32f" outBitDepth="32f">%s</Range>'
LUT1D = '<LUT1D inBitDepth="32f" outBitDepth="32f">%s</LUT1D>'
LUT3D = '<LUT3D inBitDepth="32f" outBitDepth="32f" interpolation="trilinear">%s</LUT3D>'
MATRIX = '<Matrix inBitDepth="32f" outBitDepth="32f">%s</Matrix>'
REFUSED = {
    "no operator": ("", "no operator"),
    "unknown operator": ("\n<Blur inBitDepth='32f'/>", "a.clf:2: the operator <Blur>"),
    "no bit depth": ("<Log style='log2'/>", "Log cannot be read"),
    "unknown style": ("<Log inBitDepth='32f' outBitDepth='32f' style='log3'/>", "log3"),
    "depths that do not meet": (
        RANGE % "<minInValue>0</minInValue><minOutValue>0</minOutValue>"
        + "<Log inBitDepth='16f' outBitDepth='16f' style='log2'/>",
        "inBitDepth 16f after outBitDepth 32f",
    ),
    "parameter no number": (LOG % "<LogParams logSideSlope='abc'/>", "logSideSlope 'abc'"),
    "parameter not finite": (LOG % "<LogParams logSideSlope='nan'/>", "logSideSlope 'nan'"),
    "slope zero": (LOG % "<LogParams logSideSlope='0'/>", "a slope is 0"),
    "channel twice": (
        LOG % "<LogParams channel='R'/><LogParams channel='R'/>",
        "a channel twice",
    ),
    "range without limits": (RANGE % "", "no limit"),
    "range limit no number": (RANGE % "<minInValue>x</minInValue>", "minInValue 'x'"),
    "range half a pair": (RANGE % "<minInValue>0</minInValue>", "has no limit of the output"),
    "no Array": (LUT1D % "", "LUT1D cannot be read"),
    "no dim": (LUT1D % "<Array>0 1</Array>", "dim"),
    "dim no number": (LUT1D % "<Array dim='2 x'>0 1</Array>", "dim"),
    "huge dim": (LUT3D % "<Array dim='300 300 300 3'>0</Array>", "n from 2 to 256"),
    "dim of another count": (LUT3D % "<Array dim='64 64 64 3'>0 0 0</Array>", "3 numbers"),
    "not cubic": (LUT3D % "<Array dim='2 2 3 3'>0</Array>", "n n n 3"),
    "NaN": (LUT1D % "<Array dim='2 1'>0 nan</Array>", "not finite"),
    "infinity": (MATRIX % "<Array dim='3 3'>1 0 0 0 1 0 0 0 inf</Array>", "not finite"),
    "words": (LUT1D % "<Array dim='2 1'>0 one</Array>", "cannot be read"),
    "index map": (
        LUT1D % "<IndexMap dim='2'>0@0 1@1</IndexMap><Array dim='2 1'>0 1</Array>",
        "IndexMap",
    ),
    "half domain of another size": (
        "<LUT1D inBitDepth='16f' outBitDepth='16f' halfDomain='true'>"
        "<Array dim='2 1'>0 1</Array></LUT1D>",
        "65536",
    ),
    "exponent zero": (
        "<Exponent inBitDepth='32f' outBitDepth='32f' style='basicFwd'>"
        "<ExponentParams exponent='0'/></Exponent>",
        "exponent 0",
    ),
    "CDL of negative power": (
        "<ASC_CDL inBitDepth='32f' outBitDepth='32f'><SOPNode><Slope>1 1 1</Slope>"
        "<Offset>0 0 0</Offset><Power>-1 1 1</Power></SOPNode></ASC_CDL>",
        "ASC_CDL",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_is_refused_is_one_line_with_its_place(case: str) -> None:
    body, text = REFUSED[case]
    with pytest.raises(FormatError) as caught:
        parse_clf(f"{HEADER}{body}</ProcessList>".encode(), "a.clf")
    message = str(caught.value)
    assert text in message
    assert message.startswith("a.clf:")
    assert "\n" not in message


def test_another_namespace_is_refused() -> None:
    with pytest.raises(FormatError, match="the namespace 'urn:other'"):
        parse_clf(b'<ProcessList xmlns="urn:other" id="a"/>', "a.clf")


def test_nothing_is_fetched_and_no_entity_is_expanded(tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("0 1")
    attack = (
        f'<?xml version="1.0"?><!DOCTYPE p [<!ENTITY x SYSTEM "file://{secret}">]>'
        f"{HEADER}{LUT1D % '<Array dim=&apos;2 1&apos;>&x;</Array>'}</ProcessList>"
    )
    with pytest.raises(FormatError, match="document type"):
        parse_clf(attack.encode(), "a.clf")
    # In an encoding that hides the document type from a search of the bytes.
    for encoding in ("utf-16", "utf-7"):
        declared = attack.replace('version="1.0"', f'version="1.0" encoding="{encoding}"')
        with pytest.raises(FormatError):
            parse_clf(declared.encode(encoding), "a.clf")


def test_a_missing_package_names_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "colour_clf_io", None)
    with pytest.raises(MissingExtraError, match=r"lutbench\[clf\]"):
        format_clf(Clamp())
    with pytest.raises(MissingExtraError, match=r"lutbench\[clf\]"):
        parse_clf(HEADER.encode() + b"</ProcessList>")


def test_files_and_content(tmp_path: Path) -> None:
    path = tmp_path / "look.xml"
    data, notes = format_clf(EXACT["CDL"], title="A <look> & more")
    path.write_bytes(data)
    assert notes == ()
    assert lutbench.open_lut(path) == EXACT["CDL"]
    root = etree.fromstring(path.read_bytes())
    assert root.get("name") == "A <look> & more"
    assert root.get("id").startswith("urn:uuid:")


def test_identity_and_linear_leave_a_valid_file() -> None:
    data, notes = format_clf(Pipeline((Decode(Linear()), Clamp(-np.inf, np.inf))))
    assert notes == ()
    assert np.allclose(parse_clf(data).lut.apply(WIDE), WIDE)


def test_steep_encodings_stay_near(tmp_path: Path) -> None:
    """PQ and ACEScc from light of both signs, with no operator of their own in the format."""
    for curve in (PqScene(), AcesCc()):
        pipeline = Decode(AcesCct()) | MIX | Encode(curve) | Clamp()
        data, _ = format_clf(pipeline)
        error = np.abs(parse_clf(data).lut.apply(RGB) - pipeline.apply(RGB))
        assert error.max() < 0.5 / 1023


def test_a_range_with_one_limit() -> None:
    assert Range(0.25, None, 0.25, None).apply([0.0, 0.5, 2.0]).tolist() == [0.25, 0.5, 2.0]
    assert Range(None, 1.0, None, 1.0).apply([0.0, 0.5, 2.0]).tolist() == [0.0, 0.5, 1.0]
