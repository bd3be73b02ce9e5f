"""Read the examples out of a page and run them.

A fence is run by its language: ``sh`` and ``console`` as commands, ``python`` and
``pycon`` as Python, ``toml`` is parsed. What the page says about a fence:

- ``title="day.toml"`` on the fence writes its text to that file first;
- in ``console``, ``$ `` starts a command; the lines under it are what it prints
  (``...`` stands for anything), and none at all means that they are not shown;
- ``<!-- exit status 1 -->`` on a line before the fence: the last command ends so;
- ``<!-- not run: REASON -->`` on a line before the fence.

``lutbench`` runs inside this process, everything else in a shell. Blocks of a
page share a folder and, in Python, their names. Installing this project and
running its tests are left out of a chain of commands: whoever runs this has.

``python tests/docs/examples.py PAGE...`` writes what the commands print now into
the console fences that show something else.
"""

from __future__ import annotations

import contextlib
import difflib
import doctest
import io
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
TOP = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "luts_demo" / "README.md"]
PAGES = [*TOP, *sorted((ROOT / "docs").rglob("*.md"))]
RUN = ("sh", "bash", "console", "python", "pycon", "toml")
FENCE = re.compile(r"^(?P<indent> *)(?P<ticks>```+|~~~+) *(?P<info>.*)$")


@dataclass(frozen=True)
class Block:
    """A fence: where it stands, its language, its text, and what the page says about it."""

    page: Path
    line: int
    language: str
    text: str
    title: str = ""
    exit_status: int = 0
    not_run: str = ""

    @property
    def where(self) -> str:
        """Page and line of the first line of text."""
        return f"{self.page.relative_to(ROOT)}:{self.line}"


@dataclass
class Step:
    """A command and what the page says it prints (None where it says nothing)."""

    command: str
    line: int
    shown: list[str] | None = None
    input_lines: list[str] = field(default_factory=list)


def blocks_of(page: Path) -> list[Block]:
    """The fences of a page, first to last."""
    found: list[Block] = []
    remark = ""
    lines = iter(enumerate(page.read_text(encoding="utf-8").splitlines(), 1))
    for number, line in lines:
        match = FENCE.match(line)
        if match is None:
            if line.strip():
                remark = line.strip() if line.strip().startswith("<!--") else ""
            continue
        text = []
        for _, inner in lines:
            if inner.strip() == match["ticks"]:
                break
            text.append(inner.removeprefix(match["indent"]))
        found.append(_block(page, number + 1, match["info"], "\n".join(text) + "\n", remark))
        remark = ""
    return found


def _block(page: Path, line: int, info: str, text: str, remark: str) -> Block:
    language = info.split()[0] if info.strip() else ""
    title = re.search(r'title="([^"]*)"', info)
    status = re.search(r"exit status (\d+)", remark)
    skipped = re.search(r"not run: (.*?) *-->", remark)
    return Block(
        page,
        line,
        language,
        text,
        title[1] if title else "",
        int(status[1]) if status else 0,
        skipped[1] if skipped else "",
    )


def steps_of(block: Block) -> list[Step]:
    """The commands of a shell fence; a backslash at the end of a line goes on with the next."""
    steps: list[Step] = []
    goes_on = False
    for number, line in enumerate(block.text.splitlines(), block.line):
        if goes_on:
            more = line.removeprefix("> ") if block.language == "console" else line
            steps[-1].command += "\n" + more
            steps[-1].input_lines.append(line)
        elif block.language != "console":
            if not line.strip() or line.lstrip().startswith("#"):
                continue
            steps.append(Step(line, number, input_lines=[line]))
        elif line.startswith("$ "):
            steps.append(Step(line.removeprefix("$ "), number, input_lines=[line]))
        else:
            if not steps:
                raise AssertionError(f"{block.where}: output before a command")
            shown = steps[-1].shown = steps[-1].shown or []
            shown.append(line.rstrip())
            continue
        goes_on = line.endswith("\\")
    for step in steps:
        while step.shown and not step.shown[-1]:
            step.shown.pop()
    return steps


