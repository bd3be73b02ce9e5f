"""The first minutes: what a new user meets before knowing any option."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from lutbench.cli.main import COMMANDS, group, main


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as end:
        main(list(args))
    out, err = capsys.readouterr()
    return int(end.value.code or 0), out, err


def test_the_bare_command_says_what_to_do_first_by_person(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, out, err = run(capsys)
    assert (status, err) == (0, "")
    for person in ("You build", "You check", "You pin"):
        assert person in out
    assert "for viewing" in out
    assert max(map(len, out.splitlines())) <= 80


def test_it_names_a_command_for_each_step(
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, out, _ = run(capsys)
    named = set(re.findall(r"^  lutbench ([a-z]+)", out, re.M))
    assert {"build", "inspect", "identify", "levels", "compare", "verify", "demo"} <= named


def test_the_help_lists_every_command_once(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "--help")
    listed = re.findall(r"^  ([a-z][a-z-]*)  ", out.split("Commands:")[1], re.M)
    assert status == 0
    assert listed == list(COMMANDS)


@pytest.mark.parametrize("name", ["rework", "monitor", "display"])
def test_a_command_of_commands_alone_lists_them_in_whole_sentences(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, name)
    assert (status, err) == (0, "")
    assert "..." not in out.split("Commands:")[1]


@pytest.mark.parametrize("name", COMMANDS)
def test_a_help_text_fits_80_columns_and_explains_every_option(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = run(capsys, name, "--help")
    assert status == 0
    # The lines of an example stay as one types them; all else is wrapped.
    wrapped = [line for line in out.splitlines() if not line.startswith("    lutbench")]
    assert max(map(len, wrapped)) <= 80
    command = group.get_command(click.Context(group), name)
    assert command is not None
    options = [each for each in command.params if isinstance(each, click.Option)]
    assert [each.name for each in options if not each.help] == []


@pytest.mark.parametrize(
    ("typed", "meant"), [("bild", "build"), ("identfy", "identify"), ("level", "levels")]
)
def test_a_mistyped_command_gets_the_nearest(
    typed: str, meant: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, typed)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert meant in err.split("accepted:")[1]


def test_a_mistyped_option_gets_the_nearest_and_the_way_to_the_help(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, out, err = run(capsys, "build", "--siz", "3")
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert "--size" in err
    assert "`lutbench build --help`" in err


def test_a_mistyped_curve_gets_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    status, _, err = run(capsys, "levels", "--curve", "BT.1868")
    assert status == 2
    assert "BT.1886" in err.split("accepted:")[1]


def completions(words: str, tmp_path: Path, shell: str = "bash") -> list[str]:
    """What the shell would be offered after `words`, the last of which is unfinished."""
    done = subprocess.run(
        [sys.executable, "-c", "from lutbench.cli.main import main; main([])"],
        env=os.environ
        | {
            "_LUTBENCH_COMPLETE": f"{shell}_complete",
            "COMP_WORDS": words,
            "COMP_CWORD": str(len(words.split(" ")) - 1),
            "XDG_CONFIG_HOME": str(tmp_path),
        },
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    return done.stdout.splitlines()


def test_the_shell_completes_commands_options_names_and_files(tmp_path: Path) -> None:
    own = tmp_path / "lutbench" / "definitions" / "own.toml"
    own.parent.mkdir(parents=True)
    own.write_text('[curves."BT House"]\nkind = "power"\ngamma = 2.2\n')
    assert completions("lutbench lev", tmp_path) == ["plain,levels"]
    assert "plain,--source-curve" in completions("lutbench build --source", tmp_path)
    curves = completions("lutbench build --source-curve bt", tmp_path)
    assert "plain,BT.1886" in curves
    assert "plain,BT.2100\\ PQ" in curves
    assert "plain,BT\\ House" in curves
    assert completions("lutbench identify mon", tmp_path) == ["file,mon"]


def test_other_shells_quote_for_themselves(tmp_path: Path) -> None:
    offered = completions("lutbench levels --curve bt.2100", tmp_path, "zsh")
    assert "BT.2100 PQ" in offered


@pytest.mark.parametrize(
    "args", [["list", "gamuts"], ["levels", "--curve", "ACEScct"], ["build", "r.toml", "-o", "out"]]
)
def test_output_is_plain_and_quiet_when_not_on_a_terminal(
    args: list[str],
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("r.toml").write_text(
        '[[lut]]\nname = "a"\nsize = 5\nkind = "curve"\n'
        'source.curve = "ACEScct"\ntarget.curve = "sRGB"\n'
    )
    status, out, err = run(capsys, *args)
    assert status == 0
    assert "\x1b" not in out
    assert err == ""


def test_no_color_is_obeyed_on_a_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TTY_COMPATIBLE", "1")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    _, out, _ = run(capsys, "levels", "--curve", "ACEScct")
    # SGR 30 to 49 and 90 to 107 are colours; bold and dim may stay (no-color.org).
    codes = {code for found in re.findall(r"\x1b\[([\d;]*)m", out) for code in found.split(";")}
    assert codes <= {"", "0", "1", "2"}


@pytest.mark.parametrize(
    "args",
    [
        ["list", "curves"],
        ["list", "gamuts"],
        ["levels", "--curve", "ACEScct"],
        ["levels", "--curve", "ACEScct", "--lut", "a.cube", "--zebra-min", "50"],
        ["build", "r.toml", "-o", "out"],
        ["identify", "a.cube"],
        ["compare", "a.cube", "ACEScct, BT.709 to sRGB, BT.709"],
    ],
    ids=" ".join,
)
def test_tables_fit_80_columns(
    args: list[str],
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TTY_COMPATIBLE", "1")
    monkeypatch.setenv("TERM", "dumb")
    monkeypatch.setenv("COLUMNS", "80")
    Path("r.toml").write_text(
        '[[lut]]\nname = "a"\nsize = 5\nkind = "curve"\n'
        'source.curve = "ACEScct"\ntarget.curve = "sRGB"\n'
    )
    build = ["build", "--source-curve", "ACEScct", "--target-curve", "sRGB", "--kind", "curve"]
    assert run(capsys, *build, "-o", "a.cube")[0] == 0
    status, out, _ = run(capsys, *args)
    assert status == 0
    assert max(len(line.rstrip()) for line in out.splitlines()) <= 80, out
