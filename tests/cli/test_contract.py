"""The contract of the command line: exit statuses, pipes, encodings, notes."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest

from lutbench.cli import main as cli
from lutbench.errors import LutbenchError

COMMAND = [sys.executable, "-m", "lutbench"]


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [*COMMAND, *arguments], capture_output=True, env=os.environ | environment, timeout=120
    )


def status_of(fault: BaseException | int, monkeypatch: pytest.MonkeyPatch, *more: str) -> Any:
    """The exit status of the command line when a command ends so."""

    @click.command()
    def command() -> int:
        if isinstance(fault, int):
            return fault
        raise fault

    cli._apply_common_rules(command)
    monkeypatch.setattr(cli.LazyGroup, "get_command", lambda self, ctx, name: command)
    with pytest.raises(SystemExit) as end:
        cli.main(["list", *more])
    return end.value.code


@pytest.mark.parametrize(
    ("fault", "status"),
    [
        (0, 0),
        (1, 1),
        (LutbenchError("is not a LUT", where="a.cube"), 2),
        (click.UsageError("no such option"), 2),
        (click.BadParameter("is not a number"), 2),
        (PermissionError(13, "Permission denied", "a.cube"), 2),
        (MemoryError(), 2),
        (TypeError("'NoneType' object is not iterable"), 70),
        (AssertionError(), 70),
        (KeyError("red"), 70),
        (RecursionError("too deep"), 70),
        (KeyboardInterrupt(), 130),
    ],
    ids=repr,
)
def test_exit_statuses(
    fault: Any, status: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """1 is for checks and frames alone; a fault of our own has a status of its own."""
    assert status_of(fault, monkeypatch) == status
    told = capsys.readouterr().err
    assert told.strip("\n").count("\n") == 0
    assert bool(told) != isinstance(fault, int)
    assert "Traceback" not in told
    if status == 70:
        assert "a fault of lutbench itself" in told
        assert f"{type(fault).__name__}: " in told
        assert "test_contract.py:" in told
        assert "please report" in told


def test_verbose_shows_where_a_fault_happened(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status_of(ZeroDivisionError("by zero"), monkeypatch, "--verbose") == 70
    assert "Traceback" in capsys.readouterr().err


def test_a_fault_does_not_steer_the_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status_of(ValueError("\x1b[2Jgone\nnext"), monkeypatch) == 70
    assert "\x1b" not in capsys.readouterr().err


@pytest.mark.skipif(os.name != "posix", reason="signals of pipes are POSIX")
@pytest.mark.parametrize("how", [["list", "curves"], ["list", "curves", "--json"], ["--help"]])
def test_a_closed_pipe_is_quiet(how: list[str]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    try:
        found = subprocess.run(
            [*COMMAND, *how], stdout=writing, stderr=subprocess.PIPE, timeout=120
        )
    finally:
        os.close(writing)
    assert found.stderr == b""
    assert found.returncode == -signal.SIGPIPE


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "latin-1"])
@pytest.mark.parametrize("how", [["levels", "--curve", "ACEScct"], ["list", "gamuts"], ["--help"]])
def test_a_sign_that_the_output_lacks_is_replaced(encoding: str, how: list[str]) -> None:
    found = run(*how, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    assert (found.returncode, found.stderr) == (0, b"")
    found.stdout.decode(encoding)
    whole = run(*how, PYTHONIOENCODING="utf-8").stdout.decode()
    assert found.stdout.decode(encoding).count("\n") == whole.count("\n")


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_a_number_keeps_its_sign(encoding: str) -> None:
    shown = run("levels", "--curve", "ACEScct", PYTHONIOENCODING=encoding).stdout.decode(encoding)
    assert re.search(r"^-3 stops .* -3\.0 ", shown, re.MULTILINE)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
def test_the_status_holds_where_nobody_can_be_told() -> None:
    with open("/dev/full", "w") as full:
        found = subprocess.run([*COMMAND, "levels", "--curve", "none"], stderr=full, timeout=120)
    assert found.returncode == 2


def test_an_error_with_a_sign_that_the_output_lacks() -> None:
    found = run("levels", "--curve", "Δ", PYTHONIOENCODING="cp1252")
    assert found.returncode == 2
    assert found.stderr.startswith(b"lutbench: --curve: no curve is named '?'")


def test_quiet_leaves_notes_out_and_usual_does_not(tmp_path: Path) -> None:
    card = tmp_path / "card.png"
    line = ["levels", "--curve", "ACEScct", "--card", str(card)]
    assert b"card written" in run(*line).stderr
    card.unlink()
    assert run(*line, "--quiet").stderr == b""
    assert card.exists()


def test_every_command_can_be_quiet_and_verbose() -> None:
    def leaves(command: click.Command) -> Any:
        if not isinstance(command, click.Group):
            return [command]
        return [leaf for each in command.commands.values() for leaf in leaves(each)]

    context = click.Context(cli.group)
    for name in cli.COMMANDS:
        for command in leaves(cli.group.get_command(context, name)):  # type: ignore[attr-defined]
            options = [name for each in command.params for name in each.opts]
            assert options.count("--quiet") == 1, name
            assert options.count("--verbose") == 1, name


@pytest.mark.skipif(os.name != "posix", reason="streams as a POSIX shell closes them")
def test_a_stream_that_was_closed_leads_nowhere(tmp_path: Path) -> None:
    """And no file that is written takes its place."""
    lines = {
        f"{COMMAND[0]} -m lutbench list curves >&-": 0,
        f"{COMMAND[0]} -m lutbench inspect nothing.cube 2>&-": 2,
        f"{COMMAND[0]} -m lutbench schema recipe <&- >&- 2>&-": 0,
    }
    for line, status in lines.items():
        done = subprocess.run(["sh", "-c", line], capture_output=True, cwd=tmp_path, timeout=120)
        assert done.returncode == status, done.stderr
        assert done.stderr == b""


def test_a_library_that_fails_since_it_was_interrupted_is_an_interrupt() -> None:
    """As one in C does that is interrupted while it loads: an ImportError with that cause."""
    from lutbench.cli.main import _was_interrupted

    error = ImportError("initialization failed")
    error.__cause__ = KeyboardInterrupt()
    assert _was_interrupted(error)
    assert not _was_interrupted(ImportError("no such module"))
