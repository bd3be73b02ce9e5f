"""``lutbench build``: LUTs from a recipe, or one from options."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from lutbench.cli.options import (
    Reporting,
    catalogue_of,
    definitions_option,
    force_option,
    json_option,
    print_json,
)
from lutbench.cli.spelling import NUMBER
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError
from lutbench.recipes.settings import SETTINGS

if TYPE_CHECKING:
    from rich.console import Console

    from lutbench.model.catalogue import Catalogue
    from lutbench.recipes.make import Made
    from lutbench.report.proof import ProvedLut

F = TypeVar("F", bound=Callable[..., Any])
MANIFEST = "MANIFEST.sha256"
PROOF = "proof.html"


@dataclass(frozen=True)
class Post:
    """Whether files for post are written, and the still for their proof."""

    wanted: bool
    still: str | None


def conversion_options(function: F) -> F:
    """Add an option for each setting of a conversion, in the order of `SETTINGS`."""
    for each in reversed(SETTINGS):
        plain = NUMBER if each.type is float else each.type
        chosen = click.Choice(each.accepted, case_sensitive=False) if each.accepted else plain
        # None where a curve, gamut or size is not given: the project or the dimensions decide.
        default = None if each.default == "" and each.name != "title" else each.default
        function = click.option(
            f"--{each.name.replace('_', '-')}",
            type=chosen,
            default=None if default is None else each.type(default),
            show_default=bool(default),
            metavar=None if each.accepted else each.placeholder,
            help=each.says,
        )(function)
    return function


@click.command()
@click.argument("recipe", required=False)
@click.option(
    "-o",
    "--output",
    metavar="PATH",
    help="The folder for a recipe's LUTs [default: here], or the .cube file to write.",
)
@click.option(
    "--manifest",
    is_flag=True,
    help=f"Write {MANIFEST} beside a recipe's LUTs: the SHA-256 of each, and the recipe's.",
)
@click.option(
    "--post",
    is_flag=True,
    help="Write a folder `post` beside a recipe's LUTs: each transform as a CLF, its look as a "
    "CDL, and a sheet that proves that set and post show the same picture.",
)
@click.option(
    "--still",
    metavar="FILE",
    help="With --post: a still as it was recorded, for the proof. [default: a built-in one]",
)
@conversion_options
@definitions_option
@force_option
@json_option
def command(
    recipe: str | None,
    output: str | None,
    definitions: tuple[str, ...],
    force: bool,
    as_json: bool,
    **quick: Any,
) -> None:
    """Build monitoring LUTs: all of a RECIPE, or one from options.

    Prints what was written and how close each LUT is to the exact transform.
    A monitoring LUT is for viewing: delivery has its own specification.

    \b
    Examples:
      lutbench build --source-curve ACEScct --source-gamut ACEScg \\
          --target-curve BT.1886 --target-gamut BT.709 -o monitor.cube
      lutbench build day.toml -o luts
      lutbench build day.toml -o luts --post
    """
    catalogue = catalogue_of(definitions, with_project=recipe is None)
    manifest = bool(quick.pop("manifest"))
    post = Post(bool(quick.pop("post")), quick.pop("still"))
    proved: list[ProvedLut] = []
    if recipe is not None:
        _refuse_quick_options(quick)
        if output == "-":
            raise LutbenchError("a recipe's LUTs are files", where="-o", accepted="a folder")
        made = _from_recipe(recipe, output or ".", catalogue, force, manifest)
        proved = _for_post(made, recipe, Path(output or "."), catalogue, post, force)
    elif post.wanted or post.still:
        raise LutbenchError("files for post come from a recipe", accepted="--post with a recipe")
    elif manifest:
        raise LutbenchError("one LUT needs no manifest", accepted="--manifest with a recipe")
    else:
        _take_from_project(quick)
        made = _from_options(output, catalogue, Reporting(force, as_json), quick)
    if as_json:
        report: dict[str, Any] = {"luts": [each.to_data() for each in made]}
        if post.wanted:
            report["post"] = [each.lut.to_data() for each in proved]
        print_json(report)
    else:
        _print_table(made)
        _print_proofs(proved)


def _for_post(
    made: list[Made], recipe: str, folder: Path, catalogue: Catalogue, post: Post, force: bool
) -> list[ProvedLut]:
    """Write the files for post, and the sheet that proves them."""
    if not post.wanted:
        if post.still:
            raise LutbenchError("--still needs --post", accepted="both, or neither")
        return []
    from lutbench.recipes.post import FOLDER, write_post
    from lutbench.recipes.schema import read_recipe
    from lutbench.report.proof import write_proof

    place = folder / FOLDER
    luts = write_post(made, place, force=force)
    if not luts:
        raise LutbenchError("no LUT of the recipe is for post", where=recipe)
    digest = read_recipe(recipe, catalogue).digest
    return write_proof(luts, place / PROOF, digest, still=post.still, force=force)


def _print_proofs(proved: list[ProvedLut]) -> None:
    screen = console()
    for each in proved:
        worst = max(each.proofs, key=lambda proof: proof.worst)
        with_look = " and a CDL" if each.lut.look else ""
        screen.print(
            f"post: {each.lut.made.job.name} as a CLF{with_look}: "
            f"the difference is {worst.verdict} "
            f"({each.measure}: 99 % under {max(worst.worst, 0.01):.2f})",
            soft_wrap=True,
        )
    if proved:
        screen.print(f"proof: {proved[0].lut.clf.path.parent / PROOF}", soft_wrap=True)


def _refuse_quick_options(quick: dict[str, Any]) -> None:
    named = [key for key in quick if key.startswith(("source_curve", "source_gamut", "target_"))]
    given = [key for key in named if quick[key] is not None] + [
        key for key in ("size",) if quick[key] is not None
    ]
    if given:
        raise LutbenchError(
            f"--{given[0].replace('_', '-')} cannot be given with a recipe",
            accepted="a recipe or options, not both",
        )


def _take_from_project(quick: dict[str, Any]) -> None:
    """Fill in the ends that the command line leaves out with the project's, and say so."""
    from lutbench.cli.options import project_here, say_taken

    project = project_here()
    if project is None:
        return
    for end, encoding in (("source", project.source), ("target", project.target)):
        # Curve, gamut and range belong together: taken only where none of them is given.
        names = [f"{end}_{what}" for what in ("curve", "gamut", "range")]
        if encoding.curve and all(quick[name] is None for name in names):
            values = (encoding.curve, encoding.gamut or None, encoding.range)
            quick.update(zip(names, values, strict=True))
            say_taken(project, f"{end} {encoding}")


