"""The box: levels by colour-science, and words that say where an answer is from."""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import pytest

from lutbench.cli.main import main
from lutbench.formats.comments import ends_in_comments
from lutbench.formats.cube_write import write_cube
from lutbench.inspection.inspection import inspect
from lutbench.model.catalogue import open_catalogue
from lutbench.model.false_colour import FalseColour, default_bands
from lutbench.recipes.make import build
from lutbench.report.inspection_words import scene_words
from lutbench.tables.lut import Lut3D
from lutbench.tables.nodes import sample

ENDS = {
    "source_curve": "ACEScct",
    "source_gamut": "ACES AP1",
    "target_curve": "BT.1886",
    "target_gamut": "BT.709",
}


@pytest.fixture(scope="module")
def day() -> Lut3D:
    """A LUT of our own making, whose comments tell its ends."""
    lut = build(**ENDS, tone="clip", size=65)  # type: ignore[arg-type]
    assert isinstance(lut, Lut3D)
    return lut


def test_a_lut_of_ours_tells_its_ends_and_levels(day: Lut3D) -> None:
    """Percent before by colour-science's ACEScct; after by BT.1886, exponent 2.4."""
    found = inspect(day)
    assert found.known_by == "file"
    assert found.box.expects == "ACEScct, ACES AP1, full range (as the file says)"
    lines = {line.label.split(" (")[0]: line for line in found.box.lines}
    for label, light in (
        ("grey card", 0.18), ("dark skin", 0.09), ("light skin", 0.36), ("white card", 0.9),
    ):  # fmt: skip
        before = 100 * float(colour.log_encoding(light, function="ACEScct"))
        assert lines[label].before == pytest.approx(before, abs=0.01)
        # Straight between nodes of 65: near the corner at clipping a percent is lost.
        assert lines[label].after == pytest.approx(100 * light ** (1 / 2.4), abs=1.0)
    assert lines["clip"].before == pytest.approx(100, abs=1e-6)


def test_a_file_that_says_nothing_gets_no_level_and_says_what_would_settle_it(day: Lut3D) -> None:
    silent = inspect(Lut3D(day.table))
    assert silent.box.lines == ()
    assert silent.box.zebra == ""
    assert "does not name" in silent.box.expects
    assert "--source-curve" in silent.box.unsure


def test_a_name_by_the_user_beats_the_file(day: Lut3D) -> None:
    found = inspect(day, source_curve="BT.709")
    assert found.known_by == "named"
    assert found.box.expects.startswith("BT.709, full range")


def test_a_name_by_the_user_leaves_the_range_that_the_file_states() -> None:
    lut = build(**ENDS, size=17, source_range="legal")  # type: ignore[arg-type]
    assert inspect(lut, source_curve="ACEScct").box.expects.startswith(
        "ACEScct, ACES AP1, legal range"
    )
    assert inspect(lut, source_curve="BT.709").box.expects.startswith("BT.709, legal range")
    given = inspect(lut, source_curve="ACEScct", source_range="full")
    assert given.box.expects.startswith("ACEScct, ACES AP1, full range")


def test_what_it_is_not_good_for_follows_the_findings(day: Lut3D) -> None:
    tinted = inspect(Lut3D(day.table * [1.0, 0.97, 0.95], comments=day.comments))
    assert any("white balance" in each for each in tinted.box.not_for)
    assert not any("white balance" in each for each in inspect(day).box.not_for)
    swapped = inspect(Lut3D(day.table[..., ::-1], comments=day.comments)).box
    assert swapped.good_for == "nothing, as it stands"
    assert swapped.lines == ()


def test_false_colour_is_for_exposure() -> None:
    known = open_catalogue(user=False)
    curve = known.curve("ACEScct")
    bands = default_bands(float(np.log2(curve.clip / 0.18)))
    lut = sample(FalseColour(curve, known.gamut("ACES AP1"), bands), 65)
    box = inspect(lut).box
    assert scene_words(inspect(lut, source_curve="ACEScct")) == []
    assert "exposure" in box.good_for
    assert "anything but exposure" in box.not_for


@pytest.mark.parametrize(
    ("line", "side", "curve", "gamut", "name"),
    [
        ("source: curve BT.709, full range", "source", "BT.709", None, "full"),
        (
            "target: curve sRGB, gamut BT.709, legal range for 10 bit",
            "target",
            "sRGB",
            "BT.709",
            "legal",
        ),
    ],
)
def test_comments_are_read(line: str, side: str, curve: str, gamut: str | None, name: str) -> None:
    end = ends_in_comments([line])[side]
    assert (end.curve, end.gamut, end.range) == (curve, gamut, name)


