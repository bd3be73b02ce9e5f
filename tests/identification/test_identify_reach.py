"""How far identification reaches: tone curves, looks, noise, rounding, gamut compression.

The LUTs are those of identification_cases.py: colour-science decodes, converts
and encodes, and nothing of lutbench takes part. The long measurement is
tests/benchmarks/identification.py.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from identification_cases import (
    Case,
    build,
    camera_curves,
    converted,
    gamut_matrix,
    lattice,
    look_parameters,
    negative,
    random_case,
    wide_gamuts,
)
from identification_score import judged, wrong_parts

from lutbench.errors import LutbenchError
from lutbench.identification import Identification, identify
from lutbench.identification.curvesonly import only_mixes
from lutbench.identification.hypothesis import ToneTarget
from lutbench.identification.knowledge import knowledge_of
from lutbench.identification.samples import samples_of
from lutbench.model.catalogue import open_catalogue
from lutbench.tables.lut import Lut3D

pytestmark = pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning")

SEEDS = range(9000, 9015)


def found(case: Case) -> Identification:
    return identify(Lut3D(build(case)))


def plain_case(**changes: Any) -> Case:
    """A conversion of a registered curve and gamut for a BT.1886 display."""
    values: dict[str, Any] = {
        "kind": "combined",
        "source_curve": camera_curves()[3],
        "source_gamut": wide_gamuts()[4],
        "target_curve": "ITU-R BT.1886",
        "target_gamut": "ITU-R BT.709",
        "size": 33,
    }
    return Case(**(values | changes))


def looked(look: str, **changes: Any) -> Case:
    return plain_case(
        look=look, parameters=look_parameters(look, np.random.default_rng(3)), **changes
    )


@cache
def sample() -> tuple[tuple[Case, dict[str, Any]], ...]:
    """A small seeded sample, a third of it with looks, no larger than 33 nodes."""
    cases = [
        random_case(seed, look=seed % 3 == 2, size=33 if seed % 4 == 0 else 17) for seed in SEEDS
    ]
    return tuple((case, judged(found(case), case)) for case in cases)


def share(key: str, *, look: bool) -> float:
    return float(np.mean([told[key] for case, told in sample() if bool(case.look) == look]))


@pytest.mark.slow
def test_a_seeded_sample_without_looks() -> None:
    # Ten LUTs: the floors leave room for one that is ambiguous in truth.
    assert share("kind", look=False) == 1.0
    assert share("top 1", look=False) >= 9 / 10
    assert share("range", look=False) >= 9 / 10
    assert share("look", look=False) >= 9 / 10


@pytest.mark.slow
def test_a_seeded_sample_with_looks() -> None:
    # Five LUTs, of which a look after a tone curve may be a tone curve as well.
    assert share("top 1", look=True) >= 3 / 5
    assert share("look", look=True) >= 4 / 5


@pytest.mark.slow
def test_high_is_right() -> None:
    sure = [told for _, told in sample() if told["confidence"] == "high"]
    assert len(sure) >= 4
    assert all(told["top 1"] for told in sure)


@pytest.mark.parametrize("size", [17, 33])
def test_a_compressed_gamut_is_no_look(size: int) -> None:
    case = plain_case(tone="compress", size=size)
    result = found(case)
    assert not wrong_parts(result.candidates[0], case)
    assert not result.look.present
    assert result.candidates[0].hypothesis is not None
    assert result.candidates[0].hypothesis.compression is not None


@pytest.mark.parametrize("look", ["saturation", "split tone", "selective", "contrast"])
@pytest.mark.parametrize("precision", ["six decimals", "10 bit"])
@pytest.mark.slow
def test_the_conversion_under_a_look(look: str, precision: str) -> None:
    case = looked(look, precision=precision)
    result = found(case)
    assert not wrong_parts(result.candidates[0], case)
    assert result.look.present
    assert result.confidence != "high"


@pytest.mark.slow
def test_a_tint_over_a_compressed_gamut() -> None:
    case = looked("split tone", tone="compress")
    result = found(case)
    assert not wrong_parts(result.candidates[0], case)


def test_a_logistic_tone_curve_of_a_curve_alone() -> None:
    gamut = wide_gamuts()[4]
    case = plain_case(kind="curve", source_gamut=gamut, target_gamut=gamut, tone="sigmoid")
    result = found(case)
    assert result.kind == "curve"
    assert not wrong_parts(result.candidates[0], case)
    # Any other pair of curves leaves some tone curve, so this is never a sure answer.
    assert result.confidence != "high"


def test_a_curve_is_told_where_nothing_else_is() -> None:
    # Slope, offset, power and saturation over a logistic tone curve: no name fits, but
    # the channels keep curves of their own (ASC CDL: saturation mixes them linearly).
    gamut = wide_gamuts()[4]
    alone = looked("cdl", kind="curve", tone="sigmoid", source_gamut=gamut, target_gamut=gamut)
    table = build(alone)
    assert only_mixes(samples_of(Lut3D(table)))
    assert identify(Lut3D(table)).kind == "curve"


@pytest.mark.slow
def test_a_conversion_of_the_gamut_is_no_mere_mixing() -> None:
    assert not only_mixes(samples_of(Lut3D(build(looked("cdl", tone="sigmoid")))))
    for name in ("hue rotation", "channel swap", "random smooth"):
        assert not only_mixes(samples_of(Lut3D(negative(name, 17, 5))))
        assert identify(Lut3D(negative(name, 17, 5))).kind != "curve"


def test_a_guessed_target_names_what_explains_as_much() -> None:
    # A contrast after a shoulder is one smooth tone curve: any display's curve would do.
    found_here = found(looked("contrast", tone="shoulder"))
    best = found_here.candidates[0]
    assert best.hypothesis is not None
    assert isinstance(best.hypothesis.target, ToneTarget)
    assert best.hypothesis.target.guessed
    named = {best.target.curve, *best.same_as.target_curve}
    assert named >= {"BT.709", "BT.1886", "sRGB", "gamma 2.2"}
    assert found_here.confidence == "medium"
    assert any("with a different tone curve" in note for note in found_here.notes)


def test_noise_of_a_code_on_a_curve_is_averaged_out() -> None:
    gamut = wide_gamuts()[4]
    case = plain_case(kind="curve", source_gamut=gamut, target_gamut=gamut, precision="noise")
    result = found(case)
    assert not wrong_parts(result.candidates[0], case)
    assert not result.look.present


@pytest.mark.slow
def test_curves_nearer_than_rounding_are_told_as_one() -> None:
    # BT.2020 gives its constants to more digits for 12 bits (Recommendation ITU-R
    # BT.2020-2, table 4): in 10-bit codes the curve is that of BT.709.
    case = looked("hue rotation", target_curve="ITU-R BT.709", precision="10 bit")
    best = found(case).candidates[0]
    names = {best.target.curve, *best.same_as.target_curve}
    assert {"BT.709", "BT.2020 12-bit"} <= names


def test_values_over_a_legal_white_are_no_look() -> None:
    # An unclipped legal-range LUT goes over signal 1 and still ends under 1 of full scale.
    case = plain_case(source_range="legal", target_range="legal", clip=False, size=17)
    table = converted(lattice(17), case)
    inside = replace(case, clip=False)
    result = identify(Lut3D(np.clip(table, 0, 1)))
    assert not wrong_parts(result.candidates[0], inside)


def test_two_names_of_one_set_of_primaries_are_no_conversion() -> None:
    cases = [random_case(seed) for seed in range(5000, 5060)]
    assert all(
        np.abs(gamut_matrix(case) - np.eye(3)).max() > 1e-3
        for case in cases
        if case.kind != "curve"
    )


@pytest.mark.parametrize("name", ["hue rotation", "posterised", "inverted"])
@pytest.mark.slow
def test_no_conversion_at_33_nodes_is_never_sure(name: str) -> None:
    assert identify(Lut3D(negative(name, 33, seed=11))).confidence not in ("high", "medium")


@pytest.mark.parametrize("size", [2, 17])
@pytest.mark.parametrize("odd", ["one channel on one value", "a sliver of the range"])
def test_odd_tables_are_no_conversion(odd: str, size: int) -> None:
    table = build(plain_case(size=size))
    if odd == "one channel on one value":
        table[..., 1] = 0.4
    else:
        table = np.clip(table, 0.5, 0.52)
    assert identify(Lut3D(table)).confidence != "high"


def test_outputs_that_no_pixel_holds_are_refused() -> None:
    table = (build(plain_case(size=2)) - 0.5) * 1e6
    with pytest.raises(LutbenchError, match="cannot be examined"):
        identify(Lut3D(table))


def test_two_pairs_of_gamuts_with_one_matrix_are_told_together() -> None:
    # As from the primaries of one camera's make to another's: which, no LUT can tell.
    bank = knowledge_of(open_catalogue(user=False)).bank
    groups: dict[bytes, list[int]] = {}
    for i in range(1, len(bank)):
        if bank.names[bank.adaptations[i]] == "bradford" and not bank.published[i]:
            # As whole numbers, for zeros have signs.
            key = np.round(bank.matrices[i] * 1e6).astype(np.int64).tobytes()
            groups.setdefault(key, []).append(i)
    twins = [
        (first, second)
        for first, *rest in groups.values()
        for second in rest
        if bank.pair(first).source.name != bank.pair(second).source.name
        and bank.pair(first).target.name != bank.pair(second).target.name
    ]
    assert twins
    one, other = (bank.pair(i) for i in twins[0])
    case = plain_case(
        source_gamut=one.source.name, target_curve="ITU-R BT.709", target_gamut=one.target.name
    )
    best = found(case).candidates[0]
    sources = {best.source.gamut, *best.same_as.source_gamut}
    targets = {best.target.gamut, *best.same_as.target_gamut}
    assert sources >= {one.source.name, other.source.name}
    assert targets >= {one.target.name, other.target.name}


@pytest.mark.slow
def test_a_contrast_with_an_exposure_is_no_conversion_of_the_gamut_alone() -> None:
    """A cubic on the source's own curve comes near, but would have to change the exposure."""
    case = random_case(25056, look=True)
    assert (case.kind, case.exposure) == ("combined", 0.0)
    assert found(case).kind == "combined"