def _from_recipe(
    path: str, folder: str, catalogue: Catalogue, force: bool, manifest: bool
) -> list[Made]:
    from lutbench.files import refuse_existing
    from lutbench.recipes.make import build_recipe
    from lutbench.recipes.schema import read_recipe, recipe_from_stdin

    recipe = recipe_from_stdin(catalogue) if path == "-" else read_recipe(path, catalogue)
    if manifest and Path(folder, MANIFEST).exists():
        refuse_existing(Path(folder, MANIFEST), force)
    with _bar(len(recipe.jobs)) as step:
        started = False

        def begun(job: Any) -> None:
            nonlocal started
            if started:
                step()
            started = True

        made = build_recipe(recipe, folder, force=force, progress=begun)
    if manifest:
        from lutbench import files
        from lutbench.recipes.manifest import manifest_text

        paths = [path for each in made for path in (each.path, each.legend) if path is not None]
        text = manifest_text(recipe.digest, Path(folder), paths)
        files.write_text(Path(folder, MANIFEST), text, force=force)
    return made


def _bar(count: int) -> AbstractContextManager[Callable[[], None]]:
    """Progress on a terminal, nothing elsewhere."""
    if not sys.stderr.isatty():
        return nullcontext(lambda: None)
    from lutbench.cli.progress import progress

    return progress("building", count, None)


