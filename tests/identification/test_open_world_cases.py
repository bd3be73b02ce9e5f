"""The LUTs from elsewhere, on which `identify` is judged: each is what it says it is.

The truth of a case is put together again by another route: the steps that the truth
names are taken from the project's model, where the case took them from colour-science
and from the Recommendations.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import open_world
import pytest
from open_world.case import PARTS, Case, Step, Truth, run
from open_world_score import judge, score

from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.gamuts import conversion
from lutbench.model.signal import RangeFromSignal, SignalFromRange

FAMILIES = sorted(open_world.families())
SEED = 3

BAKED_OTHERWISE = {"smoothed", "linear with a shaper", "resampled from fewer nodes"}
"""Their nodes are not the steps at the nodes: that is what they are about."""


@pytest.fixture(scope="module")
def cases() -> dict[str, Case]:
    return {}


def _case(cases: dict[str, Case], family: str) -> Case:
    if family not in cases:
        cases[family] = open_world.case(family, SEED)
    return cases[family]


@pytest.mark.parametrize("family", FAMILIES)
def test_a_family_gives_a_finite_table_that_its_steps_explain(
    family: str, cases: dict[str, Case]
) -> None:
    case = _case(cases, family)
    lut = case.lut
    tables = [getattr(lut, "lut", lut).table]
    assert all(np.isfinite(each).all() for each in tables)
    assert tables[0].min() >= -1e-9
    assert tables[0].max() <= 1 + 1e-9
    if not case.steps or family in BAKED_OTHERWISE:
        return
    size = lut.table.shape[0]
    nodes = np.random.default_rng(0).integers(0, size, (50, 3)) / (size - 1)
    nodes = nodes if lut.table.ndim == 4 else np.repeat(nodes[:, :1], 3, axis=1)
    # Four decimals at least: half of the last.
    assert np.abs(lut.apply(nodes) - run(case.steps, nodes)).max() < 0.51e-4


@pytest.mark.parametrize("family", FAMILIES)
def test_the_truth_gives_the_same_by_another_route(family: str, cases: dict[str, Case]) -> None:
    case = _case(cases, family)
    other = [_by_the_model(step, case.truth) for step in case.steps]
    if not case.steps or all(
        mine is theirs for mine, theirs in zip(case.steps, other, strict=True)
    ):
        assert case.truth.unnamed or case.recipe or "look" in family
        return
    rng = np.random.default_rng(1)
    # Within the reach of a picture, and pale: near black a display's power makes much
    # of the last digits of published primaries.
    signal = rng.uniform(0.35, 0.85, (200, 1)) + rng.uniform(-0.05, 0.05, (200, 3))
    mine, theirs = run(case.steps, signal), run(other, signal)
    assert np.abs(mine - theirs).max() < 2e-4


def _by_the_model(step: Step, truth: Truth) -> Step:
    """The step as the model makes it from the names of the truth; itself where it has none."""
    names = open_catalogue(user=False)
    source, target = truth.names("source_curve"), truth.names("target_curve")
    match step.part:
        case "source curve" if source:
            return replace(step, apply=names.curve(source[0]).decode)
        case "target curve" if target or (truth.kind == "gamut" and source):
            return replace(step, apply=names.curve((target or source)[0]).encode)
        case "gamut" if truth.names("source_gamut") and truth.names("target_gamut"):
            gamuts = [names.gamut(truth.names(part)[0]) for part in PARTS if "gamut" in part]
            return replace(step, apply=conversion(*gamuts).apply)
    return step


def test_ranges_are_those_of_the_model() -> None:
    from open_world.ends import legal_codes

    for bits in (8, 10):
        low, high = legal_codes(bits)
        ends = RangeFromSignal("legal", bits).apply([[0.0] * 3, [1.0] * 3])[:, 0]
        assert ends == pytest.approx([low, high], abs=1e-12)
        back = SignalFromRange("legal", bits).apply([[low] * 3, [high] * 3])[:, 0]
        assert back == pytest.approx([0, 1], abs=1e-12)


def test_a_seed_gives_the_same_bytes() -> None:
    first, second = (open_world.case("curve only", 8).text for _ in range(2))
    assert first == second
    assert first != open_world.case("curve only", 9).text


def test_a_catalogue_without_a_name_does_not_know_it_by_any_of_its_names() -> None:
    whole = open_catalogue(user=False)
    entry = next(each for each in whole.gamuts() if each.aliases and each.origin == "registry")
    less = Catalogue(without=frozenset({entry.name, "BT.1886"}))
    assert len(less.gamuts()) == len(whole.gamuts()) - 1
    assert len(less.curves()) == len(whole.curves()) - 1
    for name in (entry.name, *entry.aliases):
        with pytest.raises(Exception, match="no gamut is named"):
            less.gamut(name)
    with pytest.raises(Exception, match="no curve is named"):
        less.curve("ITU-R BT.1886")


def _report(**changes: object) -> dict[str, object]:
    best: dict[str, object] = {
        "source": {"curve": "ACEScct", "gamut": "ACES AP1", "range": "full"},
        "target": {"curve": "BT.1886", "gamut": "BT.709", "range": "full"},
        "confidence": "high",
        "exposure_stops": 0.0,
        "same_as": {},
        "certainty": dict.fromkeys(PARTS, "sure"),
    }
    return {"kind": "combined", "look": {"present": False}, "candidates": [best | changes]}


TRUTH = Truth(
    kind="combined",
    source_curve="ACEScct",
    source_gamut="ACES AP1",
    source_range="full",
    target_curve="BT.1886",
    target_gamut="BT.709",
    target_range="full",
    exposure=0.0,
    look=False,
)


def _score(truth: Truth, **changes: object) -> dict[str, str]:
    return score(Case("a test", b"", truth), _report(**changes)).parts


def test_the_scorer_knows_right_wrong_and_untold() -> None:
    assert set(_score(TRUTH).values()) == {"right"}
    assert len(_score(TRUTH)) == 9
    wrong = {"curve": "ACEScc", "gamut": "ACES AP0", "range": "legal"}
    parts = _score(TRUTH, source=wrong)
    assert [parts[each] for each in PARTS] == ["wrong"] * 3 + ["right"] * 3
    assert _score(TRUTH, confidence="low")["kind"] == "right"
    for word, verdict in (("likely", "wrong"), ("a guess", "wrong"), ("not told", "untold")):
        parts = _score(TRUTH, source=wrong, certainty=dict.fromkeys(PARTS, word))
        assert parts["source_curve"] == verdict
    assert _score(TRUTH, exposure_stops=0.5)["exposure"] == "wrong"


def test_another_name_of_the_same_is_right_and_a_short_tie_too() -> None:
    target = {"curve": "gamma 2.4", "gamut": "Rec.709", "range": "full"}
    assert set(_score(TRUTH, target=target).values()) == {"right"}
    other = {"curve": "sRGB", "gamut": "BT.709", "range": "full"}
    assert _score(TRUTH, target=other)["target_curve"] == "wrong"
    tie = {"target_curve": ["BT.1886", "gamma 2.4"]}
    assert _score(TRUTH, target=other, same_as=tie)["target_curve"] == "right"
    many = {"target_curve": ["BT.1886", "gamma 2.2", "gamma 2.6", "BT.709"]}
    assert _score(TRUTH, target=other, same_as=many)["target_curve"] == "untold"


def test_a_name_where_there_is_none_is_counted() -> None:
    truth = replace(TRUTH, source_curve=None, unnamed=frozenset({"source_curve"}))
    found = score(Case("a test", b"", truth), _report())
    assert found.nameless == {"source_curve": "sure"}
    assert "source_curve" not in found.parts


def test_no_candidate_tells_nothing() -> None:
    found = score(Case("a test", b"", TRUTH), {"kind": "unknown", "candidates": []})
    assert {found.parts[each] for each in PARTS} == {"untold"}


def test_a_case_is_judged_from_end_to_end() -> None:
    found = judge(open_world.case("gamut only", 0))
    assert not found.fault
    assert set(found.parts) >= {"source_curve", "source_gamut", "target_gamut"}
