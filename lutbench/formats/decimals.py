"""Rows of three decimal numbers: from bytes to an array and back, in whole arrays.

A 65-node lattice has over 800 thousand numbers. Turning each into a Python object takes
several times as long as all the rest of reading or writing the file. The results are
exactly those of `float` and ``%.6f``.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lutbench.model.transforms import Mould

MAX_LINE_BYTES = 4096
"""Bytes of the longest line that is read."""

LARGEST_NUMBER = 3.4028235e38
"""The largest number that is read or written: the largest float32, in nine digits."""

_NUMBER = re.compile(rb"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)

# A class for each byte: part of a number (without its point), point, space, line feed, other.
_IN_NUMBER, _POINT, _SPACE, _NEWLINE, _FOREIGN = range(5)
_CLASSES = bytes(
    _IN_NUMBER
    if byte in b"0123456789+-eE"
    else {ord("."): _POINT, ord(" "): _SPACE, ord("\t"): _SPACE, ord("\n"): _NEWLINE}.get(
        byte, _FOREIGN
    )
    for byte in range(256)
)
# What is between the digits of a row in the usual form.
_USUAL_ROW = np.array([_POINT, _SPACE, _POINT, _SPACE, _POINT, _NEWLINE], np.uint8)
_TENS = 10 ** np.arange(20, dtype=np.uint64)
_U = np.uint64
_ZEROS = _U(0x3030303030303030)
_HIGH_BITS = _U(0x8080808080808080)
_OVER_NINE = _U(0x7676767676767676)
_EXACT = _U(2**53)

_ROWS_WRITTEN_AT_ONCE = 8192
"""Rows that are written at a time, so that their digits stay in the cache."""

_MAX_FIXED_DECIMALS = 9
"""Decimals up to which the fast writer works: with six digits before the point they fit int64."""


def number(token: bytes) -> float | None:
    """The number that `token` is in decimal notation; None if it is not a number.

    Stricter than `float`: no infinity, no NaN, no underscores, nothing beyond float32.

    >>> number(b"1.5e-3"), number(b"1_0"), number(b"nan"), number(b"1e39")
    (0.0015, None, None, None)
    """
    if not _NUMBER.fullmatch(token):
        return None
    value = float(token)
    return value if -LARGEST_NUMBER <= value <= LARGEST_NUMBER else None


def parse_rows(text: bytes) -> NDArray[np.float64] | None:
    """The numbers of `text`, three on each line, shape (n, 3).

    None if the text is anything but lines of three numbers (a comment, a blank line, a
    word, a line too long): the caller then reads line by line, and can name the line.

    >>> parse_rows(b"0 0.5 1\\n-1 2e3 .25\\n").tolist()
    [[0.0, 0.5, 1.0], [-1.0, 2000.0, 0.25]]
    >>> parse_rows(b"0 0.5\\n1 1 1 1\\n") is None
    True
    """
    # Padding on both sides, so that eight bytes around any character can be read.
    before, after = b"       \n", b"" if text.endswith(b"\n") else b"\n"
    end = len(before) + len(text) + len(after)
    text = b"".join([before, text, after, b" " * (32 - end % 8)])
    classes = np.frombuffer(text.translate(_CLASSES), np.uint8)
    found = _usual(classes, len(before), end) or _unusual(classes)
    if found is None:
        return None
    starts, points, ends = found
    if not len(starts):
        return np.empty((0, 3))
    characters = np.frombuffer(text, np.uint8)
    values, doubtful = _decode(characters, starts, points, ends)
    for index in doubtful:
        value = number(text[starts[index] : ends[index]])
        if value is None:
            return None
        values[index] = value
    return values.reshape(-1, 3)


Places = tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]
"""Index of each number's start, of its point (of its end, without a point), and of its end."""


def _usual(classes: NDArray[np.uint8], first: int, end: int) -> Places | None:
    """The numbers of rows that all have three points, two single spaces and a line feed."""
    marks = np.flatnonzero(classes[first:end] != _IN_NUMBER) + first
    if len(marks) % 6 or not (classes.take(marks).reshape(-1, 6) == _USUAL_ROW).all():
        return None
    points, ends = np.ascontiguousarray(marks.reshape(-1, 2).T)
    starts = np.empty_like(ends)
    starts[:1] = first
    starts[1:] = ends[:-1] + 1
    if (np.diff(ends[2::3], prepend=first - 1) > MAX_LINE_BYTES + 1).any():
        return None
    return starts, points, ends


