"""The demo: the whole job on the invented production "Salt Road"."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from lutbench.bench.gather import Order
from lutbench.bench.page import write_bench
from lutbench.checks.runner import run_suite
from lutbench.checks.suite import read_suite
from lutbench.exposure.levels import levels
from lutbench.files import make_folder, write_text
from lutbench.identification import identify
from lutbench.identification.result import Identification
from lutbench.inspection.inspection import inspect
from lutbench.media.still.still import apply_to_still, write_still
from lutbench.media.subjects import chart_picture, photograph_light, recorded, still_of
from lutbench.media.tags import ColourTags
from lutbench.model.conversion import Conversion
from lutbench.recipes.make import Made, build_recipe
from lutbench.recipes.schema import Recipe, read_recipe
from lutbench.report.card import write_card
from lutbench.report.page import page_html
from lutbench.resources import demo_files
from lutbench.results import PlainData

VIEWING = "viewing"
LOOK = "viewing_warm_look"


@dataclass(frozen=True)
class DemoFinding(PlainData):
    """What a step of the demo found."""

    step: str
    text: str


@dataclass(frozen=True)
class DemoPlace(PlainData):
    """A file worth opening."""

    path: Path
    shows: str


@dataclass
class Demo(PlainData):
    """What the demo did."""

    KEYS = ("folder", "findings", "look_at", "failed")

    folder: Path
    source: Path
    """The folder of the demo set."""
    recipe: Recipe
    made: dict[str, Made] = field(default_factory=dict)
    identified: dict[str, Identification] = field(default_factory=dict)
    look_at: list[DemoPlace] = field(default_factory=list)
    findings: list[DemoFinding] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)

    def found(self, step: str, text: str) -> None:
        """Note what was measured or found in a step."""
        self.findings.append(DemoFinding(step, text))

    def wrote(self, path: Path, shows: str) -> None:
        """Note a file worth opening, with what it shows."""
        self.look_at.append(DemoPlace(path, shows))

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

    Raises LutbenchError when a file of an earlier run stands there and `force` is not set.
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
    demo.found(
        "built",
        f"{len(demo.made)} LUTs; the viewing LUT is ΔE 2000 {error.mean:.2f} (mean), "
        f"{error.max:.2f} (worst) from the exact transform on chart patches",
    )
    demo.wrote(demo.folder / "luts", "the LUTs to load, and the false-colour legend")


def _pictures(demo: Demo, force: bool) -> None:
    pictures = make_folder(demo.folder / "pictures")
    camera = demo.task(VIEWING).source
    for name, values in (
        ("photograph", recorded(photograph_light(), camera)),
        ("chart", chart_picture(camera)),
    ):
        log = still_of(values)
        write_still(log, pictures / f"{name}_log.tif", force=force)
        shown = apply_to_still(demo.made[VIEWING].lut, replace(log, pixels=log.pixels.copy()))
        tags = ColourTags("BT.709", "BT.1886")
        write_still(shown, pictures / f"{name}_viewing.png", depth="8", tags=tags, force=force)
    demo.wrote(pictures, "the photograph and the chart in log and through the LUT")


def _levels(demo: Demo, force: bool) -> None:
    """The card of the day, for a camera whose zebra starts at 50 %."""
    made = demo.made[VIEWING]
    task = demo.task(VIEWING)
    day = levels(task.source.curve, made.lut, lut_name=made.job.title, zebra_min=50.0)
    card = demo.folder / "levels.html"
    write_card(day, card, force=force)
    grey = day.at(0.18)
    shown = "" if grey.after_lut is None else f", {grey.after_lut.percent:.0f} % after the LUT"
    percent = f"{grey.recorded.percent:.0f} %"
    demo.found("exposure", f"mid grey records at {percent} of full range{shown}")
    demo.wrote(card, "the exposure levels of the day, to print")


def _identify(demo: Demo, force: bool) -> None:
    """What can be learnt from the LUTs alone, without their recipe."""
    for name in ("tone_and_gamut", LOOK):
        found = identify(demo.made[name].lut, catalogue=demo.recipe.catalogue)
        demo.identified[name] = found
        demo.found("identified", f"{name}: {found.explanation}")


def _inspect(demo: Demo, force: bool) -> None:
    """The page of one LUT, read from its file, with what was identified in it."""
    made = demo.made[LOOK]
    assert made.path is not None
    task = demo.task(LOOK)
    found = inspect(
        made.path,
        source_curve=task.source.curve,
        source_gamut=task.source.gamut,
        catalogue=demo.recipe.catalogue,
    )
    page = demo.folder / "report.html"
    write_text(page, page_html(found, identification=demo.identified[LOOK]), force=force)
    demo.found("inspected", f"{LOOK}: {found.verdict}")
    demo.wrote(page, f"the report on {LOOK}: what it does, and what to set")


def _bench(demo: Demo, force: bool) -> None:
    """The live bench of the whole set."""
    page = demo.folder / "bench.html"
    write_bench(Order(demo.source / "salt_road.toml"), page, force=force)
    demo.wrote(page, "the live bench: look through the LUTs, expose and measure, on any device")


def _verify(demo: Demo, force: bool) -> None:
    """The suite of the set: against the exact pipeline, colour-science, and what was recorded."""
    suite = read_suite(demo.source / "salt_road.lutbench.toml")
    report = run_suite(suite, suite.checks)
    demo.found("verified", f"{report.count('passed')} of {len(report.outcomes)} checks hold")
    for outcome in report.outcomes:
        if not outcome.holds:
            demo.failed.append(f"{outcome.name}: {outcome.summary}")


Step = Callable[[Demo, bool], None]

STEPS: tuple[tuple[str, Step], ...] = (
    ("building the LUTs", _build),
    ("putting pictures through them", _pictures),
    ("calculating exposure levels", _levels),
    ("identifying LUTs by their content", _identify),
    ("inspecting, and writing the report", _inspect),
    ("writing the live bench", _bench),
    ("verifying", _verify),
)
