"""What ``--json`` prints against the schemas, by the jsonschema library: both ways."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from reports import REPORTS

from lutbench.cli.main import main
from lutbench.schemas.making import schema_of
from lutbench.schemas.named import FILES, schema_named
from lutbench.schemas.named import REPORTS as NAMED

# Keys that none of the command lines can show, with the reason.
UNSEEN = {
    # A look that `build` makes is told with the conversion, not as the CDL that comes next to it.
    # None of the LUTs has light of HLG or PQ, whose rendering is told as scene or display.
    "identify": {"slope", "offset", "power", "rendering"},
    "apply": {"source", "target", "message"},  # of a frame that failed, which ends with status 1
}


def printed(line: str, capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    """The reports of a command line: one document, or a document a line."""
    with pytest.raises(SystemExit) as ended:
        main([*shlex.split(line), "--json"])
    out, err = capsys.readouterr()
    assert ended.value.code in (0, 1, 2), err
    try:
        return [json.loads(out)]
    except json.JSONDecodeError:
        return [json.loads(each) for each in out.splitlines()]


def schema_for(name: str) -> dict[str, Any]:
    return schema_named(name.replace(" ", "-")).made()


def strict(schema: Any) -> Any:
    """The same where a key that is not described is a fault."""
    if isinstance(schema, list):
        return [strict(each) for each in schema]
    if not isinstance(schema, dict):
        return schema
    found = {key: strict(value) for key, value in schema.items()}
    if "properties" in found and found.get("type") == "object":
        found.setdefault("additionalProperties", False)
    return found


def keys_of(schema: dict[str, Any]) -> set[tuple[str, str]]:
    return {
        (name, key) for name, each in schema["$defs"].items() for key in each.get("properties", {})
    }


def seen(data: Any) -> set[str]:
    """The keys of a report."""
    if isinstance(data, list):
        return set().union(*map(seen, data))
    if not isinstance(data, dict):
        return set()
    return set(data).union(*map(seen, data.values()))


CHEAP = (
    *("build", "compare", "inspect", "levels", "chart"),
    *("list curves", "list gamuts", "list tones", "list mappings"),
)


@pytest.mark.parametrize(
    "name",
    [each if each in CHEAP else pytest.param(each, marks=pytest.mark.slow) for each in REPORTS],
)
def test_a_report_is_what_its_schema_says(
    name: str, day_folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(day_folder)
    schema = schema_for(name)
    check = jsonschema.Draft202012Validator(strict(schema))
    found = [each for line in REPORTS[name] for each in printed(line, capsys)]
    for each in found:
        faults = [f"{fault.json_path}: {fault.message:.200}" for fault in check.iter_errors(each)]
        assert not faults, faults[:5]
    described = {key for _, key in keys_of(schema)}
    never = described - set().union(*map(seen, found)) - UNSEEN.get(name, set())
    assert not never, f"described, but no report holds it: {sorted(never)}"


def test_every_command_with_json_has_a_schema() -> None:
    import click

    from lutbench.cli.main import COMMANDS, group

    def paths(name: str, command: click.Command) -> list[str]:
        if isinstance(command, click.Group):
            each = command.commands.items()
            return [path for key, one in each for path in paths(f"{name} {key}", one)]
        flags = [option for each in command.params for option in each.opts]
        return [name] if "--json" in flags else []

    context = click.Context(group)
    found = set()
    for name in COMMANDS:
        command = group.get_command(context, name)  # type: ignore[attr-defined]
        for path in paths(name, command):
            own = {"list": {"list-curves", "list-gamuts", "list-tones", "list-mappings"}}.get(path)
            family = "rework" if path.startswith("rework") else path.replace(" ", "-")
            found |= own or {family}
    assert found == {each.name for each in NAMED} - {"identify-groups"}
    assert found == {name.replace(" ", "-") for name in REPORTS}


@pytest.mark.parametrize("name", [each.name for each in (*FILES, *NAMED)])
def test_schemas_are_schemas(name: str) -> None:
    schema = schema_named(name).made()
    jsonschema.Draft202012Validator.check_schema(schema)
    for kind, each in schema["$defs"].items():
        assert each.get("description"), kind


def test_a_wrong_report_is_refused() -> None:
    schema = schema_for("list gamuts")
    good = {"schema": 1, "gamuts": []}
    jsonschema.validate(good, schema)
    for wrong in ({"schema": 2, "gamuts": []}, {"schema": 1}, {"schema": 1, "gamuts": [{}]}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(wrong, schema)
    # A later version may add a key.
    jsonschema.validate(good | {"more": 1}, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(good | {"more": 1}, strict(schema))


def test_what_has_no_schema_is_said() -> None:
    with pytest.raises(TypeError, match="no JSON Schema"):
        schema_of(set[int], "", closed=False)