def _unusual(classes: NDArray[np.uint8]) -> Places | None:
    """The numbers of lines of three, with or without points, with any space between them."""
    if classes.max() == _FOREIGN:
        return None
    in_number = classes <= _POINT
    edges = np.flatnonzero(in_number[1:] != in_number[:-1]) + 1
    starts, ends = np.ascontiguousarray(edges.reshape(-1, 2).T)
    newlines = np.flatnonzero(classes == _NEWLINE)
    rows, rest = divmod(len(starts), 3)
    if rest or len(newlines) != rows + 1:
        return None
    if (
        (newlines[1:] < ends[2::3]).any()
        or (newlines[:-1] > starts[0::3]).any()
        or (np.diff(newlines) > MAX_LINE_BYTES + 1).any()
    ):
        return None
    points = ends.copy()
    found = np.flatnonzero(classes == _POINT)
    # A second point in a number is found later, as a character that is not a digit.
    points[np.searchsorted(starts, found, side="right") - 1] = found
    return starts, points, ends


def _decode(
    characters: NDArray[np.uint8],
    starts: NDArray[np.intp],
    points: NDArray[np.intp],
    ends: NDArray[np.intp],
) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """The values of the numbers, and the indices of those that have to be parsed singly.

    Digits before and after the point are read eight bytes at a time. The method, and the
    proof that an integer of at most 53 bits divided by a power of ten up to 10²² is rounded
    correctly: D. Lemire, "Number parsing at a gigabyte per second", 2021.
    """
    words = characters.view(np.dtype("<u8"))
    first = characters.take(starts)
    minus = first == ord("-")
    whole = points - starts - (minus | (first == ord("+")))
    part = np.maximum(ends - points - 1, 0)
    most_whole, most_part = int(whole.max()), int(part.max())
    if part.min() == most_part:
        part = part[:1]  # in most files all numbers have the same count

    if most_whole <= 1:
        unit = (characters.take(points - 1) ^ np.uint8(ord("0"))) * (whole == 1)
        mantissa, wrong = unit.astype(np.uint64), unit > 9
    else:
        before = _keep_last(_eight_bytes(words, points - 8), whole)
        mantissa, wrong = _eight_digits(before), _not_digits(before)
    for done in range(0, min(most_part, 16), 8):
        count = np.clip(part - done, 0, 8)
        after = _eight_bytes(words, points + 1 + done) << _bits(8 - count)
        wrong |= _not_digits(after)
        mantissa = mantissa * _TENS.take(count) + _eight_digits(after)

    doubtful = wrong | (whole + part < 1)
    if most_whole > 8 or most_whole + most_part > 15:
        # Eighteen digits fit the mantissa, 53 bits of it a float64.
        doubtful |= (whole > 8) | (part > 16) | (whole + part > 18) | (mantissa > _EXACT)
    values = mantissa / _TENS.take(np.minimum(part, 16)).astype(np.float64)
    np.negative(values, out=values, where=minus)
    return values, np.flatnonzero(doubtful)


def _eight_bytes(words: NDArray[np.uint64], at: NDArray[np.intp]) -> NDArray[np.uint64]:
    """The eight bytes from each position on, minus "0", the first in the lowest byte."""
    low = at >> 3
    shift = _bits(at & 7)
    eight = (words.take(low) >> shift) | (words.take(low + 1) << (_U(64) - shift))
    return np.asarray(eight ^ _ZEROS)


def _keep_last(eight: NDArray[np.uint64], count: NDArray[np.intp]) -> NDArray[np.uint64]:
    """The last `count` bytes of each eight, with zeros before them."""
    shift = _bits(8 - np.clip(count, 0, 8))
    return (eight >> shift) << shift


def _bits(count: NDArray[np.intp]) -> NDArray[np.uint64]:
    return (count << 3).view(np.uint64)


def _not_digits(eight: NDArray[np.uint64]) -> NDArray[np.bool_]:
    """Where one of eight bytes is over nine."""
    return np.asarray(((eight + _OVER_NINE) | eight) & _HIGH_BITS != 0)


