"""Untrusted text, made harmless for terminals, pages and spreadsheets.

Titles, comments and the names of files and definitions may hold characters that control a
terminal, change the writing direction of the text around them, or begin a formula.
"""

from __future__ import annotations

import re

STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]"
)
"""Control characters except tab and line feed, line separators, and direction marks."""

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def harmless(text: str, instead: str = "\ufffd") -> str:
    """`text` with `instead` in place of each control character or direction mark.

    >>> harmless("day\\x1b[2J\\u202e.cube", "?")
    'day?[2J?.cube'
    """
    return STEERING.sub(instead, text)


def harmless_json(text: str) -> str:
    r"""JSON text with such characters escaped; it parses to the same data.

    >>> print(harmless_json('"a\u202eb"'))
    "a\u202eb"
    """
    return STEERING.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def csv_text_cell(text: str) -> str:
    """`text` as a CSV cell that no spreadsheet takes for a formula.

    >>> csv_text_cell("-3 stops"), csv_text_cell("mid grey")
    ("'-3 stops", 'mid grey')
    """
    plain = harmless(text)
    return f"'{plain}" if plain.startswith(_FORMULA) else plain


def one_line(text: str) -> str:
    """`text` on one line, with a space in place of each control character or direction mark."""
    return harmless(text.replace("\n", " ").replace("\t", " "), " ")


def printable(text: str) -> str:
    """`text` on one line without characters that a terminal would not print."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
