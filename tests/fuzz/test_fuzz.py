"""Damaged files of every kind are read or refused: no crash, no traceback, no flood, no wait.

`python tests/fuzz --cases 20000` is the same at length; its figures stand in
docs/hostile-input.md.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from harness import Harness
from hypothesis import HealthCheck, Phase, given, settings
from mutations import cases, checked_seeds
from targets import TARGETS

CASES = 510


@pytest.fixture(scope="module")
def harness() -> Iterator[Harness]:
    with Harness() as made:
        yield made


def test_the_seeds_are_what_they_should_be() -> None:
    checked_seeds()


@pytest.mark.parametrize("kind", TARGETS)
def test_a_damaged_file_is_read_or_refused(kind: str, harness: Harness) -> None:
    @settings(
        max_examples=CASES // len(TARGETS),
        deadline=None,
        derandomize=True,  # the long run looks for new faults, this one keeps the old ones out
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )
    @given(cases(kind))
    def attempt(data: bytes) -> None:
        result = harness.attempt(kind, data)
        assert result["outcome"] in ("read", "refused"), result["reason"]

    attempt()
    # Damage that always shows at once would test nothing behind the first check.
    assert harness.tallies[kind].cases >= CASES // len(TARGETS)