def test_an_unknown_name_in_a_comment_tells_nothing(day: Lut3D) -> None:
    odd = Lut3D(day.table, comments=("source: curve Nobody Log, gamut Nowhere, full range",))
    assert inspect(odd).known_by == ""


def test_the_report_has_the_box_before_all_else(
    day: Lut3D, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_cube(day, tmp_path / "day.cube")
    with pytest.raises(SystemExit):
        main(["inspect", str(tmp_path / "day.cube")])
    printed = capsys.readouterr().out
    assert printed.index("set the monitor to") < printed.index("Findings") < printed.index("Levels")
    assert printed.index("Levels") < printed.index("recipe sha256")


def test_a_monitor_is_never_to_be_set_to_a_cameras_gamut() -> None:
    lut = build("ACEScct", "BT.1886", source_gamut="ACEScg", kind="curve", size=17)
    found = inspect(lut, source_curve="ACEScct", source_gamut="ACEScg", target_curve="BT.1886")
    assert "ACES" not in found.box.monitor
    assert found.box.monitor.startswith("BT.1886, in its usual gamut")


@pytest.mark.parametrize(
    ("curve", "comes_out", "good_for"),
    [
        ("Cineon", "Cineon comes out, not a picture", "use before a LUT for Cineon"),
        ("linear", "linear light comes out, not a picture", "pipelines that take linear light"),
    ],
)
def test_log_and_light_are_not_for_a_monitor(curve: str, comes_out: str, good_for: str) -> None:
    box = inspect(build(**ENDS | {"target_curve": curve}, size=17)).box  # type: ignore[arg-type]
    assert box.monitor.startswith(comes_out)
    assert box.good_for == good_for
    assert "judging a picture" in box.not_for


def test_a_table_in_per_cent_is_not_for_a_monitor(day: Lut3D) -> None:
    box = inspect(Lut3D(100 * day.table)).box
    assert box.monitor.startswith("values up to 100 come out, not a signal from 0 to 1")
    assert "no monitor" in box.good_for


def test_of_an_unusable_table_only_the_fault_and_its_cure_are_said(day: Lut3D) -> None:
    found = inspect(Lut3D(day.table * 1023))
    assert found.verdict.startswith("Do not use it: the values are 10-bit codes")
    assert [name for name, _ in found.box.rows] == ["good for", "fault", "cure"]
    assert "lutbench rework repair" in dict(found.box.rows)["cure"]


def test_the_verdict_gives_grey_as_the_table_below_it_does(day: Lut3D) -> None:
    legal = inspect(Lut3D((64 + 876 * day.table) / 1023, title="view, full range",
                          comments=()), source_curve="ACEScct", target_range="legal")  # fmt: skip
    grey = legal.box.lines[0]
    assert f"comes out at {grey.after:.0f} %" in legal.verdict
    assert grey.after == pytest.approx(inspect(day).box.lines[0].after, abs=0.1)


def test_what_the_user_gives_counts_more_than_the_comments(day: Lut3D) -> None:
    plain, legal = inspect(day), inspect(day, target_range="legal", target_gamut="BT.2020")
    assert (plain.target_range, plain.target.gamut.name) == ("full", "BT.709")
    assert (legal.target_range, legal.target.gamut.name) == ("legal", "BT.2020")
    assert legal.target.curve.name == plain.target.curve.name == "BT.1886"
    assert legal.known_by == "file"


def test_the_target_is_the_file_s_also_where_the_source_is_named(tmp_path: Path) -> None:
    """A PQ LUT must not send the monitor to SDR because the user named the recording."""
    ends = {"source_gamut": "ACEScg", "target_gamut": "BT.2020", "size": 9}
    write_cube(build("ACEScct", "ST 2084", **ends), tmp_path / "hdr.cube")
    named = {"source_curve": "ACEScct", "source_gamut": "ACEScg"}
    assert inspect(tmp_path / "hdr.cube", **named).box.monitor.startswith("ST 2084, BT.2020;")
    given = inspect(tmp_path / "hdr.cube", **named, target_curve="BT.1886", target_gamut="BT.709")
    assert given.box.monitor.startswith("BT.1886, BT.709;")


def test_a_target_that_nobody_names_is_assumed(tmp_path: Path) -> None:
    ends = {"source_gamut": "ACEScg", "target_gamut": "BT.709", "size": 9}
    lut = Lut3D(build("ACEScct", "BT.1886", **ends).table)
    found = inspect(lut, source_curve="ACEScct", source_gamut="ACEScg")
    assert "BT.1886, BT.709 (assumed: the file does not say)" in found.box.monitor
    assert found.to_data()["seen_as"]["known_by"] is None
