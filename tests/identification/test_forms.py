"""Views of other forms than a tone curve on each channel, and encodings that have no name.

The LUTs are those of `tests/cases/open_world`: published formulas and colour-science.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import open_world
import pytest
from click.testing import CliRunner
from open_world_score import same

from lutbench.cli.identify import command
from lutbench.cli.split import command as split_command
from lutbench.identification import Identification, identify
from lutbench.identification.result import LIKELY
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.definitions import read_definitions
from lutbench.tables.lut import Lut3D


@cache
def known() -> Catalogue:
    return open_catalogue(user=False)


@cache
def found(family: str, seed: int) -> tuple[Any, Identification]:
    case = open_world.case(family, seed)
    catalogue = Catalogue(without=case.without) if case.without else known()
    return case, identify(case.lut, catalogue=catalogue)


VIEWS = (
    pytest.param("HLG to SDR", 0, marks=pytest.mark.slow),
    ("tone on luminance", 0),
)


@pytest.mark.parametrize(("family", "seed"), VIEWS)
def test_a_view_of_another_form_is_named(family: str, seed: int) -> None:
    case, answer = found(family, seed)
    best = answer.best
    assert best is not None
    for part in ("source_curve", "source_gamut", "target_gamut"):
        end, _, key = part.partition("_")
        name = getattr(getattr(best, end), key)
        assert any(same(part, truth, name) for truth in case.truth.names(part)), part
    assert best.probabilities["source curve"] >= LIKELY


@pytest.mark.slow
def test_a_matrix_of_its_own_leaves_the_curve_told_and_the_gamuts_not() -> None:
    # Its outset does not undo its inset, so that no pair of gamuts has its matrix.
    case, answer = found("matrix, curve, matrix in light", 0)
    best = answer.best
    assert best is not None
    assert same("source_curve", case.truth.names("source_curve")[0], best.source.curve or "")
    assert {"source gamut", "target gamut"} <= set(best.not_told)
    assert "source curve" not in best.not_told


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.slow
def test_a_camera_that_nobody_registered_is_measured_and_not_named(seed: int) -> None:
    case, answer = found("unregistered camera (parametric log)", seed)
    assert answer.confidence in ("low", "none")
    best = answer.best
    assert best is None or "source curve" in best.not_told
    assert case.hidden_curve is not None


@pytest.mark.slow
def test_a_measured_curve_is_that_of_the_camera(tmp_path: Path) -> None:
    case = open_world.case("unregistered camera (parametric log)", 5)
    lut, out = tmp_path / "lut.cube", tmp_path / "found.toml"
    lut.write_bytes(case.text)
    result = CliRunner().invoke(command, [str(lut), "--definitions-out", str(out)])
    assert result.exit_code == 0, result.output
    curve = read_definitions(out).curves["measured curve"]
    signal = np.linspace(0.02, 0.98, 400)
    truth = case.hidden_curve(signal)
    inside = (truth > 0.18 / 16) & (truth < 0.18 * 16)
    ratio = curve.decode(signal[inside]) / truth[inside]
    # The scale of light is free. Half a percent of light is 0.007 stops: under a code.
    assert np.median(np.abs(ratio / np.median(ratio) - 1)) < 0.005


def test_definitions_are_refused_where_names_explain_all(tmp_path: Path) -> None:
    lut = tmp_path / "lut.cube"
    lut.write_bytes(open_world.case("plain conversion", 0).text)
    result = CliRunner().invoke(command, [str(lut), "--definitions-out", str(tmp_path / "x.toml")])
    assert isinstance(result.exception, Exception)
    assert "no definition to write" in str(result.exception)
    assert not (tmp_path / "x.toml").exists()


@pytest.mark.parametrize("size", [2, 3, 4])
def test_few_nodes_are_no_fault(size: int) -> None:
    rng = np.random.default_rng(size)
    table = np.sort(rng.uniform(0, 1, (size, size, size, 3)), axis=0)
    assert identify(Lut3D(table), catalogue=known()).confidence != "high"


def test_what_stands_beside_curves_and_a_matrix_is_said() -> None:
    _, hlg = found("HLG to SDR", 0)
    _, luminance = found("tone on luminance", 0)
    assert "an HLG display of 1000 cd/m²" in hlg.explanation
    assert "a tone curve on luminance" in luminance.explanation


def test_a_saturation_in_light_is_told_from_another_pair_of_gamuts() -> None:
    case, answer = found("saturation in light", 712)
    best = answer.best
    assert best is not None
    assert same("source_gamut", str(case.truth.source_gamut), best.source.gamut or "")
    # The amount is that of the case's own draw, to the two decimals that are said.
    assert "a saturation of 1.23 in light" in answer.explanation


@pytest.mark.slow
def test_split_says_what_its_parts_leave_out(tmp_path: Path) -> None:
    lut = tmp_path / "lut.cube"
    lut.write_bytes(found("HLG to SDR", 0)[0].text)
    result = CliRunner().invoke(split_command, [str(lut), "-o", str(tmp_path / "parts")])
    assert result.exit_code == 0, result.output
    text = " ".join(result.output.split())
    assert "look.cube holds more than a look" in text
    assert "No look" not in text


def test_probabilities_are_told() -> None:
    _, answer = found("tone on luminance", 0)
    told = answer.to_data()["candidates"][0]["probabilities"]
    assert set(told) >= {"source_curve", "source_gamut", "target_gamut"}
    assert all(0 <= value <= 1 for value in told.values())
