"""Findings: none missed on damaged LUTs, no alarm on clean ones, measures against scipy."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from damage import CONVERSIONS, DEFECTS, Defect, clean, damaged

from lutbench.errors import LutbenchError
from lutbench.inspection import lattice as measures
from lutbench.inspection.finding import SEVERITIES
from lutbench.inspection.registry import Health, Limits, all_limits, codes, kinds
from lutbench.inspection.subject import Subject
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.tables.cells import volumes
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import sample, sample_behind
from lutbench.tables.shaping import Span, shaper_of

LOG_TO_VIDEO = "log to video, clipped"

SEVEREST = {
    code: [each.severest or each.severity for each in kinds() if each.code == code]
    for code in codes()
}


def codes_of(lut: object, **options: float) -> dict[str, str]:
    """Code and severity of every finding."""
    found = Health(Subject(lut), Limits(options)).findings  # type: ignore[arg-type]
    for each in found:  # a check of kind `health` relies on it
        worst = max(map(SEVERITIES.index, SEVEREST[each.code]))
        assert SEVERITIES.index(each.severity) <= worst
    return {each.code: each.severity for each in found}


@pytest.mark.parametrize("name", CONVERSIONS)
@pytest.mark.parametrize("size", [17, 33])
def test_no_alarm_on_clean_luts(name: str, size: int) -> None:
    assert "warning" not in codes_of(clean(name, size)).values()
    assert "error" not in codes_of(clean(name, size)).values()


@pytest.mark.parametrize("size", [2, 5, 16, 17, 33])
def test_no_finding_on_an_identity(size: int) -> None:
    assert codes_of(Lut3D.identity(size)) == {}
    assert codes_of(Lut1D(np.linspace(0, 1, 64 * size)[:, None].repeat(3, 1))) == {}


@pytest.mark.parametrize("defect", DEFECTS, ids=[each.name for each in DEFECTS])
@pytest.mark.parametrize("name", ["log gamut only", "video to display"])
def test_every_defect_is_found(defect: Defect, name: str) -> None:
    assert defect.code in codes_of(damaged(defect, name, 33, defect.strengths[-1]))


IN_CODES = [each for each in DEFECTS if each.unit == "codes" and each.code not in (
    "banding", "stray_node")]  # fmt: skip


@pytest.mark.parametrize("defect", IN_CODES, ids=[each.name for each in IN_CODES])
def test_the_value_of_a_finding_is_the_size_of_the_defect(defect: Defect) -> None:
    strength = defect.strengths[-1]
    found = Health(Subject(damaged(defect, "log curve only", 33, strength))).findings
    value = next(each.value for each in found if each.code == defect.code)
    # Tint is laid on with sin² and meets the nodes beside its peak; noise is a random sample.
    assert value == pytest.approx(strength, rel=0.1)


def test_a_seeded_sample_of_the_catalogue_gives_no_alarm() -> None:
    """A few of the builds whose whole set is counted in docs/inspect.md."""
    rng = np.random.default_rng(20)
    known = open_catalogue(user=False)
    curves = known.usable_curves
    targets = [("BT.709", "BT.709"), ("BT.1886", "P3-D65"), ("BT.2100 PQ", "BT.2020")]
    for _ in range(24):
        source = curves[int(rng.integers(len(curves)))]
        target, gamut = targets[int(rng.integers(3))]
        kind = ("combined", "curve", "gamut")[int(rng.integers(3))]
        ends = (
            Encoding(source, known.gamut("ACES AP1")),
            Encoding(known.curve(target), known.gamut(gamut)),
        )
        tone = ToneCurve.between(*ends) if kind != "gamut" else None
        conversion = Conversion(
            *ends,
            kind=kind,  # type: ignore[arg-type]
            tone=tone if rng.random() < 0.5 else None,
        )
        table = np.round(sample(conversion.pipeline(), 17).table, 6)
        severities = set(codes_of(Lut3D(table)).values())
        assert severities <= {"info"}, (source.name, target, kind)


def test_no_alarm_behind_a_shaper() -> None:
    known = open_catalogue(user=False)
    light_to_video = Conversion(
        Encoding(known.curve("linear"), known.gamut("ACES AP1")),
        Encoding(known.curve("BT.709"), known.gamut("BT.709")),
    )
    shaper = shaper_of(known.curve("ACEScct"), Span(0.0, 16.0, 4096))
    lut = sample_behind(light_to_video.pipeline(), shaper, 33)
    assert isinstance(lut, ShaperLut3D)
    assert set(codes_of(lut).values()) <= {"info"}


def test_jacobian_signs_against_scipy() -> None:
    """Cells that run backwards, by finite differences of scipy's trilinear interpolator."""
    from scipy.interpolate import RegularGridInterpolator

    defect = next(each for each in DEFECTS if each.code == "fold")
    lut = damaged(defect, "log gamut only", 17, 6)
    planes = Subject(lut).planes
    axis = np.linspace(0, 1, 17)
    trilinear = RegularGridInterpolator((axis, axis, axis), lut.table)
    centre = np.stack(np.meshgrid(*[(axis[1:] + axis[:-1]) / 2] * 3, indexing="ij"), axis=-1)
    h = 1e-5
    columns = [
        (trilinear(centre + h * np.eye(3)[k]) - trilinear(centre - h * np.eye(3)[k])) / (2 * h)
        for k in range(3)
    ]
    theirs = np.linalg.det(np.stack(columns, axis=-1))
    signs = np.stack([np.sign(det) * (np.abs(det) > 0.5 / 1023 * areas)
                      for _, det, areas in volumes(planes)])  # fmt: skip
    # Where all six tetrahedra of a cell turn the same way the cell does too.
    agreed = (signs == signs[0]).all(axis=0) & (signs[0] != 0)
    assert (signs[0][agreed] < 0).sum() > 10
    np.testing.assert_array_equal(np.sign(theirs[agreed]), signs[0][agreed])


