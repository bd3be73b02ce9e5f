"""Deliberate exposure, zebra on a LUT's output, highlight guards, stacks of filters, sets.

Checked against colour-science's encodings and plain arithmetic of stops.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest

from lutbench.cli.main import main
from lutbench.errors import LutbenchError
from lutbench.exposure.filters import choose_filter
from lutbench.exposure.levels import levels
from lutbench.exposure.reading import GREY, SKIN, WHITE_CARD
from lutbench.formats.cube_write import write_cube
from lutbench.model.catalogue import open_catalogue
from lutbench.recipes.make import build
from lutbench.tables.lut import Lut3D

NODE = 17.52 / 64
"""Stops from node to node of 65 on ACEScct: 1/17.52 of its signal a stop (S-2016-001)."""

ACESCCT = open_catalogue(user=False).curve("ACEScct")
RECIPE = """
[source]
curve = "ACEScct"
gamut = "ACES AP1"
[target]
curve = "BT.1886"
gamut = "BT.709"
[[lut]]
name = "day"
size = 17
exposure_ladder = [-1, 0, 1]
tone = { method = "shoulder" }
[[lut]]
name = "bands"
kind = "false_colour"
"""


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["levels", *map(str, args)])
    return int(ended.value.code or 0)


@pytest.mark.parametrize("exposed", [-2.0, -0.5, 1.0, 3.0])
def test_exposed_on_purpose_a_subject_lies_where_its_light_does(exposed: float) -> None:
    day = levels(ACESCCT, exposed=exposed)
    for light in (GREY, SKIN, WHITE_CARD):
        expected = colour.models.log_encoding_ACEScct(light * 2.0**exposed)
        assert day.at(light).recorded.signal == pytest.approx(expected, abs=1e-9)
    # The recording clips where it clips: that many stops lower on the subject.
    assert day.levels[-1].stops == pytest.approx(levels(ACESCCT).levels[-1].stops - exposed)


def test_the_ladder_brings_a_deliberate_exposure_back() -> None:
    """A scene of +1 stop through the LUT of -1 stop gives what the plain scene gives plainly."""
    ends = {"source_gamut": "ACES AP1", "target_gamut": "BT.709"}
    plain = build("ACEScct", "BT.1886", size=65, **ends)
    darker = build("ACEScct", "BT.1886", size=65, exposure=-1.0, **ends)
    usual, moved = levels(ACESCCT, plain), levels(ACESCCT, darker, exposed=1.0)
    for light in (0.02, GREY, SKIN):
        before, after = usual.at(light).after_lut, moved.at(light).after_lut
        assert before is not None
        assert after is not None
        # Both LUTs are read between nodes: within what 65 nodes of a log curve are off.
        assert after.percent == pytest.approx(before.percent, abs=0.3)


def test_a_zebra_on_the_output_marks_the_light_that_comes_out_there() -> None:
    lut = build("ACEScct", "BT.1886", source_gamut="ACES AP1", target_gamut="ACES AP1", size=65)
    zebra = levels(ACESCCT, lut).zebra
    for each in zebra.after_lut.settings:
        if each.percent < 10:  # where the LUT's own nodes are far apart in light
            continue
        # BT.1886 with no black: light = signal^2.4 (Recommendation ITU-R BT.1886, annex 1).
        expected = 2.4 * math.log2(each.percent / 100)
        # At white the lattice turns a corner between two nodes: within a node it may be early.
        within = NODE if each.percent == 100 else 0.06
        assert math.log2(each.reflectance) == pytest.approx(expected, abs=within)
    assert {each.percent for each in zebra.after_lut.settings} == {5.0 * n for n in range(1, 21)}


def test_what_no_output_reaches_is_not_offered() -> None:
    dim = Lut3D(Lut3D.identity(5).table * 0.5)
    zebra = levels(ACESCCT, dim).zebra
    assert max(each.percent for each in zebra.after_lut.settings) == 50


def test_guards_warn_before_clipping_and_say_by_how_much() -> None:
    lut = build("ACEScct", "BT.1886", source_gamut="ACES AP1", target_gamut="ACES AP1", size=65)
    zebra = levels(ACESCCT, lut, zebra_min=50).zebra
    assert zebra.guard is not None
    assert zebra.after_lut.guard is not None
    top = math.log2(float(colour.models.log_decoding_ACEScct(1.0)) / 0.18)
    marked = colour.models.log_decoding_ACEScct(zebra.guard.setting.percent / 100)
    assert zebra.guard.before_clip == pytest.approx(top - math.log2(float(marked) / 0.18))
    assert zebra.guard.before_clip >= 0.5
    # White comes out at light 1.0; the recording goes on from there to its own end.
    held = zebra.after_lut.guard.recorded_above
    assert held == pytest.approx(top - math.log2(1 / 0.18), abs=NODE)
    assert "before the LUT's white" in zebra.after_lut.guard.text


def test_filters_stack_and_the_fewest_are_taken() -> None:
    choice = choose_filter(13.5)
    assert choice.weaker is not None
    assert choice.stronger is not None
    assert choice.weaker.density == pytest.approx(3.9)
    assert choice.stronger.density == pytest.approx(4.2)
    assert len(choice.weaker.parts) == 2
    bag = choose_filter(4.0, [0.3, 0.9, 0.6])
    assert bag.stronger is not None  # 1.2 brings it back exactly
    assert bag.stronger.parts == (0.9, 0.3)
    short = choose_filter(12.0, [0.9])
    assert short.stronger is None
    assert "stop down as well" in short.text
    with pytest.raises(LutbenchError, match="density 9"):
        choose_filter(3.0, [9.0])


def test_a_recipe_shows_all_its_luts_and_the_one_for_the_exposure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "day.toml").write_text(RECIPE, encoding="utf-8")
    assert run(tmp_path / "day.toml", "--expose", "+1", "--json") == 0
    told = capsys.readouterr()
    data: dict[str, Any] = json.loads(told.out)
    assert [each["name"] for each in data["luts"]] == ["day_m1", "day_p0", "day_p1", "bands"]
    assert data["paired"] == ["day_m1"]
    assert data["luts"][3]["levels"] is None
    assert "false colour" in data["luts"][3]["note"]
    assert "curve ACEScct, as" in told.err
    assert run(tmp_path / "day.toml", "--expose", "+2") == 0
    assert "exposure_ladder = [-2]" in capsys.readouterr().out
    assert run(tmp_path / "day.toml", "--csv") == 0
    rows = capsys.readouterr().out.splitlines()
    assert rows[0].startswith("name,curve,exposure_stops,grey_card_recorded,dark_skin_recorded")
    assert len(rows) == 4
    assert run(tmp_path / "day.toml", "--card", tmp_path / "card.png") == 2
    assert "RECIPE.toml#NAME" in capsys.readouterr().err


def test_a_folder_of_luts_is_a_set(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ends = {"source_gamut": "ACES AP1", "target_gamut": "BT.709"}
    write_cube(build("ACEScct", "BT.1886", size=9, **ends), tmp_path / "told.cube")
    write_cube(Lut3D.identity(5), tmp_path / "silent.cube")
    assert run(tmp_path, "--json") == 0
    luts = {each["name"]: each for each in json.loads(capsys.readouterr().out)["luts"]}
    assert luts["silent.cube"]["levels"] is None
    assert "name it with --curve" in luts["silent.cube"]["note"]
    grey = next(
        each for each in luts["told.cube"]["levels"]["levels"] if each["reflectance"] == 0.18
    )
    # Academy S-2016-001: mid grey at 0.4135884 of ACEScct.
    assert grey["percent"] == pytest.approx(41.35884, abs=1e-3)


def test_a_lut_whose_file_is_silent_is_identified_and_called_a_guess(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ends = {"source_gamut": "ACES AP1", "target_gamut": "BT.709"}
    lut = build("ACEScct", "BT.1886", size=33, **ends)
    write_cube(Lut3D(np.array(lut.table)), tmp_path / "silent.cube")
    assert run(tmp_path / "silent.cube") == 0
    told = capsys.readouterr()
    assert "Levels of ACEScct" in told.out
    assert "a guess from the numbers of the LUT" in told.err


def test_a_file_whose_curve_is_not_known_here_is_told_how_to_define_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lut = build("ACEScct", "BT.1886", source_gamut="ACES AP1", target_gamut="BT.709", size=9)
    comments = ("source: curve Unheard Log, gamut ACES AP1, full range",)
    write_cube(Lut3D(np.array(lut.table), comments=comments), tmp_path / "far.cube")
    assert run(tmp_path / "far.cube") == 2
    assert "'Unheard Log', which is not known here; accepted: the file that defines it with" in (
        capsys.readouterr().err
    )


def test_a_narrow_terminal_cuts_no_figure_off(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    lut = build("ACEScct", "BT.1886", source_gamut="ACES AP1", target_gamut="BT.709", size=9)
    for name in ("a_rather_long_name_p1.cube", "another.cube"):
        write_cube(lut, tmp_path / name)
    for what, last in ((tmp_path / "another.cube", "940"), (tmp_path, "100 %")):
        assert run(what) == 0
        told = capsys.readouterr()
        assert "…" not in told.out
        assert last in told.out
    assert told.err.count("as the comments of the LUTs say") == 1
