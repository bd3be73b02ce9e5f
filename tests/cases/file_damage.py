"""Files damaged in the ways that files are damaged: text, sizes, scales, orders, rows.

Each takes the bytes of a sound ``.cube`` file and gives the bytes of a damaged one. `code`
is what has to be said of it; `cured` says whether a repair gives the sound LUT back.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from damage import clean
from numpy.typing import NDArray

from lutbench.formats.cube import parse_cube
from lutbench.formats.cube_write import format_cube
from lutbench.tables.lut import Lut3D

Table = NDArray[np.float64]

SOUND = {
    "view": clean("log to display, shoulder", 17),
    "video": clean("log to video, clipped", 17),
    "gamut": clean("log gamut only", 17),
    "display": clean("video to display", 17),
    "curve": clean("log curve only", 17),
}


@dataclass(frozen=True)
class FileDamage:
    """A damaged file: from which sound LUT, how, what it is called, whether it can be cured."""

    name: str
    sound: str
    damage: Callable[[bytes], bytes]
    code: str
    cured: bool
    within: float = 2e-6
    """How near the cured table has to come, in signal: six decimals, unless codes were rounded."""

    def __str__(self) -> str:
        return f"{self.name}, {self.sound}"

    @property
    def before(self) -> Lut3D:
        """The sound LUT."""
        return SOUND[self.sound]

    @property
    def data(self) -> bytes:
        """The damaged file."""
        return self.damage(format_cube(self.before))


def rows(change: Callable[[list[str]], list[str]]) -> Callable[[bytes], bytes]:
    """A damage of the lines that hold numbers."""

    def damage(data: bytes) -> bytes:
        lines = data.decode().splitlines()
        head = [line for line in lines if not line[:1].isdigit() and line[:1] != "-"]
        body = lines[len(head) :]
        return "\n".join([*head, *change(body), ""]).encode()

    return damage


def head(change: Callable[[list[str]], list[str]]) -> Callable[[bytes], bytes]:
    """A damage of the lines before the numbers."""

    def damage(data: bytes) -> bytes:
        lines = data.decode().splitlines()
        count = sum(not line[:1].isdigit() and line[:1] != "-" for line in lines)
        return "\n".join([*change(lines[:count]), *lines[count:], ""]).encode()

    return damage


def table(change: Callable[[Table], Table], decimals: int = 6) -> Callable[[bytes], bytes]:
    """A damage of the values."""

    def damage(data: bytes) -> bytes:
        lut = parse_cube(data).lut
        return format_cube(Lut3D(change(lut.table.astype(np.float64))), decimals)

    return damage


def codes(bits: int, legal: bool = False) -> Callable[[Table], Table]:
    """Whole code values."""
    top = 2**bits - 1
    unit = 2 ** (bits - 8)
    if legal:
        return lambda values: np.rint(16 * unit + 219 * unit * np.clip(values, 0, 1))
    return lambda values: np.rint(top * np.clip(values, 0, 1))


def domain(top: int) -> Callable[[bytes], bytes]:
    """A domain in code values."""
    return head(lambda lines: [*lines, "DOMAIN_MIN 0 0 0", f"DOMAIN_MAX {top} {top} {top}"])


def both(
    first: Callable[[bytes], bytes], then: Callable[[bytes], bytes]
) -> Callable[[bytes], bytes]:
    """Two damages, one after the other."""
    return lambda data: then(first(data))


def stuck(first: int, count: int) -> Callable[[bytes], bytes]:
    """So many rows repeat one."""

    def change(body: list[str]) -> list[str]:
        return [*body[:first], *([body[first]] * count), *body[first + count :]]

    return rows(change)


def green_stuck(first: int, count: int) -> Callable[[bytes], bytes]:
    """So many rows repeat the green of one."""

    def change(body: list[str]) -> list[str]:
        green = body[first].split()[1]
        stuck_rows = [
            " ".join((line.split()[0], green, line.split()[2]))
            for line in body[first : first + count]
        ]
        return [*body[:first], *stuck_rows, *body[first + count :]]

    return rows(change)


def stray(node: tuple[int, int, int], by: float) -> Callable[[Table], Table]:
    """One node moved, all channels."""

    def change(values: Table) -> Table:
        out = values.copy()
        out[node] += by
        return out

    return change


def titled(title: str) -> Callable[[bytes], bytes]:
    """Another title."""
    return lambda data: b'TITLE "' + title.encode() + b'"\n' + data


def inverted(data: bytes) -> bytes:
    """The inverse of the table, under the title of the table itself."""
    from lutbench.algebra import invert

    lut = invert(parse_cube(data).lut).lut
    return titled("log to display")(format_cube(lut))


def commas(separator: str = " ") -> Callable[[bytes], bytes]:
    """Decimal commas."""
    return rows(lambda body: [line.replace(".", ",").replace(" ", separator) for line in body])


SWAPPED = table(lambda values: values[..., ::-1])
REVERSED = table(lambda values: values.transpose(2, 1, 0, 3))
LEGAL = table(lambda values: (64 + 876 * values) / 1023)

FILE_DAMAGES = (
    FileDamage("8-bit table", "view", table(codes(8), 0), "integer_values", True, 0.5 / 255),
    FileDamage("10-bit table", "view", table(codes(10), 0), "integer_values", True, 0.5 / 1023),
    FileDamage("10-bit table", "gamut", table(codes(10), 0), "integer_values", True, 0.5 / 1023),
    FileDamage("12-bit table", "video", table(codes(12), 0), "integer_values", True, 0.5 / 4095),
    FileDamage("16-bit table", "display", table(codes(16), 0), "integer_values", True, 1e-5),
    FileDamage(
        "codes with decimals", "view", table(lambda v: 1023 * v, 4), "integer_values", True, 1e-6
    ),
    FileDamage("domain in 10-bit codes", "view", domain(1023), "domain_in_codes", True),
    FileDamage("domain in 8-bit codes", "gamut", domain(255), "domain_in_codes", True),
    FileDamage("domain in 16-bit codes", "video", domain(65535), "domain_in_codes", True),
    FileDamage(
        "codes in table and domain",
        "view",
        both(table(codes(10), 0), domain(1023)),
        "integer_values",
        True,
        0.5 / 1023,
    ),
    FileDamage("blue runs fastest", "view", REVERSED, "axis_order", True),
    FileDamage("blue runs fastest", "video", REVERSED, "axis_order", True),
    FileDamage("blue runs fastest", "display", REVERSED, "axis_order", True),
    FileDamage(
        "blue fastest, 10-bit table",
        "view",
        both(REVERSED, table(codes(10), 0)),
        "integer_values",
        True,
        0.5 / 1023,
    ),
    FileDamage("red and blue swapped", "view", SWAPPED, "channel_order", True),
    FileDamage("red and blue swapped", "display", SWAPPED, "channel_order", True),
    FileDamage(
        "red and green swapped", "video", table(lambda v: v[..., [1, 0, 2]]), "channel_order", True
    ),
    FileDamage(
        "channels turned round", "view", table(lambda v: v[..., [1, 2, 0]]), "channel_order", True
    ),
    FileDamage("short table", "view", rows(lambda b: b[:-1]), "short_table", False),
    FileDamage("short table", "gamut", rows(lambda b: b[:3000]), "short_table", False),
    FileDamage("decimal commas", "view", commas(), "decimal_commas", True),
    FileDamage("decimal commas", "gamut", commas("; "), "decimal_commas", True),
    FileDamage("decimal commas", "video", commas("\t"), "decimal_commas", True),
    FileDamage(
        "commas between",
        "view",
        rows(lambda b: [x.replace(" ", ",") for x in b]),
        "separators",
        True,
    ),
    FileDamage(
        "semicolons between",
        "display",
        rows(lambda b: [x.replace(" ", "; ") for x in b]),
        "separators",
        True,
    ),
    FileDamage("rows missing", "view", rows(lambda b: b[:100] + b[105:]), "missing_rows", False),
    FileDamage(
        "a row missing", "display", rows(lambda b: b[:2000] + b[2001:]), "missing_rows", False
    ),
    FileDamage("first row missing", "gamut", rows(lambda b: b[1:]), "missing_rows", False),
    FileDamage("value stuck", "view", stuck(618, 7), "stuck_values", False),
    FileDamage("value stuck over lines", "gamut", stuck(1000, 60), "stuck_values", False),
    FileDamage("green stuck", "view", green_stuck(2690, 100), "stuck_values", False),
    FileDamage("green stuck to the end", "display", green_stuck(2690, 2223), "stuck_values", False),
    FileDamage(
        "rest of the table black",
        "view",
        rows(lambda b: b[:3500] + ["0 0 0"] * (4913 - 3500)),
        "stuck_values",
        False,
    ),
    FileDamage(
        "blue stuck",
        "display",
        table(lambda v: np.stack([v[..., 0], v[..., 1], np.full(v.shape[:3], 0.5)], -1)),
        "stuck_values",
        False,
    ),
    FileDamage("a stray node", "gamut", table(stray((8, 8, 8), 0.05)), "stray_node", True, 0.005),
    FileDamage(
        "a stray node", "display", table(stray((5, 9, 6), -0.04)), "stray_node", True, 0.005
    ),
    FileDamage(
        "legal though full is said",
        "view",
        both(LEGAL, titled("view, full range")),
        "legal_range_output",
        True,
    ),
    FileDamage("inverse of its title", "curve", inverted, "inverse_of_title", True, 0.06),
    FileDamage(
        "wrong size", "view", lambda d: d.replace(b"SIZE 17", b"SIZE 33"), "wrong_size", True
    ),
    FileDamage(
        "1D size on a 3D table",
        "video",
        lambda d: d.replace(b"LUT_3D", b"LUT_1D"),
        "wrong_size",
        True,
    ),
    FileDamage("no size", "gamut", head(lambda lines: []), "no_size", True),
    FileDamage("UTF-16", "view", lambda d: d.decode().encode("utf-16"), "utf16", True),
    FileDamage("empty table", "view", table(np.zeros_like), "constant", False),
    FileDamage(
        "plane written twice",
        "gamut",
        table(lambda v: v[:, [*range(9), 8, *range(10, 17)]]),
        "duplicate_nodes",
        False,
    ),
)
