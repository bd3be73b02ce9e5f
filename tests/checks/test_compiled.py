"""The kind `compiled`: loops that compute slightly otherwise are noticed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from lutbench.checks.runner import Outcome, run_check
from lutbench.checks.suite import read_suite
from lutbench.media.clip import cuts, ycbcr
from lutbench.resources import self_suite
from lutbench.tables import kernels


def _outcome() -> Outcome:
    with self_suite() as (path,):
        suite = read_suite(path)
        (check,) = (each for each in suite.checks if each.kind == "compiled")
        return run_check(check, suite.context())


def test_sound_loops_pass() -> None:
    found = _outcome()
    assert found.status == "passed", found.summary


def _nodes_moved(patch: pytest.MonkeyPatch) -> None:
    run = kernels.runner(np.float32)

    def moved(src: Any, dst: Any, ops: Any, params: Any, pool: Any, *rest: Any) -> None:
        run(src, dst, ops, params, pool * np.float32(1 + 1e-6), *rest)

    patch.setattr(kernels, "runner", lambda number: moved)


def _decoding_moved(patch: pytest.MonkeyPatch) -> None:
    numbers = ycbcr._decoding_numbers
    patch.setattr(ycbcr, "_decoding_numbers", lambda coding: numbers(coding) * np.float32(1 + 1e-5))


def _encoding_moved(patch: pytest.MonkeyPatch) -> None:
    numbers = ycbcr.encoding_numbers
    patch.setattr(ycbcr, "encoding_numbers", lambda coding: [1.001 * n for n in numbers(coding)])


def _one_pixel_more(patch: pytest.MonkeyPatch) -> None:
    count = cuts._outside()

    def more(rgb: Any, ends: Any, counts: Any) -> None:
        count(rgb, ends, counts)
        counts[0] += 1

    patch.setattr(cuts, "_outside", lambda: more)


@pytest.mark.parametrize(
    ("damage", "told"),
    [
        (_nodes_moved, "not as in numpy"),
        (_decoding_moved, "decoded, off by"),
        (_encoding_moved, "codes that change"),
        (_one_pixel_more, "clipped pixels, off by 1"),
    ],
)
def test_damaged_loops_fail(
    monkeypatch: pytest.MonkeyPatch, damage: Callable[[pytest.MonkeyPatch], None], told: str
) -> None:
    damage(monkeypatch)
    found = _outcome()
    assert found.status == "failed"
    assert told in found.summary
