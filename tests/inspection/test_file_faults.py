"""Damaged files: each is named, and cured or refused; sound ones are left alone."""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import permutations
from pathlib import Path

import colour
import numpy as np
import pytest
from file_damage import FILE_DAMAGES, REVERSED, SOUND, SWAPPED, FileDamage, commas
from open_world import case

import lutbench
from lutbench import open_lut
from lutbench.cli.main import main
from lutbench.errors import FormatError, LutbenchError
from lutbench.formats.cube import parse_cube
from lutbench.formats.cube_faults import cube_fault
from lutbench.formats.cube_write import format_cube
from lutbench.inspection.cures import CURES, repair
from lutbench.inspection.inspection import inspect
from lutbench.tables.lut import Lut3D

OF_THE_TEXT = {
    "decimal_commas", "separators", "wrong_size", "no_size", "utf16", "short_table", "missing_rows",
}  # fmt: skip


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(each) for each in args])
    return int(ended.value.code or 0)


def test_there_are_forty_and_they_differ() -> None:
    assert len(FILE_DAMAGES) >= 40
    assert len({each.data for each in FILE_DAMAGES}) == len(FILE_DAMAGES)


@pytest.mark.parametrize("damage", FILE_DAMAGES, ids=str)
def test_every_fault_is_named(damage: FileDamage) -> None:
    if damage.code in OF_THE_TEXT:
        fault = cube_fault(damage.data)
        assert fault is not None
        assert fault.code == damage.code
        assert (fault.cured is not None) == damage.cured
        with pytest.raises(FormatError) as refused:
            parse_cube(damage.data, "file.cube")
        assert fault.message in str(refused.value)
        assert "file.cube" in str(refused.value)
        return
    found = inspect(parse_cube(damage.data).lut).findings
    assert found[0].code == damage.code, [each.code for each in found]
    assert found[0].advice
    assert found[0].severity != "info"


