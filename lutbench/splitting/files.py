"""The parts of a LUT as files: LUTs, a CDL where the look is one, and a recipe."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from lutbench.files import make_folder, replacing
from lutbench.formats.cdl import Correction, write_cdl
from lutbench.formats.cube_write import write_cube
from lutbench.model.catalogue import Catalogue
from lutbench.splitting.recipe import DEFINITIONS, RECIPE, TONE, recipe_files
from lutbench.splitting.split import Split
from lutbench.tables.lut import Lut

CDL = "look.cdl"
FILES = (
    "gamut.cube",
    "curve.cube",
    "curve_1d.cube",
    "look.cube",
    CDL,
    RECIPE,
    DEFINITIONS,
    TONE,
)
"""The names of all files that may be written."""


def write_parts(
    parts: Split,
    folder: str | Path,
    *,
    stem: str,
    catalogue: Catalogue,
    force: bool = False,
) -> list[str]:
    """Write all the parts into `folder`, or none; `stem` names the LUT in the recipe.

    Returns
    -------
    The paths that were written.

    Raises
    ------
    LutbenchError
        When a file exists and `force` is not set, or one cannot be written.
    """
    writers = _writers(parts, stem, catalogue)
    existed = Path(folder).is_dir()
    made = make_folder(folder)
    try:
        # Every file is written in full beside its place before the first takes it.
        with ExitStack() as stack:
            places = [stack.enter_context(replacing(made / n, force=force)) for n in writers]
            for place, write in zip(places, writers.values(), strict=True):
                write(place)
    except BaseException:
        if not existed and not any(made.iterdir()):
            made.rmdir()
        raise
    return [str(made / name) for name in writers]


def _writers(parts: Split, stem: str, catalogue: Catalogue) -> dict[str, Callable[[Path], Any]]:
    luts: dict[str, Lut] = {
        "gamut.cube": parts.gamut,
        "curve.cube": parts.curve_3d,
        "curve_1d.cube": parts.curve_1d,
        "look.cube": parts.look,
    }
    writers = {name: _later(write_cube, lut) for name, lut in luts.items()}
    if parts.cdl:
        writers[CDL] = _later(write_cdl, Correction(parts.cdl, "look", ("on the output signal",)))
    for name, text in recipe_files(parts, stem, catalogue).items():
        writers[name] = _text_later(text)
    return writers


def _later(write: Callable[..., Any], what: Any) -> Callable[[Path], Any]:
    return lambda place: write(what, place, force=True)


def _text_later(text: str) -> Callable[[Path], Any]:
    return lambda place: place.write_bytes(text.encode("utf-8"))
