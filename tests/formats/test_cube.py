"""The .cube reader and writer against colour-science, and against what is met in the wild."""

from __future__ import annotations

import os
from pathlib import Path

import colour
import numpy as np
import pytest

import lutbench
from lutbench.errors import FormatError, LutbenchError
from lutbench.formats import cube
from lutbench.formats.cube_write import format_cube, write_cube
from lutbench.formats.registry import read_lut_file
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D, lattice

ONE_D = b"LUT_1D_SIZE 3\n0 0 0\n.25 0.5 .75\n1 1 1\n"


def a_lattice(size: int, seed: int = 7) -> np.ndarray:
    """Random numbers that have six decimals, so that a file brings them back exactly."""
    rng = np.random.default_rng(seed)
    return rng.integers(-200_000, 1_200_000, (size, size, size, 3)) / 1e6


@pytest.mark.parametrize("size", [2, 3, 17, 33])
def test_colour_science_reads_what_is_written(tmp_path: Path, size: int) -> None:
    path = tmp_path / "a.cube"
    table = a_lattice(size)
    domain = np.array([[0.0, -0.5, 0.1], [1.0, 1.25, 0.9]])
    write_cube(Lut3D(table, domain, "A title", ("one", "two")), path)
    theirs = colour.read_LUT(str(path))
    assert np.array_equal(theirs.table, table)
    assert np.array_equal(theirs.domain, domain)
    assert theirs.name == "A title"
    assert theirs.comments[:-1] == ["one", "two"]
    assert theirs.comments[-1].startswith("table sha256: ")


@pytest.mark.parametrize("size", [2, 5, 33])
def test_what_colour_science_writes_is_read(tmp_path: Path, size: int) -> None:
    path = tmp_path / "a.cube"
    table = a_lattice(size)
    domain = np.array([[0.0, -0.5, 0.1], [1.0, 1.25, 0.9]])
    theirs = colour.LUT3D(table, "A title", domain, comments=["one"])
    colour.write_LUT(theirs, str(path), decimals=6)
    ours = lutbench.open_lut(path)
    assert isinstance(ours, Lut3D)
    assert np.array_equal(ours.table, table)
    assert np.array_equal(ours.domain, domain)
    assert (ours.title, ours.comments) == ("A title", ("one",))


def test_one_dimensional_both_ways(tmp_path: Path) -> None:
    path, back = tmp_path / "a.cube", tmp_path / "b.cube"
    table = np.random.default_rng(3).integers(0, 1_000_000, (1024, 3)) / 1e6
    write_cube(Lut1D(table, (0.0, 2.0), "Curve"), path)
    theirs = colour.read_LUT(str(path))
    assert np.array_equal(theirs.table, table)
    assert np.array_equal(theirs.domain, [[0, 0, 0], [2, 2, 2]])
    colour.write_LUT(theirs, str(back), decimals=6)
    ours = lutbench.open_lut(back)
    assert isinstance(ours, Lut1D)
    assert np.array_equal(ours.table, table)
    assert np.array_equal(ours.domain, theirs.domain)


def test_red_runs_fastest() -> None:
    rows = format_cube(Lut3D.identity(2), 0).decode().splitlines()[1:]
    assert rows[:3] == ["0 0 0", "1 0 0", "0 1 0"]
    assert cube.parse_cube(format_cube(Lut3D.identity(2))).lut.table[1, 0, 0].tolist() == [
        1,
        0,
        0,
    ]


def test_shaper_with_lattice_comes_back() -> None:
    shaper = Lut1D(np.linspace([0, 0, 0], [1, 1, 1], 5) ** 0.5, (-0.25, 16.0))
    lut = ShaperLut3D(shaper, Lut3D(lattice(3), (0.0, 2.0)), "Both", ("why",))
    read = cube.parse_cube(format_cube(lut, None))
    back = read.lut
    assert isinstance(back, ShaperLut3D)
    assert np.array_equal(back.shaper.table, shaper.table)
    assert np.array_equal(back.shaper.domain, shaper.domain)
    assert np.array_equal(back.lut.table, lut.lut.table)
    assert np.array_equal(back.lut.domain, lut.lut.domain)
    assert (back.title, back.comments) == ("Both", ("why",))
    assert any("shaper" in note for note in read.notes)


