"""The ``.cube`` text format: 1D LUTs, 3D LUTs, and a 1D shaper before a 3D LUT.

Source: "Cube LUT Specification", version 1.0, 2013 (from memory), for the keywords
TITLE, DOMAIN_MIN, DOMAIN_MAX, LUT_1D_SIZE, LUT_3D_SIZE and the order of the rows
(red runs fastest); common practice for LUT_1D_INPUT_RANGE, LUT_3D_INPUT_RANGE and
for the form with both sizes, whose 1D rows come first.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from lutbench import files, long_work
from lutbench.errors import FormatError
from lutbench.formats.decimals import MAX_LINE_BYTES, CubeRows, number, parse_rows
from lutbench.formats.registry import MAX_BYTES, LutFile
from lutbench.given import one_line
from lutbench.tables.lut import SIZES_1D, SIZES_3D, UNIT_DOMAIN, Lut, Lut1D, Lut3D, ShaperLut3D

MAX_IDLE_LINES = 100_000
"""Comments and blank lines that a file may have, in addition to one for each row."""

MAX_COMMENT_BYTES = 1024 * 1024
"""Bytes of comments that are kept; further ones are ignored."""

_SIZE_KEYWORDS = ("LUT_1D_SIZE", "LUT_3D_SIZE")
_RANGE_KEYWORDS = ("LUT_1D_INPUT_RANGE", "LUT_3D_INPUT_RANGE")
_DOMAIN_KEYWORDS = ("DOMAIN_MIN", "DOMAIN_MAX")
_KEYWORDS = ("TITLE", *_SIZE_KEYWORDS, *_RANGE_KEYWORDS, *_DOMAIN_KEYWORDS)

_WORD = re.compile(rb"[A-Za-z_][A-Za-z0-9_]*$", re.ASCII)
_CHUNK_BYTES = 128 * 1024
"""Bytes of rows that are read at a time, so that they stay in the cache."""

_SHORTEST_ROW = len(b"0 0 0\n")


def read_cube(path: str | Path) -> Lut:
    """The LUT in the ``.cube`` file `path`; `parse_cube` also notes what was tolerated.

    Raises
    ------
    LutbenchError
        When the file cannot be read.
    FormatError
        When it is not a valid ``.cube`` file, with the line.
    """
    return parse_cube(files.read_bytes(path, limit=MAX_BYTES), str(path)).lut


def parse_cube(data: bytes, where: str = "", _id: str | None = None) -> LutFile[Lut]:
    """The LUT in the bytes of a ``.cube`` file, with notes on what was tolerated.

    `where` names the file in errors.

    >>> parse_cube(b"LUT_1D_SIZE 2\\n0 0 0\\n1 1 1\\n").lut
    Lut1D(size=2, title='')
    """
    try:
        return _CubeReader(where).read(data)
    except FormatError as error:
        from lutbench.formats.cube_faults import cube_fault

        fault = cube_fault(data)
        if fault is None:
            raise
        cure = "; `lutbench rework repair` does it" if fault.cured is not None else ""
        raise FormatError(fault.message, where=where, accepted=fault.advice + cure) from error


@dataclass
class _CubeReader:
    """Reads one file: its keywords, then its rows."""

    where: str
    title: str = ""
    comments: list[str] = field(default_factory=list)
    # Keyword to (line, numbers), from the lines before the rows.
    declared: dict[str, tuple[int, list[float]]] = field(default_factory=dict)
    # What was tolerated, to the line where it first occurred.
    notes: dict[str, int] = field(default_factory=dict)
    comment_bytes: int = 0
    idle_lines: int = 0
    idle_limit: int = MAX_IDLE_LINES

    def read(self, data: bytes) -> LutFile[Lut]:
        text = self._plain_text(data)
        at, line = self._read_head(text)
        size_1d, size_3d = self._sizes()
        domains = self._domains(size_1d, size_3d)
        lut = self._lut(self._read_rows(text, at, line, size_1d, size_3d), domains)
        notes = [f"line {at}: {what}" if at else what for what, at in self.notes.items()]
        return LutFile(lut, "cube", tuple(notes), lut.title, lut.comments)

    # Text

    def _plain_text(self, data: bytes) -> bytes:
        """The bytes with LF line ends and without a byte order mark."""
        if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            raise FormatError("the text is UTF-16", where=self.where, accepted="ASCII or UTF-8")
        if data.startswith(codecs.BOM_UTF8):
            self._note("byte order mark")
            data = data[len(codecs.BOM_UTF8) :]
        if not data or data.isspace():
            raise FormatError("the file is empty", where=self.where, accepted="a .cube LUT")
        if b"\0" in data:
            line = 1 + data.count(b"\n", 0, data.index(b"\0"))
            self._fail(line, "a null byte: this is not text", "a .cube LUT, ASCII or UTF-8")
        if b"\r" in data:
            self._note("CRLF line ends" if b"\r\n" in data else "CR line ends")
            data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        return data if data.endswith(b"\n") else data + b"\n"

    def _lines(
        self, text: bytes, at: int, stop: int, line: int
    ) -> Iterator[tuple[int, int, bytes]]:
        """(position, line number, text) of each line that is neither blank nor a comment."""
        while at < stop:
            end = text.find(b"\n", at, at + MAX_LINE_BYTES + 1)
            if end < 0:
                self._line_too_long(line)
            content = text[at:end].strip()
            if content and not content.startswith(b"#"):
                yield at, line, content
            else:
                self._idle_line(line, content)
            at, line = end + 1, line + 1

    def _line_too_long(self, line: int) -> NoReturn:
        self._fail(line, "the line is too long", f"up to {MAX_LINE_BYTES} bytes a line")

    def _idle_line(self, line: int, content: bytes) -> None:
        self.idle_lines += 1
        if self.idle_lines > self.idle_limit:
            self._fail(line, "too many comments and blank lines", f"up to {self.idle_limit}")
        if not content:
            self._note("blank lines", line)
            return
        self.comment_bytes += len(content)
        if self.comment_bytes <= MAX_COMMENT_BYTES:
            self.comments.append(self._words(line, content[1:]))
        else:
            self._note("comments beyond 1 MiB left out", line)

    def _words(self, line: int, raw: bytes) -> str:
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError:
            self._note("text that is not UTF-8, taken as Latin-1", line)
            text = raw.decode("latin-1")
        return one_line(text).strip()

    # Keywords

    def _read_head(self, text: bytes) -> tuple[int, int]:
        """Read everything before the first row; return that row's position and line number."""
        for at, line, content in self._lines(text, 0, len(text), 1):
            if content[:1] in b"+-.0123456789":
                return at, line
            self._keyword(line, content)
        self._sizes()  # gives the better message if the size is missing too
        return self._fail(0, "the file has no rows", "a row of three numbers for each entry")

    def _keyword(self, line: int, content: bytes) -> None:
        word, *rest = content.split(None, 1)
        argument = rest[0] if rest else b""
        keyword = word.decode("latin-1").upper()
        if keyword in _KEYWORDS and word.decode("latin-1") != keyword:
            self._note("keyword not in capitals", line)
        if b"\t" in content:
            self._note("tabs", line)
        if keyword == "TITLE" or keyword.startswith('TITLE"'):
            self._take_title(line, content[len("TITLE") :])
        elif keyword in _SIZE_KEYWORDS:
            self._declare(line, keyword, [self._size(line, keyword, argument)])
        elif keyword in _RANGE_KEYWORDS:
            self._declare(line, keyword, self._numbers(line, keyword, argument, 2))
        elif keyword in _DOMAIN_KEYWORDS:
            self._declare(line, keyword, self._numbers(line, keyword, argument, 3))
        elif keyword in ("NAN", "INF", "INFINITY"):
            self._bad_row(line, content)
        elif _WORD.match(word):
            self._note(f"the keyword {keyword[:40]} is not known and was ignored", line)
        else:
            accepted = f"{', '.join(_KEYWORDS)}, a comment with #, or three numbers"
            self._fail(line, f"{_shown(content)} is neither keyword nor numbers", accepted)

    def _take_title(self, line: int, raw: bytes) -> None:
        text = self._words(line, raw)
        if self.title:
            self._note("a second title was ignored", line)
            return
        inner = text.removeprefix('"')
        if text == inner or not inner.endswith('"'):
            self._note("title without quotes", line)
        self.title = inner.removesuffix('"')

    def _size(self, line: int, keyword: str, argument: bytes) -> int:
        low, high = SIZES_1D if keyword == "LUT_1D_SIZE" else SIZES_3D
        # A number of more than nine digits is out of range in any case.
        if not re.fullmatch(rb"\d{1,9}", argument, re.ASCII) or not low <= int(argument) <= high:
            self._fail(line, f"{keyword} {_shown(argument)} is not a size", f"{low} to {high}")
        return int(argument)

    def _numbers(self, line: int, keyword: str, argument: bytes, count: int) -> list[float]:
        values = [number(token) for token in argument.split()]
        if len(values) != count or None in values:
            self._fail(line, f"{keyword} {_shown(argument)}", f"{count} finite numbers")
        return [value for value in values if value is not None]

    def _declare(self, line: int, keyword: str, values: list[Any]) -> None:
        if keyword in self.declared:
            first, known = self.declared[keyword]
            if known != values:
                self._fail(line, f"{keyword} again, and not as on line {first}", "it once")
            self._note(f"{keyword} again, the same as before", line)
        self.declared[keyword] = (line, values)

    def _sizes(self) -> tuple[int, int]:
        """The 1D and the 3D size; 0 if there is none."""
        if not self.declared.keys() & set(_SIZE_KEYWORDS):
            raise FormatError(
                "no LUT_1D_SIZE and no LUT_3D_SIZE before the rows",
                where=self.where,
                accepted="a .cube LUT",
            )
        size_1d, size_3d = (int(self.declared.get(word, (0, [0]))[1][0]) for word in _SIZE_KEYWORDS)
        return size_1d, size_3d

    def _domains(self, size_1d: int, size_3d: int) -> dict[str, NDArray[np.float64]]:
        """The domain of the 1D and the 3D part, from whichever keywords give it."""
        by_channel = np.array(UNIT_DOMAIN)
        for row, keyword in enumerate(_DOMAIN_KEYWORDS):
            if keyword in self.declared:
                by_channel[row] = self.declared[keyword][1]
        has_domain = any(keyword in self.declared for keyword in _DOMAIN_KEYWORDS)
        if has_domain:
            self._check_domain(by_channel, *_DOMAIN_KEYWORDS)
        domains = {"1d": np.array(UNIT_DOMAIN), "3d": np.array(UNIT_DOMAIN)}
        # DOMAIN_MIN and DOMAIN_MAX are the domain of the whole LUT.
        domains["1d" if size_1d else "3d"] = by_channel
        for part, size, keyword in zip(
            ("1d", "3d"), (size_1d, size_3d), _RANGE_KEYWORDS, strict=True
        ):
            if keyword not in self.declared:
                continue
            line, (low, high) = self.declared[keyword]
            if not size:
                self._note(f"{keyword} without such a LUT was ignored", line)
                continue
            whole = np.repeat([[low], [high]], 3, axis=1)
            self._check_domain(whole, keyword)
            if part == ("1d" if size_1d else "3d") and has_domain:
                if not np.array_equal(whole, by_channel):
                    self._fail(line, f"{keyword} and DOMAIN_MIN, DOMAIN_MAX differ", "one of them")
                self._note(f"{keyword} repeats DOMAIN_MIN and DOMAIN_MAX", line)
            else:
                self._note(f"{keyword}, which not every reader knows", line)
            domains[part] = whole
        return domains

    def _check_domain(self, domain: NDArray[np.float64], *keywords: str) -> None:
        if not (domain[0] < domain[1]).all():
            line = max(
                self.declared[keyword][0] for keyword in keywords if keyword in self.declared
            )
            low, high = domain.tolist()
            self._fail(
                line, f"the domain runs from {low} to {high}", "the minimum under the maximum"
            )

    # Rows

    def _read_rows(self, text: bytes, at: int, line: int, size_1d: int, size_3d: int) -> CubeRows:
        count = size_1d + size_3d**3
        if len(text) - at < count * _SHORTEST_ROW:
            # The text is too short for so many rows, so no memory is allocated for them.
            self._count_fails(text.count(b"\n", at), count, at_most=True)
        self.idle_limit = MAX_IDLE_LINES + count
        rows = CubeRows(size_1d, size_3d)
        while at < len(text):
            stop = text.rfind(b"\n", at, at + _CHUNK_BYTES) + 1
            if not stop:
                self._line_too_long(line)
            chunk = text[at:stop]
            found = parse_rows(chunk)
            lines = chunk.count(b"\n") if found is None else len(found)
            if found is None:
                found = self._rows_by_line(text, at, stop, line, rows.done, count)
            elif b"e" in chunk or b"E" in chunk:
                self._note("exponent notation")
            if rows.done + len(found) > count:
                self._too_many(line + count - rows.done, count)
            rows.put(found)
            at, line = stop, line + lines
            long_work.report("reading", at / len(text))
        if rows.done != count:
            self._count_fails(rows.done, count)
        if b"\t" in text:
            self._note("tabs")
        return rows

    def _rows_by_line(
        self, text: bytes, at: int, stop: int, line: int, done: int, count: int
    ) -> NDArray[np.float64]:
        """The rows of a part that also has comments or blank lines; faults are raised."""
        found: list[list[float]] = []
        comments = len(self.comments)
        for _, number_of_line, content in self._lines(text, at, stop, line):
            row = [number(token) for token in content.split()]
            if len(row) != 3 or None in row:
                self._bad_row(number_of_line, content)
            if done + len(found) == count:
                self._too_many(number_of_line, count)
            if b"e" in content or b"E" in content:
                self._note("exponent notation")
            found.append([value for value in row if value is not None])
        if len(self.comments) > comments:
            self._note("comments among or after the rows")
        return np.array(found, dtype=np.float64).reshape(-1, 3)

    def _bad_row(self, line: int, content: bytes) -> NoReturn:
        word = content.split()[0]
        if word.decode("latin-1").upper() in _KEYWORDS:
            self._fail(line, f"{_shown(word)} after the first row", "keywords before the rows")
        if re.search(rb"\d,\d", content):
            self._fail(line, f"{_shown(content)} has decimal commas", "decimal points")
        if re.search(rb"nan|inf", content, re.IGNORECASE):
            self._fail(line, f"{_shown(content)} is not finite", "three finite numbers")
        self._fail(line, f"{_shown(content)} is not a row", "three finite numbers")

    def _too_many(self, line: int, count: int) -> NoReturn:
        self._fail(line, f"a row too many for {self._declared()}", f"{count} rows")

    def _count_fails(self, found: int, count: int, at_most: bool = False) -> NoReturn:
        rows = f"{'at most ' if at_most else ''}{found} {'row' if found == 1 else 'rows'}"
        self._fail(0, f"{rows}, too few for {self._declared()}", f"{count} rows")

    def _declared(self) -> str:
        return " and ".join(
            f"{word} {self.declared[word][1][0]}"
            for word in _SIZE_KEYWORDS
            if word in self.declared
        )

    def _lut(self, rows: CubeRows, domains: dict[str, NDArray[np.float64]]) -> Lut:
        if not self.title:
            self._note("no title")
        about = (self.title, tuple(self.comments))
        if not rows.size:
            return Lut1D(rows.curve, domains["1d"], *about)
        table = rows.table()
        if not len(rows.curve):
            return Lut3D(table, domains["3d"], *about)
        self._note("a 1D shaper before the 3D LUT, which not every reader knows")
        shaper = Lut1D(rows.curve, domains["1d"])
        return ShaperLut3D(shaper, Lut3D(table, domains["3d"]), *about)

    # Notes and errors

    def _note(self, what: str, line: int = 0) -> None:
        self.notes.setdefault(what, line)

    def _fail(self, line: int, what: str, accepted: str) -> NoReturn:
        where = f"{self.where}:{line}" if self.where and line else self.where
        if line and not self.where:
            where = f"line {line}"
        raise FormatError(what, where=where, accepted=accepted)


def _shown(raw: bytes) -> str:
    text = raw[:60].decode("latin-1")
    return repr(text if len(raw) <= 60 else text + "…")