@pytest.mark.parametrize("damage", FILE_DAMAGES, ids=str)
def test_every_fault_is_cured_or_refused(
    damage: FileDamage, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken, out = tmp_path / "broken.cube", tmp_path / "cured.cube"
    broken.write_bytes(damage.data)
    status = run("rework", "repair", broken, "-o", out, "--json")
    printed = capsys.readouterr()
    if not damage.cured:
        assert status == 2
        assert printed.err.count("\n") == 1
        assert not out.exists()
        return
    assert status == 0, printed.err
    assert json.loads(printed.out)["changes"]
    cured = open_lut(out)
    assert isinstance(cured, Lut3D)
    points = np.random.default_rng(3).random((500, 3)) * 0.8 + 0.1
    off = np.abs(np.asarray(cured.apply(points)) - damage.before.apply(points))
    if damage.code == "inverse_of_title":
        # An inverse of an inverse, of 17 nodes each: what it never reached cannot come back.
        assert np.median(off) < 0.01
        return
    assert off.max() <= damage.within + 1e-6
    assert damage.code not in {each.code for each in inspect(cured).findings}


def test_what_is_cured_and_what_is_left_are_both_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    twice = next(each for each in FILE_DAMAGES if each.code == "duplicate_nodes")
    broken, out = tmp_path / "broken.cube", tmp_path / "cured.cube"
    broken.write_bytes(commas()(twice.data))
    assert run("rework", "repair", broken, "-o", out, "--json") == 0
    codes = [each["code"] for each in json.loads(capsys.readouterr().out)["changes"]]
    assert codes[0] == "text"
    assert "duplicate_nodes_left" in codes
    np.testing.assert_array_equal(open_lut(out).table, parse_cube(twice.data).lut.table)


def test_a_run_stuck_in_a_clipped_plateau_is_found() -> None:
    table = np.clip(2 * Lut3D.identity(17).table, 0, 1)
    assert "stuck_values" not in {each.code for each in inspect(Lut3D(table)).findings}
    table[9:16, 12, 13] = (0.8, 0.9, 1.0)
    found = inspect(Lut3D(table)).findings
    assert [each.code for each in found] == ["stuck_values"]
    assert found[0].value == 7


@pytest.mark.parametrize("first", [(9, 13, 13), (13, 14, 14), (0, 2, 1)])
def test_eight_rows_of_one_channel_stuck_where_it_is_clipped_are_found(
    first: tuple[int, int, int],
) -> None:
    """Inside the plateau, from one line of the file on into the next, and in clipped shadows."""
    sound = np.clip(3 * Lut3D.identity(17).table - 1, 0, 1)
    assert "stuck_values" not in {each.code for each in inspect(Lut3D(sound)).findings}
    rows = sound.transpose(2, 1, 0, 3).reshape(-1, 3)
    start = int(np.ravel_multi_index(first[::-1], (17, 17, 17)))
    rows[start : start + 8, 1] = 0.9 if rows[start, 1] > 0.5 else 0.1
    broken = Lut3D(rows.reshape(17, 17, 17, 3).transpose(2, 1, 0, 3))
    found = inspect(broken).findings
    assert [each.code for each in found] == ["stuck_values"]
    assert "the same green" in found[0].message


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("start", [9 * 289, 9 * 289 + 40])
@pytest.mark.parametrize("name", ["view", "video", "gamut", "display"])
def test_a_channel_stuck_to_the_end_of_the_file_is_found(
    name: str, start: int, channel: int
) -> None:
    """From a whole plane on, or from within one: at what it was there, often the lowest value."""
    rows = SOUND[name].table.transpose(2, 1, 0, 3).reshape(-1, 3).copy()
    rows[start:, channel] = rows[start, channel]
    found = inspect(Lut3D(rows.reshape(17, 17, 17, 3).transpose(2, 1, 0, 3))).findings
    assert [each.code for each in found] == ["stuck_values"]


@pytest.mark.parametrize(
    "title", ["log to video", "day_log2rec709", "film-log to 709 v2", "LOG-TO-REC709"]
)
def test_a_title_names_a_direction_in_many_spellings(title: str) -> None:
    light = np.maximum(colour.models.eotf_BT1886(np.linspace(0, 1, 17)), 1e-9)
    encoded = colour.models.log_encoding_ACEScct(light)
    table = encoded[np.rint(16 * Lut3D.identity(17).table).astype(int)]
    assert [each.code for each in inspect(Lut3D(table, title=title)).findings] == [
        "inverse_of_title"
    ]
    turned = inspect(Lut3D(table, title="video2log")).findings
    assert "inverse_of_title" not in {each.code for each in turned}


def test_what_may_be_intended_is_named_and_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tinted, out = tmp_path / "tinted.cube", tmp_path / "same.cube"
    tinted.write_bytes(format_cube(Lut3D(np.clip(SOUND["view"].table * [1, 1, 0.95], 0, 1))))
    assert run("rework", "repair", tinted, "-o", out) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert "kept, as it may be intended (--only tint repairs it)" in printed
    assert "nothing had to be changed" not in printed
    np.testing.assert_array_equal(open_lut(out).table, open_lut(tinted).table)


def test_a_repair_of_nothing_is_refused_in_python_too() -> None:
    twice = next(each for each in FILE_DAMAGES if each.code == "duplicate_nodes")
    with pytest.raises(LutbenchError, match="nothing was repaired"):
        lutbench.repair(parse_cube(twice.data).lut)


@pytest.mark.slow
@pytest.mark.parametrize(("cure", "damage"), [("axes", REVERSED), ("channels", SWAPPED)])
def test_red_and_blue_that_have_changed_places_unclearly_are_left_to_the_user(
    cure: str, damage: Callable[[bytes], bytes]
) -> None:
    """A look that no names explain: which of the two it is, nothing in the table says."""
    nodes = np.stack(np.meshgrid(*[np.linspace(0, 1, 9)] * 3, indexing="ij"), axis=-1)
    curved = 0.05 + 0.9 * nodes ** [0.7, 1.2, 1.0] + 0.04 * np.sin(9 * nodes)
    sound = Lut3D(np.round(curved @ [[0.9, 0, 0.1], [0.1, 1, 0.2], [0, 0, 0.7]], 6))
    broken = parse_cube(damage(format_cube(sound))).lut
    first = inspect(broken).findings[0]
    assert first.code == "axis_order"
    assert "it cannot tell which" in first.message
    with pytest.raises(LutbenchError, match="--only channels"):
        repair(broken)
    np.testing.assert_allclose(repair(broken, (cure,)).lut.table, sound.table, atol=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize(("damage", "code"), [(REVERSED, "axis_order"), (SWAPPED, "channel_order")])
def test_a_look_whose_half_is_clipped_is_put_back_rightly(
    damage: Callable[[bytes], bytes], code: str
) -> None:
    """Put back wrongly, its clipped half fits names."""
    sound = case("highlights desaturated towards white", 7001).lut
    assert isinstance(sound, Lut3D)
    broken = parse_cube(damage(format_cube(sound))).lut
    assert inspect(broken).findings[0].code == code
    np.testing.assert_allclose(repair(broken).lut.table, sound.table, atol=1e-6)


@pytest.mark.parametrize(
    "order",
    [
        (1, 0, 2),
        *(
            pytest.param(each, marks=pytest.mark.slow)
            for each in permutations(range(3))
            if each not in ((0, 1, 2), (1, 0, 2))
        ),
    ],
)
def test_channels_are_put_back_behind_a_compressed_gamut(order: tuple[int, int, int]) -> None:
    """Compression brings blue's input into red, so that swapped channels follow both alike."""
    sound = lutbench.build(
        source_curve="ACEScct", source_gamut="ACES AP1", target_curve="BT.1886",
        target_gamut="BT.709", tone="shoulder", gamut="compress", size=17,
    )  # fmt: skip
    assert inspect(sound).worst in (None, "info")
    broken = Lut3D(np.ascontiguousarray(sound.table[..., order]))
    assert inspect(broken).findings[0].code == "channel_order"
    np.testing.assert_array_equal(repair(broken).lut.table, sound.table)


@pytest.mark.slow
def test_rows_are_put_back_behind_a_compressed_gamut() -> None:
    sound = lutbench.build(
        source_curve="ACEScct", source_gamut="ACES AP1", target_curve="BT.1886",
        target_gamut="BT.709", tone="shoulder", gamut="compress", size=17,
    )  # fmt: skip
    broken = Lut3D(np.ascontiguousarray(sound.table.transpose(2, 1, 0, 3)))
    assert inspect(broken).findings[0].code == "axis_order"
    np.testing.assert_array_equal(repair(broken).lut.table, sound.table)


@pytest.mark.parametrize("name", SOUND)
def test_sound_files_are_left_alone(name: str) -> None:
    made = repair(SOUND[name])
    assert made.lut is SOUND[name]
    assert made.changes == ()


def test_the_command_names_every_repair() -> None:
    from lutbench.cli.rework import REPAIRS

    assert set(REPAIRS) == set(CURES)


def test_an_unknown_repair_is_refused() -> None:
    with pytest.raises(LutbenchError, match="no repair is named 'hue'"):
        repair(Lut3D.identity(5), ("hue",))


@pytest.mark.parametrize("kind", ["integer_values", "domain_in_codes"])
def test_apply_refuses_what_gives_white_or_black_frames(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from lutbench.media.still.still import Still, write_still

    lut, frame, out = (tmp_path / name for name in ("lut.cube", "in.png", "out.png"))
    lut.write_bytes(next(each.data for each in FILE_DAMAGES if each.code == kind))
    grey = np.full((8, 8, 3), 0.4, np.float32)
    write_still(Still(grey, ("R", "G", "B"), "float"), frame, depth="8")
    assert run("apply", lut, frame, out) == 2
    printed = capsys.readouterr().err
    assert printed.count("\n") == 1
    assert "repair" in printed
    assert not out.exists()