class Bench:
    """A folder in which the examples of one page run."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.names: dict[str, Any] = {"__name__": "example"}

    def run(self, block: Block) -> None:
        """Run a block; AssertionError when it does not do what the page says."""
        if block.title:
            path = self.folder / block.title
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(block.text, encoding="utf-8")
        if block.not_run:
            return
        if block.language in ("sh", "bash", "console"):
            steps = steps_of(block)
            for step in steps:
                printed = self.shell(step, block.exit_status if step is steps[-1] else 0, block)
                if step.shown is not None:
                    compare(step.shown, printed, f"{block.where}, line {step.line}")
        elif block.language == "python":
            source = "\n" * (block.line - 1) + block.text
            exec(compile(source, str(block.page), "exec"), self.names)
        elif block.language == "pycon":
            self._pycon(block)
        elif block.language == "toml":
            tomllib.loads(block.text)

    def shell(self, step: Step, status: int, block: Block) -> list[str]:
        """What the command prints: standard output, then standard error."""
        where = f"{block.where}, line {step.line}: {step.command}"
        ended, printed = run_command(step.command)
        assert ended == status, f"{where}\nended with status {ended}, not {status}:\n{printed}"
        lines = [line.rstrip() for line in printed.splitlines()]
        while lines and not lines[-1]:
            lines.pop()
        return lines

    def _pycon(self, block: Block) -> None:
        test = doctest.DocTestParser().get_doctest(
            block.text, self.names, block.where, str(block.page), block.line - 1
        )
        out = io.StringIO()
        runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
        runner.run(test, out=out.write, clear_globs=False)
        self.names = test.globs
        assert runner.failures == 0, out.getvalue()


WRITTEN = (
    r"(?:-o|--output|--page|--card|>) (\S+\.\w+)",
    r"lutbench (?:apply|sheet) \S+ \S+ (\S+\.\w+)",
    r"lutbench convert \S+ (\S+\.\w+)",
    r"lutbench chart (\S+\.\w+)",
)


def clear_outputs(text: str, folder: Path) -> None:
    """Take away the prepared files that the commands in `text` write themselves."""
    for pattern in WRITTEN:
        for name in re.findall(pattern, text):
            (folder / name).unlink(missing_ok=True)
    if "--record" in text:
        shutil.rmtree(folder / "baselines", ignore_errors=True)


def run_command(command: str) -> tuple[int, str]:
    """Exit status and output of a command line in the current folder."""
    joined = command.replace("\\\n", " ")
    parts = [part for part in split_chain(joined) if not how_we_got_here(part)]
    if all(
        part[0] in ("lutbench", ".venv/bin/lutbench") or part[:3] == LUTBENCH_MODULE
        for part in parts
    ):
        return _inside(parts)
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", command],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    return done.returncode, done.stdout + done.stderr


LUTBENCH_MODULE = ["python3", "-m", "lutbench"]


def how_we_got_here(words: list[str]) -> bool:
    """Installing this project, and running its suite: done already where this runs."""
    if words[1:3] == ["-m", "pip"] or words[0].endswith("pip"):
        return words[-1] in (".", ".[test]", ".[docs]")
    return words[:3] == ["python3", "-m", "venv"] or words[1:] == ["-m", "pytest", "-q", "-n", "2"]


def split_chain(command: str) -> list[list[str]]:
    """The words of the commands that ``&&`` joins; a shell's other signs end as [""]."""
    lexer = shlex.shlex(command, posix=True, punctuation_chars="&|;<>()")
    lexer.whitespace_split = True
    lexer.commenters = ""  # it would see one in the middle of a word
    parts: list[list[str]] = [[]]
    for word in lexer:
        if word.startswith("#"):
            break
        if word == "&&":
            parts.append([])
        elif set(word) <= set("|;&()"):
            return [[""]]
        else:
            parts[-1].append(word)
    return [part or [""] for part in parts]


def _inside(parts: list[list[str]]) -> tuple[int, str]:
    """Run commands of lutbench in this process, one after the other."""
    text = ""
    for words in parts:
        args = words[3:] if words[:3] == LUTBENCH_MODULE else words[1:]
        target = None
        if ">" in args:
            at = args.index(">")
            target = Path(args[at + 1])
            args = args[:at] + args[at + 2 :]
        status, out, err = _demo(args) if args[:1] == ["demo"] else _call(args)
        if target is not None:
            target.write_text(out, encoding="utf-8")
            text += err
        else:
            text += out + err
        if status:
            return status, text
    return 0, text


def _call(args: list[str]) -> tuple[int, str, str]:
    """Exit status, output and errors of lutbench."""
    from lutbench.cli.main import main

    out, err = io.StringIO(), io.StringIO()
    status = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main(args)
        except SystemExit as end:
            status = int(end.code or 0)
    return status, out.getvalue(), err.getvalue()


_DEMO: dict[tuple[str, ...], tuple[tempfile.TemporaryDirectory[str], tuple[int, str, str]]] = {}


