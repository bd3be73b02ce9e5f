"""Every example in the pages and in the help texts is run."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import click
import pytest
from examples import PAGES, ROOT, RUN, Bench, Block, blocks_of, clear_outputs, run_command

from lutbench.cli.main import COMMANDS, LazyGroup

PAGES_WITH_EXAMPLES = [page for page in PAGES if any(b.language in RUN for b in blocks_of(page))]

LONG = (
    *("README", "bench", "charts", "commands", "display", "inspect", "recipes"),
    *("tutorial-build", "tutorial-check", "tutorial-pin"),
)
"""Pages whose examples take long."""


@pytest.mark.parametrize(
    "page",
    [
        pytest.param(
            page,
            id=str(page.relative_to(ROOT)),
            marks=[pytest.mark.slow] if page.stem in LONG else [],
        )
        for page in PAGES_WITH_EXAMPLES
    ],
)
def test_the_examples_of_a_page_do_what_it_says(page: Path, bench_folder: Path) -> None:
    clear_outputs(page.read_text(encoding="utf-8"), bench_folder)
    bench = Bench(bench_folder)
    for block in blocks_of(page):
        bench.run(block)


def test_a_fence_that_is_not_run_says_why_and_is_rare() -> None:
    left_out = [block for page in PAGES for block in blocks_of(page) if block.not_run]
    assert all(len(block.not_run) > 10 for block in left_out)
    run = [block for page in PAGES for block in blocks_of(page) if block.language in RUN]
    assert len(left_out) <= len(run) / 5, [block.where for block in left_out]


def test_no_fence_hides_commands_behind_a_language_that_is_not_run() -> None:
    shells = {
        "",
        "shell",
        "zsh",
        "fish",
        "bat",
        "powershell",
        "py",
        "python3",
        "shell-session",
        "text",
    }
    hidden = [
        block.where
        for page in PAGES
        for block in blocks_of(page)
        if block.language in shells and re.search(r"^(\$ )?lutbench ", block.text, re.M)
    ]
    assert hidden == []


def help_examples() -> list[tuple[str, str]]:
    """(command, example line) of every help text."""
    group = LazyGroup()
    context = click.Context(group)
    found = []
    for name in COMMANDS:
        command = group.get_command(context, name)
        assert command is not None
        text = (command.help or "").replace("\b", "")
        _, _, after = text.partition("Example")
        joined = re.sub(r"\\\n *", " ", after)
        found += [(name, line) for line in re.findall(r"^ *(lutbench .*)$", joined, re.M)]
    return found


HELP_EXAMPLES = help_examples()

HEAVY = (
    *("lutbench display patches", "lutbench chart shown", "lutbench demo"),
    "lutbench apply day.cube A004.mov",
)
"""Examples that take a while: they write many stills or a clip, or do the whole job."""


def test_every_command_has_an_example() -> None:
    assert {name for name, _ in HELP_EXAMPLES} == set(COMMANDS)


@pytest.mark.parametrize(
    ("name", "line"),
    [
        pytest.param(
            *each, id=each[1], marks=[pytest.mark.slow] if each[1].startswith(HEAVY) else []
        )
        for each in HELP_EXAMPLES
    ],
)
def test_the_example_of_a_help_text_runs_when_pasted(
    name: str, line: str, bench_folder: Path
) -> None:
    clear_outputs(line, bench_folder)
    status, printed = run_command(line)
    assert status == 0, printed


class TestTheRunner:
    """The runner itself fails where an example is wrong."""

    def block(self, language: str, text: str, status: int = 0) -> Block:
        return Block(ROOT / "README.md", 1, language, text, exit_status=status)

    @pytest.mark.parametrize(
        ("language", "text"),
        [
            ("sh", "lutbench list colours"),
            ("sh", "lutbench --version && lutbench list colours"),
            ("sh", "false | true"),
            ("console", "$ echo one\ntwo"),
            ("console", "$ lutbench --version\nlutbench, version"),
            ("python", "assert 1 == 2"),
            ("pycon", ">>> 1 + 1\n3"),
        ],
    )
    def test_a_wrong_example_fails(self, language: str, text: str, tmp_path: Path) -> None:
        with pytest.raises(AssertionError):
            Bench(tmp_path).run(self.block(language, text + "\n"))

    def test_toml_must_be_toml(self, tmp_path: Path) -> None:
        with pytest.raises(tomllib.TOMLDecodeError):
            Bench(tmp_path).run(self.block("toml", "a = \n"))

    def test_a_promised_status_must_come(self, tmp_path: Path) -> None:
        with pytest.raises(AssertionError):
            Bench(tmp_path).run(self.block("sh", "true\n", status=1))

    def test_what_the_page_shows_and_elides(self, tmp_path: Path) -> None:
        text = "$ echo one; echo two; echo three\none\n...\nthree\n"
        Bench(tmp_path).run(self.block("console", text))

    @pytest.mark.parametrize("text", ["$ echo 1.25\n1.24\n", "$ echo 'a  3.0 b'\na 3.1 b\n"])
    def test_a_last_decimal_may_round_the_other_way(self, text: str, tmp_path: Path) -> None:
        Bench(tmp_path).run(self.block("console", text))

    @pytest.mark.parametrize(
        "text", ["$ echo 1.25\n1.23\n", "$ echo 12\n13\n", "$ echo 1.5; echo 2\n...\n3\n"]
    )
    def test_any_more_may_not(self, text: str, tmp_path: Path) -> None:
        with pytest.raises(AssertionError):
            Bench(tmp_path).run(self.block("console", text))
