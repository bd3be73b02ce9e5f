"""Every kind of check notices known damage, and passes what is sound."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import pytest
from known_damage import (
    BLIND,
    CHECKS,
    DAMAGES,
    caught,
    damaged,
    outcome,
    sound_lut,
    write_project,
)

MANUAL = Path(__file__).resolve().parents[2] / "docs" / "verify.md"


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("project")
    write_project(folder)
    return folder


@pytest.mark.parametrize("check", CHECKS)
def test_the_undamaged_passes(project: Path, check: str) -> None:
    found = outcome(project, check, sound_lut())
    assert found.status == "passed", found.summary


LONG = ("health", "swapped axes")
"""The check and the damage that take long."""


@pytest.mark.parametrize(
    ("check", "damage"),
    [
        pytest.param(*each, marks=[pytest.mark.slow] * (each == LONG))
        for each in itertools.product(CHECKS, DAMAGES)
    ],
)
def test_damage_is_noticed(project: Path, check: str, damage: str) -> None:
    found = outcome(project, check, damaged(damage))
    if (check, damage) in BLIND:
        assert found.status == "passed"
        return
    assert found.status == "failed"
    assert found.summary
    if check not in ("levels", "health"):  # whose summaries say where
        assert found.where or "differs" in found.summary


def _published() -> list[tuple[str, str, float]]:
    """The table of the smallest damage in the manual: check, damage, amount."""
    text = MANUAL.read_text(encoding="utf-8").split("## The smallest damage")[1].split("\n## ")[0]
    lines = [line for line in text.splitlines() if line.startswith("|")]
    head = [cell.strip().split(" (")[0] for cell in lines[0].strip("|").split("|")]
    rows = []
    for line in lines[2:]:
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        for damage, cell in zip(head[1:], cells[1:], strict=True):
            if damage in DAMAGES and (amount := re.match(r"[\d.]+", cell)):
                rows.append((cells[0], damage, float(amount[0])))
    return rows


@pytest.mark.parametrize(("check", "damage", "amount"), _published())
def test_the_published_smallest_damage(
    project: Path, check: str, damage: str, amount: float
) -> None:
    assert caught(project, check, damage, amount)
    # Published with two digits, rounded up.
    assert not caught(project, check, damage, 0.85 * amount)


def test_every_kind_is_published() -> None:
    assert {check for check, _, _ in _published()} == set(CHECKS)