@pytest.mark.parametrize(
    "case",
    [
        # Over signal 1, where a CDL would hold the values, under noise.
        pytest.param(looked("hue rotation", clip=False, precision="noise"), marks=pytest.mark.slow),
        # Rounding hides which of many log curves a cubic was put on: its own is likeliest.
        looked("contrast", kind="gamut", target_curve=camera_curves()[3], precision="10 bit"),
        # Other sources start better and fit well, but no pair of gamuts fits them.
        looked("cdl", kind="gamut", target_curve=camera_curves()[3]),
        # A compressed gamut under saturation and noise: near neutral many sources fit.
        pytest.param(random_case(18221, look=True), marks=pytest.mark.slow),
        # A strong CDL makes HLG of a display curve, a slight one leaves it one.
        pytest.param(
            looked(
                "cdl",
                source_curve="ARIB STD-B67",
                target_curve="gamma 2.6",
                target_gamut="P3-D65",
                precision="10 bit",
            ),
            marks=pytest.mark.slow,
        ),
        # A compressed gamut under a contrast: near neutral two sources fit alike.
        # Its legal codes come as they are published.
        replace(random_case(24077, look=True), source_range="legal"),
        # A compressed gamut under a CDL: near neutral a wrong source fits better than any on all.
        pytest.param(random_case(25125, look=True), marks=pytest.mark.slow),
        # Nodes that leave one of the systems without a single solution.
        random_case(19235),
    ],
    ids=[
        "over white",
        "own curve",
        "another source",
        "compressed",
        "least grade",
        "in doubt",
        "astray",
        "singular",
    ],
)
def test_looks_in_the_way(case: Case) -> None:
    told = judged(found(case), case)
    assert told["kind"]
    assert told["top 1"]
    assert told["range"]


@pytest.mark.parametrize(
    "case",
    [
        # Some thirty nodes clear of clipping.
        looked("contrast", size=17, source_range="legal", target_range="legal", exposure=0.5),
    ],
    ids=["few nodes"],
)
def test_what_is_not_found_under_a_look_is_not_named(case: Case) -> None:
    result = found(case)
    told = judged(result, case)
    assert told["kind"]
    assert told["range"]
    assert told["look"]
    assert result.confidence in ("low", "none")
    assert "source curve" in result.candidates[0].not_told
