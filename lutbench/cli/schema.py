"""``lutbench schema``: JSON Schemas of files and reports."""

from __future__ import annotations

from pathlib import Path

import click

from lutbench.cli.options import force_option, say
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError


@click.command()
@click.argument("name", required=False, default=None)
@click.option(
    "-o",
    "--output",
    metavar="OUT",
    help="Write into this file; without NAME all of them into this folder.",
)
@force_option
def command(name: str | None, output: str | None, force: bool) -> None:
    """Print the JSON Schema NAME; without one, list them.

    Those of recipes, suites and definitions are for editors, which then complete
    keys and names, your own included, and mark mistakes. Those of commands
    describe what --json prints.

    \b
    Examples:
      lutbench schema recipe -o recipe.schema.json
      lutbench schema inspect
    """
    from lutbench.files import json_text, make_folder, write_text
    from lutbench.schemas.named import FILES, REPORTS, schema_named

    if name is not None:
        text = json_text(schema_named(name).made(), indent=2) + "\n"
        if output is None:
            click.echo(text, nl=False)
        else:
            write_text(output, text, force=force)
            say(f"{output}: schema written")
        return
    if output is None:
        _print_names()
        return
    folder = Path(output)
    if folder.exists() and not folder.is_dir():
        raise LutbenchError("is not a folder", where=output, accepted="a folder, or a NAME")
    make_folder(folder)
    for each in (*FILES, *REPORTS):
        text = json_text(each.made(), indent=2) + "\n"
        write_text(folder / f"{each.name}.schema.json", text, force=force)
    say(f"{output}: {len(FILES) + len(REPORTS)} schemas written")


def _print_names() -> None:
    from lutbench.cli.tables import plain_table
    from lutbench.schemas.named import FILES, REPORTS

    table = plain_table("schema", "of")
    for each in (*FILES, *REPORTS):
        table.add_row(each.name, each.title)
    console().print(table)
