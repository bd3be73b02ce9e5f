"""How commands that make a LUT write it, and report what was done."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import print_json
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from lutbench.algebra.result import Reworked
    from lutbench.model.transforms import Transform
    from lutbench.tables.lut import Lut

HOLDS = {"lut1d": "1D LUT", "lut3d": "3D LUT", "shaper_lut3d": "1D shaper and 3D LUT"}


output_option = click.option(
    "-o", "--output", required=True, metavar="OUT", help="The file to write: .cube or .clf."
)
title_option = click.option("--title", default="", metavar="TEXT", help="The title of OUT.")
fitted_size_option = click.option(
    "--size",
    type=click.IntRange(2, 65),
    default=33,
    show_default=True,
    metavar="N",
    help="Nodes along an edge of the LUT.",
)

STANDARD = "-"
"""In place of a file name: standard output, to which a LUT is written as .cube."""


def refuse_existing(path: str, force: bool, *, as_json: bool = False) -> None:
    """Refuse an output that cannot be written, before the work starts."""
    from lutbench import files
    from lutbench.formats.registry import format_for

    if path == STANDARD:
        if as_json:
            raise LutbenchError(
                "the LUT and its report both go to standard output",
                where="--json",
                accepted="-o FILE with it, or -o - without it",
            )
        return
    format_for(path)
    files.refuse_existing(Path(path), force)


def with_suffix(path: str) -> str:
    """`path`, or for standard output a name whose suffix is .cube."""
    return "standard output.cube" if path == STANDARD else path


def put(path: str, data: bytes, *, force: bool) -> None:
    """Write a LUT's bytes into a file, or to standard output; the report then goes to stderr."""
    from lutbench import files

    if path != STANDARD:
        files.write_bytes(path, data, force=force)
        return
    out = sys.stdout
    out.flush()
    out.buffer.write(data)
    out.buffer.flush()
    sys.stdout = sys.stderr
    click.get_current_context().call_on_close(partial(setattr, sys, "stdout", out))


@dataclass(frozen=True)
class NewLut:
    """Where a new LUT is written, and how it is reported."""

    output: str
    title: str
    force: bool
    as_json: bool

    def __post_init__(self) -> None:
        refuse_existing(self.output, self.force, as_json=self.as_json)


def write_lut(lut: Lut, path: str, *, force: bool, comments: tuple[str, ...] = ()) -> Transform:
    """Write a LUT in the format of the suffix of `path`; returns it as read back."""
    from lutbench.formats.convert import ConvertOptions, convert
    from lutbench.formats.registry import LutFile

    converted = convert(
        LutFile(lut, "", title=lut.title, comments=comments), with_suffix(path), ConvertOptions()
    )
    put(path, converted.data, force=force)
    return converted.read_back.lut


def reworked(result: Reworked, path: str, *, force: bool, as_json: bool, **more: Any) -> None:
    """Write the result of a rework, and report it."""
    from rich.padding import Padding
    from rich.text import Text

    write_lut(result.lut, path, force=force)
    if as_json:
        print_json({"file": path, **more, **result.to_data()})
        return
    screen = console()
    print_written(result.lut, path)
    error = result.error
    if error.max:
        screen.print(
            f"off by {figure(error.mean)} codes (10-bit) on average, 95 % under"
            f" {figure(error.p95)}, {figure(error.max)} at most",
            soft_wrap=True,
        )
    for change in result.changes:
        # A message of what stays says so itself.
        name = change.code
        for suffix in ("_left", "_kept", "_not_found"):
            name = name.removesuffix(suffix)
        screen.print(Padding(Text(f"{name}: {change.message}"), (0, 0, 0, 2)))
    if not result.changes:
        screen.print("  nothing had to be changed")


def print_written(lut: Lut, path: str) -> None:
    """Print one line about the file that was written."""
    screen = console()
    screen.print(f"{path}: {HOLDS[lut.kind]} of size {lut.size}", soft_wrap=True, markup=False)


def figure(value: float) -> str:
    """A number to two decimals; "under 0.01" for a number smaller than that."""
    if abs(value) < 1e-9:
        return "0"
    return f"{value:.2f}" if value >= 0.01 else "under 0.01"