def test_float32_comes_back_bit_for_bit() -> None:
    bits = np.random.default_rng(1).integers(0, 2**32, 3 * 9**3, dtype=np.uint32)
    table = bits.view(np.float32)
    table[~np.isfinite(table)] = 0.1
    lut = Lut3D(table.reshape(9, 9, 9, 3))
    back = cube.parse_cube(format_cube(lut, None)).lut
    assert np.array_equal(back.table.astype(np.float32), lut.table)


def test_float64_comes_back_bit_for_bit() -> None:
    table = np.random.default_rng(1).normal(size=(9, 9, 9, 3))
    assert np.array_equal(cube.parse_cube(format_cube(Lut3D(table), None)).lut.table, table)


TOLERATED = {
    "CRLF": (ONE_D.replace(b"\n", b"\r\n"), "CRLF line ends"),
    "CR": (ONE_D.replace(b"\n", b"\r"), "CR line ends"),
    "byte order mark": (b"\xef\xbb\xbf" + ONE_D, "byte order mark"),
    "tabs": (ONE_D.replace(b" ", b"\t"), "tabs"),
    "lower case": (ONE_D.lower(), "keyword not in capitals"),
    "no newline at the end": (ONE_D.rstrip(), ""),
    "blank lines": (ONE_D.replace(b"\n", b"\n\n"), "blank lines"),
    "comments before": (b"# one\n" + ONE_D, ""),
    "comments among": (ONE_D.replace(b".25", b"# one\n.25"), "comments among"),
    "comments after": (ONE_D + b"#one\n", "comments among or after"),
    "title without quotes": (b"TITLE A day out\n" + ONE_D, "title without quotes"),
    "no title": (ONE_D, "no title"),
    "exponents": (ONE_D.replace(b".25", b"2.5E-01"), "exponent notation"),
    "trailing spaces": (ONE_D.replace(b"\n", b"  \n"), ""),
    "leading spaces": (ONE_D.replace(b"\n", b"\n  "), ""),
    "signs": (ONE_D.replace(b".25", b"+.25"), ""),
    "input range": (b"LUT_1D_INPUT_RANGE 0.0 1.0\n" + ONE_D, "LUT_1D_INPUT_RANGE"),
    "other input range": (b"LUT_3D_INPUT_RANGE 0 1\n" + ONE_D, "without such a LUT"),
    "domain and range alike": (
        b"DOMAIN_MIN 0 0 0\nDOMAIN_MAX 1 1 1\nLUT_1D_INPUT_RANGE 0 1\n" + ONE_D,
        "repeats DOMAIN_MIN and DOMAIN_MAX",
    ),
    "keyword twice": (b"LUT_1D_SIZE 3\n" + ONE_D, "again, the same"),
    "unknown keyword": (b"SOMETHING_ELSE 1 2\n" + ONE_D, "SOMETHING_ELSE is not known"),
    "Latin-1": (b'TITLE "caf\xe9"\n' + ONE_D, "Latin-1"),
}


@pytest.mark.parametrize("case", TOLERATED)
def test_what_is_tolerated_is_read_and_noted(case: str) -> None:
    data, note = TOLERATED[case]
    read = cube.parse_cube(data)
    assert read.lut.table.tolist() == [[0, 0, 0], [0.25, 0.5, 0.75], [1, 1, 1]]
    assert not note or any(note in each for each in read.notes), read.notes


@pytest.mark.parametrize("title", ["a\nb", 'say "day"', "\ud800", "\x1b[31m", "#", " ", "\u2028"])
def test_any_title_stays_on_its_line(title: str) -> None:
    lut = Lut3D(lattice(2), title=title, comments=("a\nLUT_3D_SIZE 3", "", title))
    read = cube.parse_cube(format_cube(lut))
    assert np.array_equal(read.lut.table, lut.table)
    assert all(text.isprintable() for text in (read.title, *read.comments))


def test_a_file_without_blemish_has_no_notes() -> None:
    assert cube.parse_cube(format_cube(Lut3D.identity(3, title="Clean"))).notes == ()


