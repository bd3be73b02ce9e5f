"""The demo: the whole job on the invented production "Salt Road"."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from lutbench.analysis.difference import measure
from lutbench.analysis.samples import CHART_STOPS, chart_patches
from lutbench.analysis.view import view_of
from lutbench.files import make_folder
from lutbench.media.stills import apply_to_still, write_still
from lutbench.media.subjects import chart_picture, photograph, recorded, still_of
from lutbench.media.tags import ColourTags
from lutbench.model.conversion import Conversion
from lutbench.recipes.make import Made, build_recipe
from lutbench.recipes.schema import Recipe, read_recipe
from lutbench.resources import demo_files

VIEWING = "viewing"


@dataclass
class Demo:
    """What the demo made and found."""

    folder: Path
    source: Path
    """Where the demo set stands."""
    recipe: Recipe
    made: dict[str, Made] = field(default_factory=dict)
    look_at: list[tuple[Path, str]] = field(default_factory=list)
    """Files worth opening, each with what it shows."""
    findings: list[tuple[str, str]] = field(default_factory=list)
    """What was measured or found, by step."""
    failed: list[str] = field(default_factory=list)

    def task(self, name: str) -> Conversion:
        """The conversion of one of the LUTs."""
        task = self.made[name].job.task
        assert isinstance(task, Conversion)
        return task


def run_demo(
    folder: str | Path,
    *,
    force: bool = False,
    progress: Callable[[str], None] = lambda step: None,
) -> Demo:
    """Run every step of the demo into `folder`.

    Raises
    ------
    LutbenchError
        When a file of an earlier run stands there and `force` is not set.
    """
    target = make_folder(folder)
    with demo_files() as source:
        demo = Demo(target, source, read_recipe(source / "salt_road.toml"))
        for title, step in STEPS:
            progress(title)
            step(demo, force)
    return demo


def _build(demo: Demo, force: bool) -> None:
    for each in build_recipe(demo.recipe, demo.folder / "luts", force=force):
        demo.made[each.job.name] = each
    viewing = demo.made[VIEWING]
    assert viewing.accuracy is not None
    error = viewing.accuracy.sets["chart"]["delta_e_2000"]
    demo.findings.append(
        (
            "built",
            f"{len(demo.made)} LUTs; the viewing LUT is ΔE 2000 {error.mean:.2f} (mean), "
            f"{error.max:.2f} (worst) from the exact transform on chart patches",
        )
    )
    demo.look_at.append((demo.folder / "luts", "the LUTs to load, and the false-colour legend"))


def _pictures(demo: Demo, force: bool) -> None:
    pictures = make_folder(demo.folder / "pictures")
    camera = demo.task(VIEWING).source
    for name, values in (
        ("photograph", recorded(photograph(), camera)),
        ("chart", chart_picture(camera)),
    ):
        log = still_of(values)
        write_still(log, pictures / f"{name}_log.tif", force=force)
        shown = apply_to_still(demo.made[VIEWING].lut, replace(log, pixels=log.pixels.copy()))
        tags = ColourTags("BT.709", "BT.1886")
        write_still(shown, pictures / f"{name}_viewing.png", depth="8", tags=tags, force=force)
    demo.look_at.append((pictures, "the photograph and the chart in log and through the LUT"))


def _verify(demo: Demo, force: bool) -> None:
    """The exact LUT, as written to disk, against the exact transform on real colours."""
    from lutbench.formats import open_lut

    made = demo.made["tone_and_gamut"]
    assert made.path is not None
    lut = open_lut(made.path)
    task = demo.task("tone_and_gamut")
    patches = chart_patches(task.source, CHART_STOPS).signals
    exact = task.pipeline().apply(patches)
    spread = measure(exact, lut.apply(patches), view_of(task.result)).spreads()["delta_e_2000"]
    demo.findings.append(
        (
            "verified",
            f"the exact conversion, read back from its file: ΔE 2000 {spread.mean:.2f} (mean) "
            f"on {len(patches)} chart colours",
        )
    )
    if spread.mean > 1.0:
        demo.failed.append("the exact conversion is more than ΔE 2000 1.0 off on chart patches")


Step = Callable[[Demo, bool], None]

STEPS: tuple[tuple[str, Step], ...] = (
    ("building the LUTs", _build),
    ("putting pictures through them", _pictures),
    ("verifying", _verify),
)
