"""Files that are valid and hostile in their numbers, through every command with every option.

Each call ends with its report or with one line: no traceback, no warning, no NaN in
JSON, no hidden file left, no long wait. `python tests/fuzz --figures --cases 20000` is
the same at length; its figures stand in docs/hostile-input.md.
"""

from __future__ import annotations

from pathlib import Path

import click
import pytest
from calls import CALLS, LEFT_OUT, command_of
from figures_harness import Record

from lutbench.cli.main import COMMANDS

CASES, SHARES = 500, 10
SEED = 7


@pytest.mark.parametrize("share", range(SHARES))
def test_a_hostile_number_gets_a_report_or_one_line(share: int, tmp_path: Path) -> None:
    record = Record(SEED, tmp_path)
    for number in range(share, CASES, SHARES):
        ending = record.attempt(number)
        assert not ending.fault, f"case {number}: {ending.call}\n{ending.fault}\n{ending.reason}"
    # Files that are all refused would test nothing behind the readers.
    assert record.endings["status 0"] + record.endings["status 1"] > CASES / SHARES / 3


def test_every_command_is_called() -> None:
    assert {name.split("/")[0].split()[0] for name in CALLS} == set(COMMANDS)


def test_the_options_left_out_are_options() -> None:
    params = [each for name in CALLS for each in command_of(name).params]
    every = {opt for each in params if isinstance(each, click.Option) for opt in each.opts}
    assert set(LEFT_OUT) <= every | {"--help"}
