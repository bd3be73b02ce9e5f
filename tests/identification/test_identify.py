"""Identify: LUTs that colour-science made are named again.

The LUTs come from tests/cases/identification_cases.py, an independent route:
colour-science decodes, converts and encodes; nothing of lutbench takes part.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from identification_cases import Case, build, negative, random_case
from identification_score import wrong_parts

from lutbench.cli.main import main
from lutbench.formats.cube_write import write_cube
from lutbench.identification import identify
from lutbench.tables.lut import Lut3D, lattice

pytestmark = pytest.mark.filterwarnings("ignore:.*encountered in:RuntimeWarning")

ADAPT = "Bradford"
PLAIN = [
    replace(
        random_case(seed, size=33), tone="clip", precision="six decimals", adaptation="Bradford"
    )
    for seed in range(8)
]


def lut_of(case: Case) -> Lut3D:
    return Lut3D(build(case))


@pytest.fixture(scope="module")
def answers() -> list[tuple[Case, object]]:
    return [(case, identify(lut_of(case))) for case in PLAIN]


def test_kinds_are_all_right(answers: list[tuple[Case, object]]) -> None:
    assert [found.kind for _, found in answers] == [case.kind for case, _ in answers]  # type: ignore[attr-defined]


def test_curves_and_gamuts_are_named(answers: list[tuple[Case, object]]) -> None:
    missed = {
        case.seed: wrong_parts(found.candidates[0], case)  # type: ignore[attr-defined]
        for case, found in answers
        if not found.candidates or wrong_parts(found.candidates[0], case)  # type: ignore[attr-defined]
    }
    # A small seeded sample; the floor leaves room for one true ambiguity.
    assert len(missed) <= 1, missed


def test_high_is_right(answers: list[tuple[Case, object]]) -> None:
    sure = [(case, found) for case, found in answers if found.confidence == "high"]  # type: ignore[attr-defined]
    assert len(sure) >= len(answers) // 2
    assert all(not wrong_parts(found.candidates[0], case) for case, found in sure)  # type: ignore[attr-defined]


def test_ranges_are_told(answers: list[tuple[Case, object]]) -> None:
    for case, found in answers:
        best = found.candidates[0]  # type: ignore[attr-defined]
        assert (best.source.range, best.target.range) == (case.source_range, case.target_range)


@pytest.mark.parametrize(
    "name",
    [
        "random smooth",
        pytest.param("hue rotation", marks=pytest.mark.slow),
        "posterised",
        "inverted",
        pytest.param("channel swap", marks=pytest.mark.slow),
    ],
)
def test_what_is_no_conversion_is_never_sure(name: str) -> None:
    found = identify(Lut3D(negative(name, 17, seed=4)))
    assert found.confidence != "high"


def test_an_identity_is_one() -> None:
    found = identify(Lut3D(lattice(33)))
    assert (found.kind, found.look.present) == ("identity", False)


def test_the_command_gives_the_contract(
    tmp_path,
    capsys: pytest.CaptureFixture[str],  # type: ignore[no-untyped-def]
) -> None:
    import json

    case = next(each for each in PLAIN if each.kind == "combined")
    write_cube(lut_of(case), tmp_path / "a.cube")
    with pytest.raises(SystemExit) as end:
        main(["identify", str(tmp_path / "a.cube"), "--json"])
    assert not end.value.code
    data = json.loads(capsys.readouterr().out)
    assert {"schema", "kind", "candidates", "look", "notes"} <= set(data)
    best = data["candidates"][0]
    assert {"source", "target", "exposure_stops", "error", "same_as"} <= set(best)
    assert set(best["same_as"]) == {
        "source_curve",
        "source_gamut",
        "target_curve",
        "target_gamut",
    }
    assert {"present", "delta_e_2000"} <= set(data["look"])