REFUSED = {
    "nothing": (b"", "empty"),
    "white space": (b" \r\n\n", "empty"),
    "no size": (b"0 0 0\n1 1 1\n", "LUT_3D_SIZE"),
    "no rows": (b"LUT_1D_SIZE 2\n", "no rows"),
    "size one": (b"LUT_3D_SIZE 1\n0 0 0\n", "a.cube:1: LUT_3D_SIZE '1'"),
    "size 257": (b"LUT_3D_SIZE 257\n0 0 0\n", "2 to 256"),
    "size 65537": (b"LUT_1D_SIZE 65537\n0 0 0\n", "2 to 65536"),
    "size of many digits": (b"LUT_3D_SIZE " + b"9" * 4000 + b"\n0 0 0\n", "2 to 256"),
    "size not whole": (b"LUT_3D_SIZE 2.0\n0 0 0\n", "is not a size"),
    "negative size": (b"LUT_3D_SIZE -2\n0 0 0\n", "is not a size"),
    "two sizes": (b"LUT_1D_SIZE 3\n" + ONE_D.replace(b"3", b"2", 1), "not as on line 1"),
    "a row too few": (b"LUT_1D_SIZE 4\n" + ONE_D[14:], "3 rows, too few for LUT_1D_SIZE 4"),
    "a row too many": (ONE_D + b"2 2 2\n", "a.cube:5: a row too many for LUT_1D_SIZE 3"),
    "a huge lattice of one row": (
        b"LUT_3D_SIZE 256\n0 0 0\n",
        "at most 1 row, too few for LUT_3D_SIZE 256",
    ),
    "two numbers": (ONE_D.replace(b".25 ", b""), "a.cube:3: '0.5 .75' is not a row"),
    "four numbers": (ONE_D.replace(b".25", b"1 .25"), "a.cube:3"),
    "NaN": (ONE_D.replace(b".25", b"nan"), "not finite"),
    "NaN first": (ONE_D.replace(b"0 0 0", b"nan 0 0"), "a.cube:2: 'nan 0 0' is not finite"),
    "infinity": (ONE_D.replace(b".25", b"-inf"), "not finite"),
    "beyond float32": (ONE_D.replace(b".25", b"1e39"), "a.cube:3"),
    "beyond float64": (ONE_D.replace(b".25", b"1e999"), "a.cube:3"),
    "hexadecimal": (ONE_D.replace(b".25", b"0x10"), "a.cube:3"),
    "underscores": (ONE_D.replace(b".25", b"2_5"), "a.cube:3"),
    "two points": (ONE_D.replace(b".25", b"0.2.5"), "a.cube:3"),
    "sign inside": (ONE_D.replace(b".25", b"0.2-5"), "a.cube:3"),
    "sign alone": (ONE_D.replace(b".25", b"-"), "a.cube:3"),
    "point alone": (ONE_D.replace(b".25", b"."), "a.cube:3"),
    "decimal commas": (ONE_D.replace(b".25 0.5", b"0,25 0,5"), "decimal comma"),
    "keyword after rows": (ONE_D + b"DOMAIN_MIN 0 0 0\n", "a.cube:5: 'DOMAIN_MIN' after"),
    "word among rows": (ONE_D.replace(b".25", b"hello"), "a.cube:3"),
    "line too long": (
        ONE_D.replace(b".25", b" " * 4096 + b".25"),
        "a.cube:3: the line is too long",
    ),
    "one endless line": (b"LUT_1D_SIZE 3\n" + b"1 " * 500_000, "a.cube:2: the line is too long"),
    "domain upside down": (b"DOMAIN_MIN 0 0 1\n" + ONE_D, "minimum under the maximum"),
    "domain of one number": (b"DOMAIN_MIN 0\n" + ONE_D, "3 finite numbers"),
    "domain not finite": (b"DOMAIN_MAX 1 1 inf\n" + ONE_D, "3 finite numbers"),
    "range upside down": (b"LUT_1D_INPUT_RANGE 1 0\n" + ONE_D, "minimum under"),
    "domain against range": (
        b"DOMAIN_MAX 2 2 2\nLUT_1D_INPUT_RANGE 0 1\n" + ONE_D,
        "a.cube:2: LUT_1D_INPUT_RANGE and DOMAIN_MIN",
    ),
    "null byte": (ONE_D.replace(b".25", b"\0.25"), "a.cube:3: a null byte"),
    "UTF-16": (ONE_D.decode().encode("utf-16"), "UTF-16"),
    "control characters": (ONE_D.replace(b".25 ", b".25\x01"), "a.cube:3"),
    "no keyword": (b"!? 1\n" + ONE_D, "neither keyword nor numbers"),
    "endless comments": (b"#\n" * 200_000 + ONE_D, "too many comments"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_is_refused_names_the_line(case: str) -> None:
    data, text = REFUSED[case]
    with pytest.raises(FormatError) as caught:
        cube.parse_cube(data, "a.cube")
    assert text in str(caught.value)
    assert "\n" not in str(caught.value)
    assert "accepted: " in str(caught.value)


def test_a_fault_deep_in_a_large_file_is_named_by_its_line() -> None:
    lines = format_cube(Lut3D.identity(33, title="x")).split(b"\n")
    lines[30_000] = b"0.1 0.2 O.3"
    with pytest.raises(FormatError, match=r"^a\.cube:30001: "):
        cube.parse_cube(b"\n".join(lines), "a.cube")


def test_a_pipe_is_refused_at_once(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.cube"
    os.mkfifo(pipe)
    with pytest.raises(LutbenchError, match="pipe or a device"):
        lutbench.open_lut(pipe)
    with pytest.raises(LutbenchError, match="pipe or a device"):
        lutbench.open_lut("/dev/zero")


def test_a_folder_and_a_missing_file_are_one_line(tmp_path: Path) -> None:
    with pytest.raises(LutbenchError, match="is a folder"):
        lutbench.open_lut(tmp_path)
    with pytest.raises(LutbenchError, match="cannot read"):
        lutbench.open_lut(tmp_path / "none.cube")
    with pytest.raises(LutbenchError, match="cannot read"):
        lutbench.open_lut("a\0b.cube")


def test_a_file_over_the_limit_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.cube"
    with open(path, "wb") as file:
        file.truncate(cube.MAX_BYTES + 1)  # takes no room on the disk
    with pytest.raises(LutbenchError, match="too large"):
        lutbench.open_lut(path)


@pytest.mark.parametrize("change", ["grows", "shrinks", "is written over"])
def test_a_file_that_changes_while_it_is_read_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    path = tmp_path / "moving.cube"
    path.write_bytes(format_cube(Lut3D.identity(9)))
    os.utime(path, ns=(0, 0))
    look = os.fstat
    calls: list[int] = []

    def look_then_change(handle: int) -> os.stat_result:
        result = look(handle)
        if not calls:
            if change == "shrinks":
                os.truncate(path, 1000)
            else:
                with open(path, "r+b") as file:
                    file.seek(0, os.SEEK_END if change == "grows" else os.SEEK_SET)
                    file.write(b"#")
        calls.append(handle)
        return result

    monkeypatch.setattr(os, "fstat", look_then_change)
    with pytest.raises(LutbenchError, match="changed while it was read"):
        read_lut_file(path)


def test_an_existing_file_stays_unless_forced(tmp_path: Path) -> None:
    path = tmp_path / "a.cube"
    path.write_text("mine")
    with pytest.raises(LutbenchError, match="force=True"):
        write_cube(Lut3D.identity(2), path)
    assert path.read_text() == "mine"
    write_cube(Lut3D.identity(2), path, force=True)
    assert isinstance(lutbench.open_lut(path), Lut3D)


def test_content_decides_not_the_suffix(tmp_path: Path) -> None:
    path = tmp_path / "lut.txt"
    path.write_bytes(ONE_D)
    assert isinstance(lutbench.open_lut(path), Lut1D)
    path = tmp_path / "lut.bin"
    path.write_bytes(b"\x89PNG\r\n\x1a\n\0\0\0")
    with pytest.raises(FormatError, match="binary data"):
        lutbench.open_lut(path)
