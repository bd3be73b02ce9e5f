"""``lutbench split``: a LUT into its parts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from lutbench.cli.options import (
    catalogue_of,
    console,
    definitions_option,
    force_option,
    json_option,
    print_json,
)

if TYPE_CHECKING:
    from lutbench.analysis.split import Part, Split
    from lutbench.tables.lut import Lut

SCHEMA = 1


@click.command()
@click.argument("lut")
@click.option(
    "-o",
    "--output",
    required=True,
    metavar="PATH",
    help="The folder for the parts; with --keep or --drop-look, the .cube file to write.",
)
@click.option(
    "--keep",
    type=click.Choice(["curve", "gamut", "look"]),
    help="Write one part alone: the tone, the gamut with the log curve left, or the look.",
)
@click.option("--drop-look", is_flag=True, help="Write the LUT without its look.")
@definitions_option
@force_option
@json_option
def command(
    lut: str,
    output: str,
    keep: Part | None,
    drop_look: bool,
    definitions: tuple[str, ...],
    force: bool,
    as_json: bool,
) -> None:
    """Take LUT apart: gamut, curve and look as LUTs of their own, and a recipe.

    Chained again in this order the parts give LUT back within an error that is
    measured and printed. The recipe builds the nearest clean LUT.

    \b
    Example:
      lutbench split unknown.cube -o parts
    """
    from lutbench.analysis.split import split
    from lutbench.errors import LutbenchError
    from lutbench.formats import open_lut

    if keep and drop_look:
        raise LutbenchError("--keep and --drop-look together", accepted="one of them")
    parts = split(open_lut(lut), catalogue=catalogue_of(definitions))
    if keep or drop_look:
        written = [_write_one(parts, keep, output, force)]
    else:
        written = _write_all(parts, Path(lut).stem, output, force)
    if as_json:
        print_json(
            {"schema": SCHEMA, "file": lut, "written": list(map(str, written)), **parts.to_data()}
        )
        return
    screen = console()
    screen.print(parts.identification.explanation, markup=False)
    for path in written:
        screen.print(f"wrote {path}", markup=False, soft_wrap=True)
    words = []
    for name, spreads in parts.error.items():
        seen = spreads["delta_e_2000"]
        words.append(
            f"{name} {seen.mean:.2f} (mean), {seen.p95:.2f} (95 %), {seen.max:.2f} (worst)"
        )
    screen.print("The parts chained again, ΔE 2000: " + "; ".join(words) + ".")


def _write_one(parts: Split, keep: Part | None, output: str, force: bool) -> Path:
    from lutbench.errors import LutbenchError
    from lutbench.formats.cube import write_cube

    path = Path(output)
    if path.suffix.lower() != ".cube":
        raise LutbenchError("is no .cube file", where=path, accepted="OUT.cube")
    lut = parts.kept(keep) if keep else parts.without_look(parts.look.size)
    write_cube(lut, path, force=force)
    return path


def _write_all(parts: Split, stem: str, output: str, force: bool) -> list[Path]:
    from lutbench.analysis.split import recipe_text
    from lutbench.files import make_folder, refuse_existing, write_text
    from lutbench.formats.cube import write_cube

    folder = make_folder(output)
    luts: dict[Path, Lut] = {
        folder / "gamut.cube": parts.gamut,
        folder / "curve.cube": parts.curve,
        folder / "curve_1d.cube": parts.curve_1d,
        folder / "look.cube": parts.look,
    }
    recipe = folder / "clean.toml"
    for path in (*luts, recipe):
        refuse_existing(path, force)
    for path, lut in luts.items():
        write_cube(lut, path, force=force)
    write_text(recipe, recipe_text(parts, f"{stem}_clean"), force=force)
    return [*luts, recipe]