def _eight_digits(digits: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """The number of eight digits, one in each byte, the first in the lowest byte."""
    pairs = (digits * _U(2561) >> _U(8)) & _U(0x00FF00FF00FF00FF)
    fours = (pairs * _U(6553601) >> _U(16)) & _U(0x0000FFFF0000FFFF)
    return np.asarray(fours * _U(42949672960001) >> _U(32))


def format_rows(rows: NDArray[Any], decimals: int | None) -> bytes:
    """Rows of three numbers, shape (n, 3), as lines of text.

    With `decimals` digits after the point, rounded as by ``%.*f``; with None as many digits
    as read back every number exactly.

    >>> format_rows(np.array([[0, 0.5, -1e-9]]), 6)
    b'0.000000 0.500000 0.000000\\n'
    >>> format_rows(np.array([[0, 0.1, 1]], np.float32), None)
    b'0 0.100000001 1\\n'
    """
    write = _exactly if decimals is None else _in_fixed_notation
    return b"".join(
        write(rows[at : at + _ROWS_WRITTEN_AT_ONCE], decimals or 0)
        for at in range(0, len(rows), _ROWS_WRITTEN_AT_ONCE)
    )


def _exactly(rows: NDArray[Any], _: int) -> bytes:
    # Nine significant digits distinguish every float32; `repr` finds the fewest for float64.
    one = "%.9g" if rows.dtype == np.float32 else "%r"
    # Adding zero turns a negative zero into zero.
    numbers = (rows + 0.0).astype(np.float64).ravel().tolist()
    return (f"{one} {one} {one}\n" * len(rows) % tuple(numbers)).encode("ascii")


def _in_fixed_notation(rows: NDArray[Any], decimals: int) -> bytes:
    values = rows.astype(np.float64).ravel()
    size = np.abs(values)
    largest = float(size.max(initial=0.0))
    if not 1 <= decimals <= _MAX_FIXED_DECIMALS or largest >= 1e6:
        return _one_by_one(values, decimals)
    scaled = size * float(10**decimals)
    whole = np.rint(scaled)
    # The product is off by at most half a unit in its last place: nearer to a tie than that,
    # the rounding needs exact arithmetic.
    tie = np.abs(np.abs(scaled - whole) - 0.5) <= scaled * 2.0**-52
    for index in np.flatnonzero(tie):
        whole[index] = int(f"{size[index]:.{decimals}f}".replace(".", ""))
    negative = (values < 0) & (whole > 0)
    digits = whole.astype(np.int64)
    before_point = len(str(int(largest + 1)))
    width = 1 + before_point + 1 + decimals + 1
    text = np.zeros((len(values), width), np.uint8)
    text[:, 0] = negative * np.uint8(ord("-"))
    for column in range(width - 2, width - 2 - decimals, -1):
        tenth = digits // 10
        text[:, column] = digits - tenth * 10 + ord("0")
        digits = tenth
    text[:, before_point + 1] = ord(".")
    for column in range(before_point, 0, -1):
        tenth = digits // 10
        text[:, column] = digits - tenth * 10 + ord("0")
        if column < before_point:
            text[digits == 0, column] = 0
        digits = tenth
    text[:, -1] = ord(" ")
    text[2::3, -1] = ord("\n")
    # Unused columns are null bytes, which are removed here.
    return text.tobytes().translate(None, b"\0")


def _one_by_one(values: NDArray[np.float64], decimals: int) -> bytes:
    one = f"%.{decimals}f"
    # A number that rounds to zero must not keep its sign.
    text = (f"{one} {one} {one}\n" * (len(values) // 3)) % tuple(values.tolist())
    return re.sub(r"-(?=0(?:\.0*)?(?:\s))", "", text).encode("ascii")


_ROWS_LAID_AT_ONCE = 1 << 16
"""Rows that are put into the lattice together: 1.5 MiB of float64."""


class CubeRows:
    """Rows of a 1D table, if there is one, then of a lattice, in which red runs fastest.

    A lattice of 256 nodes is 400 MB: its rows are put where they belong a few planes of blue
    at a time, so that they never stand beside the table.
    """

    def __init__(self, size_1d: int, size_3d: int) -> None:
        self.size = size_3d
        self.curve = np.empty((size_1d, 3))
        self.count = size_1d + size_3d**3
        self.done = 0
        self._lattice = Mould((size_3d, size_3d, size_3d, 3))
        planes = min(size_3d, max(1, _ROWS_LAID_AT_ONCE // max(1, size_3d**2)))
        self._planes = np.empty((planes * size_3d**2, 3))

    def put(self, rows: NDArray[np.float64]) -> None:
        """The next rows, as many as are to come at most."""
        head = rows[: max(0, len(self.curve) - self.done)]
        self.curve[self.done : self.done + len(head)] = head
        self.done += len(head)
        rows = rows[len(head) :]
        while len(rows):
            at = (self.done - len(self.curve)) % len(self._planes)
            part = rows[: len(self._planes) - at]
            self._planes[at : at + len(part)] = part
            self.done += len(part)
            rows = rows[len(part) :]
            if at + len(part) == len(self._planes) or self.done == self.count:
                self._lay(at + len(part))

    def _lay(self, count: int) -> None:
        """The planes of blue whose last row has come."""
        planes = self._planes[:count].reshape(-1, self.size, self.size, 3)
        last = (self.done - len(self.curve)) // self.size**2
        self._lattice.array[:, :, last - len(planes) : last] = planes.transpose(2, 1, 0, 3)

    def table(self) -> NDArray[np.float64]:
        """The lattice, indexed [r, g, b], once all rows are there."""
        return self._lattice.sealed()