def _demo(args: list[str]) -> tuple[int, str, str]:
    """As `_call`, but the demo, which many pages run, is made once and then copied."""
    options = tuple(each for each in args[1:] if each.startswith("-"))
    folder = next((each for each in args[1:] if not each.startswith("-")), "lutbench-demo")
    if options not in _DEMO or Path(folder).exists():
        result = _call(args)
        if result[0] == 0:
            kept = tempfile.TemporaryDirectory()
            shutil.copytree(folder, kept.name, dirs_exist_ok=True)
            _DEMO[options] = kept, result
        return result
    kept, result = _DEMO[options]
    shutil.copytree(kept.name, folder)
    return result


NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.]*\w)")


def compare(shown: list[str], printed: list[str], where: str) -> None:
    """Hold what the page shows against what was printed.

    ``...`` stands for anything. Numbers with decimals may differ by one in their
    last one: another machine's arithmetic may round them the other way.
    """
    want, got = "\n".join(shown) + "\n", "\n".join(printed) + "\n"
    pattern, values = "", []
    at = 0
    for token in re.finditer(r"\.\.\.\n?|" + NUMBER.pattern + r"| +", want):
        pattern += re.escape(want[at : token.start()])
        at = token.end()
        if token[0].startswith("..."):
            pattern += r"(?s:.*?)" + ("" if want[: token.start()].endswith("\n") else r"\n?")
        elif token[0].isspace():
            pattern += " +"
        else:
            pattern += r"(\d+(?:\.\d+)?)"
            values.append(token[0])
    found = re.fullmatch(pattern + re.escape(want[at:]), got)
    message = f"{where}\nthe page shows:\n{want}\nbut this was printed:\n{got}"
    assert found, message
    for value, now in zip(values, found.groups(), strict=True):
        decimals = len(value.partition(".")[2])
        near = 1.01 * 10.0**-decimals if decimals else 0.0
        assert abs(float(value) - float(now)) <= near, f"{value} is now {now}\n{message}"


@contextlib.contextmanager
def standing_in(folder: Path) -> Iterator[None]:
    """Work in `folder` as on a terminal of 80 columns without colour."""
    settings = {
        # python3 in an example is the one that runs this.
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ.get('PATH', '')}",
        "XDG_CONFIG_HOME": str(folder / ".config"),
        "TTY_COMPATIBLE": "1",
        "TERM": "dumb",
        "COLUMNS": "80",
        "NO_COLOR": "1",
    }
    before = {key: os.environ.get(key) for key in settings}
    place = Path.cwd()
    os.environ.update(settings)
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(place)
        for key, value in before.items():
            if value is None:
                os.environ.pop(key, None)
            else:
                os.environ[key] = value


def elided(shown: list[str], printed: list[str]) -> list[str]:
    """What was printed, with ``...`` lines where the page has them now."""
    parts: list[list[str]] = [[]]
    for line in shown:
        if line == "...":
            parts.append([])
        else:
            parts[-1].append(line)
    result: list[str] = []
    at = 0
    for number, part in enumerate(parts):
        if number:
            result.append("...")
        if part:
            start = _most_like(part[0], printed, at) if number else 0
            last = number == len(parts) - 1
            at = len(printed) if last else _most_like(part[-1], printed, start) + 1
            result += printed[start:at]
    return result


def _most_like(line: str, lines: list[str], start: int) -> int:
    def likeness(index: int) -> float:
        return difflib.SequenceMatcher(None, line, lines[index]).ratio()

    return max(range(start, len(lines)), key=likeness, default=start)


def rewrite(page: Path, folder: Path) -> int:
    """Write what commands print now into a page's console fences; how many changed."""
    lines = page.read_text(encoding="utf-8").splitlines()
    bench = Bench(folder)
    edits: list[tuple[int, int, list[str]]] = []
    with standing_in(folder):
        for block in blocks_of(page):
            if block.language != "console" or block.not_run:
                bench.run(block)
                continue
            bench.run(replace(block, language="text"))  # writes its file, if it names one
            steps = steps_of(block)
            for step in steps:
                status = block.exit_status if step is steps[-1] else 0
                printed = bench.shell(step, status, block)
                if step.shown is None:
                    continue
                try:
                    compare(step.shown, printed, "")
                except AssertionError:
                    start = step.line - 1 + len(step.input_lines)
                    edits.append((start, start + len(step.shown), elided(step.shown, printed)))
    for start, end, new in reversed(edits):
        lines[start:end] = new
    page.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return len(edits)


if __name__ == "__main__":
    from prepared import prepare

    for name in sys.argv[1:]:
        with tempfile.TemporaryDirectory() as temporary:
            prepare(Path(temporary))
            clear_outputs(Path(name).read_text(encoding="utf-8"), Path(temporary))
            print(f"{name}: {rewrite(Path(name).resolve(), Path(temporary))} outputs rewritten")