def _from_options(
    output: str | None, catalogue: Catalogue, report: Reporting, quick: dict[str, Any]
) -> list[Made]:
    from lutbench.cli.results import put, refuse_existing, with_suffix
    from lutbench.formats.cube_write import format_cube
    from lutbench.recipes.make import make, measured, quick_job

    if not quick["source_curve"]:
        raise LutbenchError(
            "there is nothing to build",
            accepted="a recipe file, or --source-curve and the other options (see --help)",
        )
    if output is None:
        raise LutbenchError("no output is named", accepted="-o OUT.cube")
    path = Path(with_suffix(output))
    if path.suffix.lower() != ".cube":
        raise LutbenchError(
            f"the suffix {path.suffix!r} is not known here", where=path, accepted="OUT.cube, -"
        )
    refuse_existing(output, report.force, as_json=report.as_json)
    settings = {name: value for name, value in quick.items() if value is not None}
    settings["dimensions"] = int(settings["dimensions"])
    if settings["dimensions"] == 1 and settings["kind"] != "curve":
        raise LutbenchError("a 1D LUT holds a curve only", accepted="--kind curve")
    job = quick_job(settings, catalogue, path.stem)  # type: ignore[arg-type]
    lut = make(job)
    put(output, format_cube(lut, signed=True), force=report.force)
    return [measured(job, lut, Path(output))]


def _print_table(made: list[Made]) -> None:
    from lutbench.cli.tables import plain_table

    figures = (">patches\n99 %", ">neutrals\n99 %", ">all\n99 %", ">good\nfrom")
    table = plain_table("file", "kind", ">size", "ΔE", *figures)
    folder = _common_folder(made)
    for each in made:
        name = str(each.path.relative_to(folder)) if each.path else "–"
        row = [name, each.job.kind.replace("_", " "), str(each.lut.size)]
        if each.accuracy is None:
            row += ["–"] * 5
        else:
            measure = each.accuracy.measure
            row.append({"delta_e_2000": "2000", "delta_e_itp": "ITP"}[measure])
            for name in ("chart", "neutral", "all"):
                row.append(f"{each.accuracy.sets[name][measure].p99:.3f}")
            row.append("–" if each.job.dimensions == 1 else str(each.recommended or "> 65"))
        table.add_row(*row)
    screen = console()
    if folder != Path("."):
        screen.print(f"written into {folder}", markup=False, soft_wrap=True)
    screen.print(table)
    _print_beside(made, screen)
    screen.print(
        "ΔE from the exact transform, 99th percentile: of 24 chart patches at -3 to +3 stops, of "
        "neutrals, and (all) with random colours added; ΔE ITP for HDR and log. The last column "
        "is the smallest usual size that keeps patches and neutrals below 1. "
        "For viewing: delivery has its own specification.",
        style="dim",
    )


def _print_beside(made: list[Made], screen: Console) -> None:
    """What else there is to say: legends, greys behind a shaper, clipped light, equal titles."""
    titles = Counter(each.job.title for each in made)
    for title, count in titles.items():
        if count > 1:
            screen.print(
                f"{count} LUTs have the title {title!r}: a monitor that shows titles cannot tell "
                "them apart",
                markup=False,
            )
    for each in made:
        if each.legend is not None:
            screen.print(f"legend: {each.legend}", soft_wrap=True)
        if each.greys_off is not None:
            screen.print(
                f"{each.job.name}: greys from -10 to +6 stops around mid grey are within "
                f"{each.greys_off:.2f} 10-bit codes of the exact transform"
            )
        if (cut := each.cut_off) is not None:
            words = f"{each.job.name}: {cut.message}. {_sentence(cut.seen)} {_sentence(cut.advice)}"
            screen.print(words)


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."


def _common_folder(made: list[Made]) -> Path:
    """The innermost folder that holds all files that were written."""
    folders = [each.path.parent for each in made if each.path]
    common = folders[0] if folders else Path(".")
    while not all(folder.is_relative_to(common) for folder in folders):
        common = common.parent
    return common
