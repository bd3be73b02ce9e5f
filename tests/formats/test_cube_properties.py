"""Properties of the .cube reader and writer that hold for any LUT and for any bytes."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from lutbench.errors import LutbenchError
from lutbench.formats import cube
from lutbench.formats.cube_write import format_cube
from lutbench.formats.decimals import LARGEST_NUMBER, format_rows, number, parse_rows
from lutbench.tables.lut import Lut, Lut1D, Lut3D, ShaperLut3D

# A machine under load is no fault of the code.
calm = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])

FINITE = st.floats(-1e6, 1e6, allow_nan=False)
FLOAT32 = st.floats(width=32, allow_nan=False, allow_infinity=False)
# What a file can carry: one line, no quotation marks; space at the ends is not kept.
LINE = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")) | st.just(" ")).map(
    lambda text: text.replace('"', "'").strip()
)


def spelled(sign: str, digits: int, point: int, exponent: int | None) -> str:
    """A decimal number: its digits, with a point after so many of them where there is room."""
    text = str(digits)
    text = text[:point] + "." + text[point:] if 0 <= point <= len(text) else text
    return f"{sign}{text}" if exponent is None else f"{sign}{text}e{exponent}"


DECIMAL_TEXT = st.builds(
    spelled,
    st.sampled_from(["", "-", "+"]),
    st.integers(0, 10**6) | st.integers(0, 10**24),
    st.integers(-1, 20),
    st.none() | st.integers(-99, 99),
)


def domains(low: float = -100.0) -> st.SearchStrategy[np.ndarray]:
    starts = arrays(np.float64, 3, elements=st.floats(low, 100.0))
    widths = arrays(np.float64, 3, elements=st.floats(0.015625, 1000.0))
    return st.tuples(starts, widths).map(lambda pair: np.stack([pair[0], pair[0] + pair[1]]))


@st.composite
def luts(draw: st.DrawFn, elements: st.SearchStrategy[float], dtype: type) -> Lut:
    about = (draw(LINE), tuple(draw(st.lists(LINE, max_size=3))))

    def table(*lattice: int) -> np.ndarray:
        return draw(arrays(dtype, (*lattice, 3), elements=elements))

    kind = draw(st.sampled_from(["1d", "3d", "both"]))
    size = draw(st.integers(2, 4))
    if kind == "1d":
        return Lut1D(table(size), draw(domains()), *about)
    if kind == "3d":
        return Lut3D(table(size, size, size), draw(domains()), *about)
    alike = [np.repeat(draw(domains())[:, :1], 3, axis=1) for _ in range(2)]
    shaper = Lut1D(table(draw(st.integers(2, 9))), alike[0])
    return ShaperLut3D(shaper, Lut3D(table(size, size, size), alike[1]), *about)


def tables(lut: Lut) -> list[np.ndarray]:
    return [lut.shaper.table, lut.lut.table] if isinstance(lut, ShaperLut3D) else [lut.table]


@calm
@given(luts(FLOAT32, np.float32))
def test_a_float32_lut_comes_back_whole(lut: Lut) -> None:
    back = cube.parse_cube(format_cube(lut, None)).lut
    assert type(back) is type(lut)
    assert (back.title, back.comments) == (lut.title, lut.comments)
    assert np.array_equal(back.domain, lut.domain)
    for ours, theirs in zip(tables(back), tables(lut), strict=True):
        assert np.array_equal(ours.astype(np.float32), theirs)


@calm
@given(luts(FINITE, np.float64), st.integers(0, 12))
def test_decimals_round_and_no_more(lut: Lut, decimals: int) -> None:
    data = format_cube(lut, decimals)
    back = cube.parse_cube(data).lut
    for ours, theirs in zip(tables(back), tables(lut), strict=True):
        # Half a unit of the last decimal, and half a unit in the last place of float64.
        limit = 0.5 * 10.0**-decimals + np.spacing(np.abs(theirs))
        assert (np.abs(ours - theirs) <= limit).all()
    assert format_cube(back, decimals) == data


@calm
@given(
    arrays(
        np.float64, (7, 3), elements=FINITE | st.integers(-(2**14), 2**14).map(lambda n: n / 2**13)
    ),
    st.integers(0, 11),
)
def test_rows_are_written_as_printf_writes_them(rows: np.ndarray, decimals: int) -> None:
    # Ties (multiples of 2^-13) included; a zero has no sign.
    expected = "".join(" ".join(f"{v:z.{decimals}f}" for v in row) + "\n" for row in rows.tolist())
    assert format_rows(rows, decimals) == expected.encode()


@calm
@given(st.lists(st.tuples(DECIMAL_TEXT, DECIMAL_TEXT, DECIMAL_TEXT), min_size=1, max_size=4))
def test_rows_are_read_as_float_reads_them(rows: list[tuple[str, str, str]]) -> None:
    text = "".join(" ".join(row) + "\n" for row in rows).encode()
    expected = [[float(word) for word in row] for row in rows]
    found = parse_rows(text)
    if max(abs(value) for row in expected for value in row) > LARGEST_NUMBER:
        assert found is None
    else:
        assert found is not None
        assert found.tolist() == expected


@calm
@given(st.binary(max_size=12) | st.text("0123456789.+-eE", max_size=12).map(str.encode))
def test_a_number_is_what_float_takes_in_plain_notation(token: bytes) -> None:
    value = number(token)
    plain = re.fullmatch(rb"[0-9.eE+-]+", token) is not None
    try:
        expected = float(token) if plain else None
    except ValueError:
        expected = None
    if expected is not None and abs(expected) > LARGEST_NUMBER:
        expected = None
    assert value == expected


WHOLE = [
    format_cube(Lut3D.identity(3, title="Day")),
    format_cube(Lut3D(np.random.default_rng(0).normal(size=(2, 2, 2, 3)), (-1.0, 2.0)), None),
    format_cube(Lut1D(np.linspace([0, 0, 0], [1, 2, 3], 9), title="Ramp", comments=("a",))),
    format_cube(
        ShaperLut3D(Lut1D(np.linspace([0] * 3, [1] * 3, 5), (0.0, 16.0)), Lut3D.identity(2))
    ),
]
PIECES = st.sampled_from(
    [
        b"\n",
        b"\r",
        b"\0",
        b"#",
        b" ",
        b"\t",
        b"nan",
        b"1e999",
        b"-",
        b".",
        b'"',
        b"\xff\xfe",
        b"9" * 30,
    ]
    + [word.encode() + b" 2\n" for word in cube._KEYWORDS]
) | st.binary(max_size=4)
EDITS = st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), PIECES), min_size=1, max_size=6)


def mutated(data: bytes, edits: list[tuple[float, int, bytes]]) -> bytes:
    """`data` with a few bytes cut out and others put in at each place."""
    for place, cut, piece in edits:
        at = int(place * len(data))
        data = data[:at] + piece + data[at + cut :]
    return data


def read_or_refuse(data: bytes) -> None:
    """Any bytes give a LUT that can be used, or one line that says why not."""
    complaint = ""
    try:
        read = cube.parse_cube(data, "a.cube")
    except LutbenchError as error:
        complaint = str(error)
    if complaint:
        assert complaint.startswith("a.cube")
        assert "\n" not in complaint
        return
    assert all(np.isfinite(table).all() for table in tables(read.lut))
    again = cube.parse_cube(format_cube(read.lut, None)).lut
    for first, second in zip(tables(read.lut), tables(again), strict=True):
        assert np.array_equal(first, second)


@calm
@given(st.sampled_from(WHOLE), EDITS)
def test_damaged_files_are_read_or_refused(
    data: bytes, edits: list[tuple[float, int, bytes]]
) -> None:
    read_or_refuse(mutated(data, edits))


@calm
@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    read_or_refuse(data)


@pytest.mark.fuzz
@settings(max_examples=20_000, deadline=None)
@given(st.sampled_from(WHOLE), EDITS)
def test_damaged_files_at_length(data: bytes, edits: list[tuple[float, int, bytes]]) -> None:
    read_or_refuse(mutated(data, edits))
