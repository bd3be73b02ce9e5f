"""What is done with a hostile file of each kind: what a command of lutbench would do with it.

Every target reads the file, uses what was read a little, and returns; what it
may raise is a `LutbenchError`, nothing else.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.model.transforms import Transform

COLOURS = np.array(
    [[0.0, 0.0, 0.0], [0.18, 0.18, 0.18], [1.0, 0.5, 0.0], [-0.2, 0.3, 4.0], [1.0, 1.0, 1.0]]
)


def use(transform: Transform) -> None:
    """A few colours through a transform, and through its inverse where it has one."""
    out = np.asarray(transform.apply(COLOURS))
    assert out.shape == COLOURS.shape
    try:
        back = transform.inverse()
    except LutbenchError:
        return
    back.apply(COLOURS)


def lut(path: Path) -> None:
    """A file that `lutbench convert` would take, written again as CLF."""
    from lutbench.formats.clf_write import format_clf
    from lutbench.formats.registry import read_lut_file

    read = read_lut_file(path)
    use(read.lut)
    format_clf(read.lut, title=read.title, comments=read.comments, size=3)


def definitions(path: Path) -> None:
    """Curves and gamuts, each used both ways."""
    from lutbench.model.definitions import read_definitions
    from lutbench.model.gamuts import BT709, conversion

    found = read_definitions(path)
    for curve in found.curves.values():
        curve.decode(curve.encode(COLOURS))
    for gamut in found.gamuts.values():
        conversion(gamut, BT709)


def recipe(path: Path) -> None:
    """A recipe; its small LUTs are made, of the others some colours are computed."""
    from lutbench.files import inside
    from lutbench.recipes.make import make
    from lutbench.recipes.schema import read_recipe

    found = read_recipe(path)
    for job in found.jobs[:8]:
        out = inside(path.parent / "out", f"{job.name}.cube", str(path))
        assert out.resolve().is_relative_to((path.parent / "out").resolve())
        job.transform().apply(COLOURS)
        if job.size <= 5 and (job.shaper is None or job.shaper.size <= 1024):
            make(job, found.digest)


def suite(path: Path) -> None:
    """A suite, its first checks run."""
    from lutbench.checks.runner import run_suite
    from lutbench.checks.suite import read_suite

    found = read_suite(path)
    run_suite(found, found.checks[:8]).to_data()


def baseline(path: Path) -> None:
    """A recorded table."""
    from lutbench.checks.baselines import format_table, read_table

    format_table(read_table(path))


def baseline_lut(path: Path) -> None:
    """A recorded LUT."""
    from lutbench.checks.baselines import read_baseline_lut

    use(read_baseline_lut(path))


def still(path: Path) -> None:
    """A still through a LUT, and written as OpenEXR."""
    from lutbench.media.still.still import apply_to_still, read_still, write_still
    from lutbench.tables.lut import Lut3D

    out = apply_to_still(Lut3D.identity(2), read_still(path))
    if out.pixels.size <= 1 << 20:
        write_still(out, path.with_name("out.exr"), force=True)


def clip(path: Path) -> None:
    """Two frames of a clip, as a contact sheet takes them."""
    from lutbench.media.clip.clip import clip_pictures

    clip_pictures(path, 2, 64)


def curve_csv(path: Path) -> None:
    """A measured curve."""
    from lutbench.model.curves.tabulated import read_curve_csv

    curve = read_curve_csv(path, "Measured")
    curve.decode(curve.encode(COLOURS))


# Kind of file, to the suffix it is given and what is done with it.
TARGETS: dict[str, tuple[str, Callable[[Path], None]]] = {
    "cube": (".cube", lut),
    "clf": (".clf", lut),
    "cdl": (".cdl", lut),
    "cc": (".cc", lut),
    "ccc": (".ccc", lut),
    "definitions": (".toml", definitions),
    "curve table": (".csv", curve_csv),
    "recipe": (".toml", recipe),
    "suite": (".toml", suite),
    "baseline table": (".csv", baseline),
    "baseline LUT": (".cube", baseline_lut),
    "png": (".png", still),
    "jpeg": (".jpg", still),
    "tiff": (".tif", still),
    "openexr": (".exr", still),
    "dpx": (".dpx", still),
    "clip": (".mov", clip),
}