def test_jacobians_against_differences_of_the_interpolation() -> None:
    """Inside a tetrahedron the LUT is linear: its kernel gives the same determinants."""
    lut = clean("log gamut only", 9)
    planes, m = Subject(lut).planes, 8
    rng = np.random.default_rng(3)
    for order, det, _ in volumes(planes):
        cell = rng.integers(0, m, 3)
        # The middle of the tetrahedron in which the fractions fall in this order.
        fraction = np.empty(3)
        fraction[list(order)] = [0.75, 0.5, 0.25]
        at, h = (cell + fraction) / m, 0.01 / m
        columns = [
            (lut.apply(at + h * np.eye(3)[k]) - lut.apply(at - h * np.eye(3)[k])) / (2 * h * m)
            for k in range(3)
        ]
        expected = np.linalg.det(np.stack(columns, axis=-1))
        assert det[tuple(cell)] == pytest.approx(expected, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("sigma", [0.5, 2.0])
def test_noise_is_measured(sigma: float) -> None:
    rng = np.random.default_rng(1)
    table = 0.1 + 0.8 * Lut3D.identity(33).table + rng.normal(0, sigma / 1023, (33, 33, 33, 3))
    # The estimate is the least of twelve medians, so it lies a little low.
    assert measures.noise(Subject(Lut3D(table))) == pytest.approx(sigma, rel=0.08)


def test_a_swap_is_not_called_a_fold() -> None:
    swapped = clean("log gamut only").table[..., [2, 1, 0]]
    codes = codes_of(Lut3D(swapped))
    assert codes["channel_order"] == "error"
    assert "fold" not in codes


def test_legal_range_in_and_out() -> None:
    known = open_catalogue(user=False)
    conversion = Conversion(
        Encoding(known.curve("BT.709"), known.gamut("BT.709"), "legal"),
        Encoding(known.curve("BT.1886"), known.gamut("BT.709"), "legal"),
    )
    codes = codes_of(sample(conversion.pipeline(), 65))
    assert codes["legal_range_input"] == "info"
    assert codes["legal_range_output"] == "info"
    assert "lifted_black" not in codes


def test_legal_range_with_a_lifted_tinted_black_is_a_guess() -> None:
    from lutbench.inspection.inspection import inspect

    video = clean("video to display", 17).table.astype(np.float64)
    lifted = (64 + 876 * ([0.03, 0.02, 0.04] + (1 - np.array([0.03, 0.02, 0.04])) * video)) / 1023
    found = inspect(Lut3D(np.round(lifted, 6)))
    legal = next(each for each in found.findings if each.code == "legal_range_output")
    assert "probably legal range" in legal.message
    assert "probably legal range out of it" in found.box.monitor
    # The same look in full range, whose white is at 1023, is not.
    full = Lut3D(np.round((lifted * 1023 - 64) / 876, 6))
    assert "legal_range_output" not in codes_of(full)


def test_a_lost_white_is_a_warning_once_the_source_is_known() -> None:
    from lutbench.inspection.inspection import inspect

    known = open_catalogue(user=False)
    over = Conversion(
        Encoding(known.curve("ACEScct"), known.gamut("ACES AP1")),
        Encoding(known.curve("BT.709"), known.gamut("BT.709")),
        exposure=1.0,
    )
    lut = sample(over.pipeline(), 33)
    severity = {each.code: each.severity for each in inspect(lut).findings}
    assert severity["clipped_highlights"] == "info"
    told = inspect(lut, source_curve="ACEScct").findings
    assert next(each for each in told if each.code == "clipped_highlights").severity == "warning"


def test_limits_can_be_set() -> None:
    tinted = damaged(next(d for d in DEFECTS if d.code == "tint"), LOG_TO_VIDEO, 17, 4)
    assert "tint" in codes_of(tinted)
    assert "tint" not in codes_of(tinted, tint=5.0)
    assert Limits.parse(["tint=5", "noise = 2"])["noise"] == 2


@pytest.mark.parametrize("text", ["tint", "tint=x", "tinte=1", "tint=-1", "tint=nan", "=1"])
def test_bad_limits_are_refused(text: str) -> None:
    with pytest.raises(LutbenchError):
        Limits.parse([text])


def test_findings_say_where_and_what_to_do() -> None:
    for defect, name in itertools.product(DEFECTS, [LOG_TO_VIDEO]):
        found = Health(Subject(damaged(defect, name, 17, defect.strengths[-1]))).findings
        for each in found:
            assert each.message
            assert each.seen
            assert each.advice
            limits = [limit for limit in all_limits().values() if limit.unit == each.unit]
            assert each.limit is None or each.limit in [limit.default for limit in limits]
            if each.place:
                assert len(each.place.swatch) == 7


def test_severities_come_worst_first() -> None:
    swapped = Lut3D(clean(LOG_TO_VIDEO).table[..., [2, 1, 0]] * 1.1)
    severities = [each.severity for each in Health(Subject(swapped)).findings]
    rank = {"error": 0, "warning": 1, "info": 2}
    assert severities == sorted(severities, key=rank.__getitem__)
    assert severities[0] == "error"


def test_a_constant_and_a_monochrome_table() -> None:
    assert codes_of(Lut3D(np.full((5, 5, 5, 3), 0.5)))["constant"] == "error"
    grey = Lut3D.identity(9).table.mean(axis=-1, keepdims=True).repeat(3, axis=-1)
    assert codes_of(Lut3D(grey)) == {"monochrome": "info"}


def test_channels_that_clip_apart_are_no_banding() -> None:
    from lutbench.model.grade import Cdl

    assert "banding" not in codes_of(Cdl(slope=(1.0, 2.0, 3.0)))
