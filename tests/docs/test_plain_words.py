"""Phrases that readers stumbled over do not come back: in code, pages, templates and the manual."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

STUMBLED_OVER = (
    r"is no light does",
    r"0 % is below black",
    r"do right where",
    r"no eye sees",
    r"for one (colour|value) in (ten|twenty)",
    r"\b(codes|ΔE 2000)[^.\n]{0,30} in the middle\b",
    r"a CDL makes it",
    r"makes? the answer surer",
    r"box that (no file comes out of|gives away no file)",
    r"under work",
    r"limit of 1 codes",
    r"belongs? into",
)
"""Riddles, and words that no native speaker would write: each was printed once."""

AMERICAN = (
    r"\b(colorist|grayscale|grays|neighbor|behavior|favorite|center(ed|s)?\b(?!=))",
    r"\b(normaliz|recogniz|optimiz|visualiz|summariz|initializ)(e|es|ed|ing|ation)\b",
)
"""Spellings of the other side of the Atlantic, in what the project prints."""


def texts() -> list[Path]:
    """Every file that holds words somebody reads."""
    found = [*(ROOT / "lutbench").rglob("*.py"), *(ROOT / "lutbench").rglob("*.html")]
    return [*found, *(ROOT / "docs").rglob("*.md"), ROOT / "README.md", ROOT / "CHANGELOG.md"]


def hits(patterns: tuple[str, ...], files: list[Path]) -> list[str]:
    """Where one of the patterns stands; line breaks of prose and of literals do not hide it."""
    every = re.compile("|".join(f"(?:{each})" for each in patterns), re.IGNORECASE)
    found = []
    for file in files:
        text = re.sub(r'"?\s*\n\s*f?"?', " ", file.read_text(encoding="utf-8"))
        found += [f"{file.relative_to(ROOT)}: {each[0]}" for each in every.finditer(text)]
    return found


def test_no_phrase_comes_back() -> None:
    assert hits(STUMBLED_OVER, texts()) == []


def test_the_spelling_is_british_in_what_is_printed() -> None:
    templates = [*(ROOT / "lutbench").rglob("templates/*.html"), *(ROOT / "docs").rglob("*.md")]
    pages = [each for each in templates if "reference" not in each.parts]
    assert hits(AMERICAN, [*pages, ROOT / "README.md"]) == []


@pytest.mark.parametrize(
    "sentence",
    [
        "100 % is no light does",
        "it is off by 3 codes in the\n    middle",
        "the same LUT\nwould make the answer surer",
        "frames under work at once",
    ],
)
def test_the_net_catches_them(sentence: str) -> None:
    every = re.compile("|".join(f"(?:{each})" for each in STUMBLED_OVER), re.IGNORECASE)
    assert every.search(re.sub(r'"?\s*\n\s*f?"?', " ", sentence))
