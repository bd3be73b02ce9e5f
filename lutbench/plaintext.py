"""Text from outside, made harmless for who reads it: a terminal, a page, a spreadsheet.

Titles, comments, names of files and of definitions may hold characters that steer a
terminal, turn the direction of what stands around them, or begin a formula.
"""

from __future__ import annotations

import re

STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]"
)
"""Control characters but for tab and line feed, separators of lines, marks of direction."""

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def harmless(text: str, instead: str = "\ufffd") -> str:
    """`text` with a sign in place of each character that steers.

    >>> harmless("day\\x1b[2J\\u202e.cube", "?")
    'day?[2J?.cube'
    """
    return STEERING.sub(instead, text)


def harmless_json(text: str) -> str:
    r"""JSON text with such characters as escapes, which mean the same.

    >>> print(harmless_json('"a\u202eb"'))
    "a\u202eb"
    """
    return STEERING.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def csv_text_cell(text: str) -> str:
    """A cell of text that no spreadsheet takes for a formula.

    >>> csv_text_cell("-3 stops"), csv_text_cell("mid grey")
    ("'-3 stops", 'mid grey')
    """
    plain = harmless(text)
    return f"'{plain}" if plain.startswith(_FORMULA) else plain


def one_line(text: str) -> str:
    """`text` on one line, with a blank in place of each character that steers."""
    return harmless(text.replace("\n", " ").replace("\t", " "), " ")


def printable(text: str) -> str:
    """`text` as one line: what a file or a name holds must not steer the terminal."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
