"""An error names what its reader can type: a parameter in Python, an option on the command line."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import click
import numpy as np
import pytest

import lutbench as lb
from lutbench.cli.main import group, main
from lutbench.cli.spelling import NAMED_OTHERWISE, with_options

PACKAGE = Path(lb.__file__).parent
WORDS = "ACEScct, ACEScg to BT.1886, BT.709"
GREY = [0.4, 0.4, 0.4]

ONLY_ON_THE_COMMAND_LINE = ("cli", "pytest_plugin.py", "__main__.py")
COMMAND_LINE = re.compile(r"`(lutbench|pytest) [^`]*`")
"""A whole command may be named anywhere: it can be typed as it stands."""

OPTION = re.compile(r"(?<![\w-])--[a-z]")
OPTION_NAMES = re.compile(r"(?<![\w-])--[a-z-]+")


@cache
def texts_of_errors() -> tuple[tuple[str, str], ...]:
    return tuple(_texts_of_errors())


def _texts_of_errors() -> Iterator[tuple[str, str]]:
    """The parts of the texts that the library gives to errors, each with its place."""
    for file in sorted(PACKAGE.rglob("*.py")):
        place = file.relative_to(PACKAGE)
        if place.parts[0] in ONLY_ON_THE_COMMAND_LINE:
            continue
        for call in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and ast.unparse(call.func).endswith("Error"):
                for part in ast.walk(call):
                    if isinstance(part, ast.Constant) and isinstance(part.value, str):
                        yield f"{place}:{part.lineno}", part.value


def test_no_error_of_the_library_names_an_option() -> None:
    texts = texts_of_errors()
    assert len(texts) > 1000  # the walk finds them: 1449 when this was written
    assert [(at, text) for at, text in texts if OPTION.search(COMMAND_LINE.sub("", text))] == []


def options(command: click.Command) -> Iterator[str]:
    for each in command.params:
        yield from (*each.opts, *each.secondary_opts)
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            found = command.get_command(context, name)
            assert found is not None
            yield from options(found)


def test_every_parameter_that_an_error_names_has_an_option() -> None:
    known = set(options(group))
    named = {
        option
        for _, text in texts_of_errors()
        for option in OPTION_NAMES.findall(with_options(f"x; accepted: {text}"))
    }
    assert {"--force", "--no-audio", "--source-matrix", "--bits", "--range"} <= named
    assert named | set(NAMED_OTHERWISE.values()) <= known


def test_a_file_that_exists(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "day.cube"
    lb.build(WORDS, size=2).save(file)
    told = f"{file}: the file exists and was not changed; accepted: "
    with pytest.raises(lb.LutbenchError) as error:
        lb.build(WORDS, size=2).save(file)
    assert str(error.value) == f"{told}force=True to replace it"
    with pytest.raises(SystemExit):
        main(["rework", "resample", str(file), "2", "-o", str(file)])
    assert capsys.readouterr().err == f"lutbench: {told}--force to replace it\n"


def test_what_a_user_typed_stays_as_it_is() -> None:
    """Only what would be accepted is spelt anew, and there only parameters as errors name them."""
    text = "'a to b; force=True': x audio=False; accepted: CODE=VALUE, as tint=2.5"
    assert with_options(text) == text
    assert with_options("force=True is a file") == "force=True is a file"


@pytest.mark.parametrize(("text", "number"), [("−1", -1.0), ("1/3", 1 / 3), ("+2/3", 2 / 3)])
def test_numbers_as_people_write_them(text: str, number: float, tmp_path: Path) -> None:
    out = tmp_path / "a.cube"
    line = "build --source-curve ACEScct --target-curve BT.1886 --kind curve --size 5"
    group.main([*line.split(), "--exposure", text, "-o", str(out)], standalone_mode=False)
    words = f"ACEScct to BT.1886; kind=curve; exposure={text}"
    exact = lb.build("ACEScct", "BT.1886", kind="curve", exposure=number, size=5)
    np.testing.assert_allclose(lb.apply(out, GREY), exact.apply(GREY), atol=1e-6)
    np.testing.assert_array_equal(lb.apply(words + "; size=5", GREY), exact.apply(GREY))


@pytest.mark.parametrize("text", ["1/0", "1/", "/2", "1/2/3", "ND0.6", "1,5", "50%", ""])
def test_what_is_no_number(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        main(["levels", "--curve", "ACEScct", "--filter", text])
    assert end.value.code == 2
    assert f"'--filter': {text!r} is not a number" in capsys.readouterr().err


def test_a_percentage_may_have_its_sign(capsys: pytest.CaptureFixture[str]) -> None:
    said = []
    for text in ("50", "50%", "50 %"):
        group.main(["levels", "--curve", "ACEScct", "--zebra-min", text], standalone_mode=False)
        said.append(capsys.readouterr().out)
    assert said[0] == said[1] == said[2]


def test_a_number_within_limits_is_written_like_any_other() -> None:
    from lutbench.cli.spelling import NumberIn

    kind = NumberIn(0.0, 2.0)
    assert kind.convert("1/2", None, None) == 0.5
    for text, said in (
        ("3", "not in the range"),
        ("−1", "not in the range"),
        ("x", "not a number"),
    ):
        with pytest.raises(click.BadParameter, match=said):
            kind.convert(text, None, None)


def test_every_number_of_a_command_is_taken_as_written() -> None:
    def plain(command: click.Command) -> list[str]:
        if isinstance(command, click.Group):
            context = click.Context(command)
            parts = (command.get_command(context, name) for name in command.list_commands(context))
            return [each for part in parts if part is not None for each in plain(part)]
        return [
            f"{command.name} {each.name}"
            for each in command.params
            if type(each.type) in (click.types.FloatParamType, click.FloatRange)
        ]

    assert plain(group) == []
