"""Print what docs/algebra.md, docs/charts.md and docs/camera-match.md say was measured.

    python tests/benchmarks/measure_fits.py [invert] [resize] [capture] [pairs] [match]

Tables in Markdown. The cases are those of the tests, more of them.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
for folder in ("cases", "tables", "fitting"):
    sys.path.insert(0, str(ROOT / "tests" / folder))


def row(*cells: object) -> None:
    print("| " + " | ".join(f"{c:.2f}" if isinstance(c, float) else str(c) for c in cells) + " |")


def head(*cells: str) -> None:
    row(*cells)
    row(*["---"] * len(cells))


def invert() -> None:
    """Random pipelines without clipping, 33 nodes: LUT, inverse, LUT again against the LUT."""
    from test_algebra_invert import delta_e, random_bijection

    from lutbench import algebra
    from lutbench.tables.nodes import sample

    head("pipelines", "shaper", "mean ΔE", "worst mean", "95 % under, worst", "collapsed, worst",
         "folded, worst", "seconds")  # fmt: skip
    for shaper in (False, True):
        figures = []
        for seed in range(20):
            lut = sample(random_bijection(seed), 33)
            start = time.perf_counter()
            found = algebra.invert(lut, shaper=shaper)
            seconds = time.perf_counter() - start
            inputs = np.random.default_rng(100 + seed).random((20_000, 3))
            colours = np.asarray(lut.apply(inputs))
            off = delta_e(np.asarray(lut.apply(found.lut.apply(colours))), colours)
            figures.append(
                (off.mean(), np.percentile(off, 95), found.collapsed, found.folded, seconds)
            )
        table = np.array(figures)
        row(20, "yes" if shaper else "no", table[:, 0].mean(), table[:, 0].max(),
            table[:, 1].max(), f"{100 * table[:, 2].max():.3f} %",
            f"{100 * table[:, 3].max():.4f} %", np.median(table[:, 4]))  # fmt: skip


def resize() -> None:
    """Sizes changed by every method: mean error against the pipeline, 10-bit codes."""
    from test_algebra_invert import random_bijection

    from lutbench import algebra
    from lutbench.tables.nodes import sample

    methods = ("linear", "pchip", "cubic", "fit", "best")
    head("from", "to", *methods)
    points = np.random.default_rng(0).random((20_000, 3))
    for before, after in ((17, 33), (33, 65), (65, 33), (33, 17)):
        totals = np.zeros(len(methods))
        for seed in range(6):
            pipeline = random_bijection(seed)
            lut, truth = sample(pipeline, before), pipeline.apply(points)
            for index, method in enumerate(methods):
                made = algebra.resample(lut, after, method).lut
                totals[index] += np.abs(made.apply(points) - truth).mean() * 1023 / 6
        row(before, after, *totals.tolist())


def capture() -> None:
    """Known LUTs in simulated boxes: ΔE of the recovered LUT at random colours and neutrals."""
    from test_patches import BOXES, delta_e, through_box

    from lutbench.fitting.patches import fit_patches
    from lutbench.media.chart.layout import draw_chart
    from lutbench.media.chart.picture import read_chart
    from lutbench.model.transforms import Clamp
    from lutbench.tables.nodes import sample

    head("box", "chart", "patch known to", "mean ΔE", "95 % under", "neutrals, mean", "largest",
         "seconds")  # fmt: skip
    points = np.random.default_rng(3).random((20_000, 3))
    ramp = np.repeat(np.linspace(0, 1, 501)[:, None], 3, axis=1)
    for size, frame in ((17, (1920, 1080)), (21, (1920, 1080)), (33, (3840, 2160))):
        sent = draw_chart(size, *frame).signal().astype(np.float64)
        for name, box in BOXES.items():
            lut = sample(box | Clamp(), 33)
            picture = through_box(sent, lut)
            start = time.perf_counter()
            reading = read_chart(picture)
            fit = fit_patches(
                reading.inputs, reading.outputs, uncertainty=reading.uncertainty / 255
            )
            seconds = time.perf_counter() - start
            off = delta_e(np.asarray(fit.lut.apply(points)), np.asarray(lut.apply(points)))
            grey = delta_e(np.asarray(fit.lut.apply(ramp)), np.asarray(lut.apply(ramp)))
            row(name, f"{size} in {frame[0]}×{frame[1]}", reading.uncertainty, off.mean(),
                float(np.percentile(off, 95)), grey.mean(), grey.max(), seconds)  # fmt: skip


def pairs() -> None:
    """Photographs graded here, 16 bits or JPEG 90: ΔE at squares the fit did not see."""
    from test_pair import GRADE, TO_DISPLAY, TO_LOG, delta_e, jpeg, photograph

    from lutbench.fitting.pair import fit_pair
    from lutbench.tables.nodes import sample

    head("photograph", "change", "file", "unseen, mean ΔE", "95 % under", "nodes supported",
         "seconds")  # fmt: skip
    display = sample(TO_DISPLAY, 33)
    for name in ("astronaut", "coffee", "chelsea"):
        picture = photograph(name)
        for change in ("log to display", "grade"):
            before = TO_LOG.apply(picture) if change == "log to display" else picture
            after = np.clip((display if change == "log to display" else GRADE).apply(before), 0, 1)
            for file, shown in (("16 bits", after), ("JPEG 90", jpeg(after))):
                start = time.perf_counter()
                fit = fit_pair(before, shown)
                seconds = time.perf_counter() - start
                off = delta_e(*fit.held_out_colours)
                row(name, change, file, off.mean(), float(np.percentile(off, 95)),
                    f"{100 * fit.coverage:.1f} %", seconds)  # fmt: skip


def match() -> None:
    """Two measured cameras under CIE illuminants on a measured chart: mean ΔE over 24 patches."""
    from test_camera_match import END, LOG, balanced, shot

    from lutbench.fitting.camera_match import match_cameras

    head("camera, light", "to camera, light", "residual", "before", "after", "largest",
         "left out", "seconds")  # fmt: skip
    for first, second in (((0, "D65"), (1, "D65")), ((0, "A"), (1, "D65")),
                          ((1, "D55"), (0, "D50")), ((0, "A"), (0, "D65"))):  # fmt: skip
        source, target = LOG.encode(0.6 * shot(*first)), LOG.encode(balanced(shot(*second)))
        for residual in (False, True):
            start = time.perf_counter()
            found = match_cameras(source, target, END, END, residual=residual)
            seconds = time.perf_counter() - start
            names = [f"{'AB'[camera]}, {light}" for camera, light in (first, second)]
            after = found.spread("after")
            row(*names, "yes" if residual else "no", found.spread("before").mean, after.mean,
                after.max, found.spread("left_out").mean, seconds)  # fmt: skip


if __name__ == "__main__":
    wanted = sys.argv[1:] or ["invert", "resize", "capture", "pairs", "match"]
    for each in (invert, resize, capture, pairs, match):
        if each.__name__ in wanted:
            print(f"\n{each.__doc__}\n")
            each()
