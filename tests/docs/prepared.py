"""The folder in which examples run: what their reader would have lying about.

``luts_demo/`` as in a checkout; LUTs, stills, frames and a clip under the names
that the help texts and pages use. All in an open log encoding (ACEScct).
"""

from __future__ import annotations

import shutil
import sys
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lutbench.model.curves.base import Decode, Encode
from lutbench.model.curves.log import AcesCct
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import ACES_AP1, BT709, conversion
from lutbench.model.transforms import Pipeline, Transform

ROOT = Path(__file__).resolve().parents[2]

RECIPE = """\
title = "Day"

[source]
curve = "ACEScct"
gamut = "ACEScg"

[target]
curve = "BT.1886"
gamut = "BT.709"

[[lut]]
name = "monitor"

[[lut]]
name = "tone_only"
kind = "curve"
"""

SUITE = """\
title = "Day"

[[check]]
name = "the monitor LUT is exact"
kind = "reference"
lut = "monitor.cube"
exact = "ACEScct, ACEScg to BT.1886, BT.709"

[[check]]
name = "viewing as on the day"
kind = "baseline"
lut = "monitor.cube"
baseline = "baselines/viewing.csv"
"""

CORRECTIONS = """\
<?xml version="1.0" encoding="UTF-8"?>
<ColorCorrectionCollection xmlns="urn:ASC:CDL:v1.2">
  <ColorCorrection id="sc012">
    <SOPNode>
      <Slope>1.05 1.0 0.95</Slope><Offset>0.0 0.0 0.01</Offset><Power>1.0 1.0 1.0</Power>
    </SOPNode>
    <SatNode><Saturation>0.9</Saturation></SatNode>
  </ColorCorrection>
</ColorCorrectionCollection>
"""


def prepare(folder: Path) -> None:
    """Fill `folder`."""
    import lutbench
    from lutbench.checks.runner import run_check
    from lutbench.checks.suite import read_suite
    from lutbench.formats.cube_write import write_cube
    from lutbench.model.grade import Cdl
    from lutbench.tables.nodes import sample

    shutil.copytree(
        ROOT / "luts_demo", folder / "luts_demo", ignore=shutil.ignore_patterns("__pycache__")
    )
    (folder / "day.toml").write_text(RECIPE, encoding="utf-8")
    (folder / "day.lutbench.toml").write_text(SUITE, encoding="utf-8")
    (folder / "looks.ccc").write_text(CORRECTIONS, encoding="utf-8")
    ends = {"source_gamut": "ACEScg", "target_gamut": "BT.709"}
    lut = lutbench.build("ACEScct", "BT.1886", **ends)
    write_cube(lut, folder / "monitor.cube")
    for copy in ("day.cube", "old.cube", "new.cube", "unknown.cube", "a.cube", "b.cube"):
        shutil.copy(folder / "monitor.cube", folder / copy)
    (folder / "luts").mkdir()
    for copy in ("day_full.cube", "day_copy.cube"):
        shutil.copy(folder / "monitor.cube", folder / "luts" / copy)
    tone = lutbench.build("ACEScct", "BT.1886", kind="curve", dimensions=1, size=1024)
    write_cube(tone, folder / "tone.cube")
    suite = read_suite(folder / "day.lutbench.toml")
    for check in suite.selected("viewing"):
        assert run_check(check, suite.context(record=True)).holds
    look = Cdl(slope=(1.05, 1.0, 0.95), power=(1.1, 1.05, 1.0), saturation=0.9, clamp=False)
    write_cube(sample(look, 17), folder / "look.cube")
    _pictures(folder)
    _chart(folder / "returned.png", lut)
    _pair(folder, lut)
    _clip(folder / "A004.mov")
    _readings(folder)


def _log_picture() -> NDArray[np.uint16]:
    """The measured chart in the log encoding, four rows of six, as 16-bit codes."""
    from lutbench.measure.samples import chart_light
    from lutbench.model.catalogue import open_catalogue

    known = open_catalogue(user=False)
    signal = known.curve("ACEScct").encode(chart_light(known.gamut("ACEScg")))
    patches = signal.reshape(4, 6, 3).repeat(12, axis=0).repeat(16, axis=1)
    return np.round(np.clip(patches, 0, 1) * 65535).astype(np.uint16)


def _pictures(folder: Path) -> None:
    from lutbench.media.still.still import Still, write_still

    still = Still(_log_picture(), ("R", "G", "B"), "16")
    for name, depth in (("grab.dpx", "10"), ("in.png", "16"), ("still.tif", "16")):
        write_still(still, folder / name, depth=depth)
    for number in (1, 2, 3):
        write_still(still, folder / f"shot.{number:04d}.dpx", depth="10")
        write_still(still, folder / f"shot.{number:04d}.exr", depth="half")


def _chart(path: Path, lut: Transform) -> None:
    """A small chart as it comes back from a box that does what `lut` does, in 8 bits."""
    from lutbench.media.chart.layout import draw_chart
    from lutbench.media.still.still import apply_to_still, write_still

    write_still(apply_to_still(lut, draw_chart(13, 960, 540)), path, depth="8")


def _pair(folder: Path, lut: Transform) -> None:
    """A photograph in the log encoding, and through `lut`."""
    from skimage import data

    from lutbench.media.still.still import Still, apply_to_still, write_still

    scene = Pipeline((Decode(Srgb()), conversion(BT709, ACES_AP1), Encode(AcesCct())))
    signal = scene.apply(data.astronaut()[:256, :320] / 255.0)
    codes = np.round(np.clip(signal, 0, 1) * 65535).astype(np.uint16)
    write_still(Still(codes.copy(), ("R", "G", "B"), "16"), folder / "plain.png")
    graded = apply_to_still(lut, Still(codes, ("R", "G", "B"), "16"))
    write_still(graded, folder / "graded.png", depth="8")


def _clip(path: Path) -> None:
    import av

    picture = _log_picture()
    with av.open(str(path), "w") as container:
        stream = container.add_stream("prores_ks", rate=Fraction(25))
        stream.height, stream.width = picture.shape[:2]
        stream.pix_fmt = "yuv422p10le"
        context = stream.codec_context
        context.color_primaries = context.color_trc = context.colorspace = 1
        context.color_range = 1
        for _ in range(3):
            frame = av.VideoFrame.from_ndarray(picture, format="rgb48le")
            container.mux(stream.encode(frame.reformat(format="yuv422p10le")))
        container.mux(stream.encode())


def _readings(folder: Path) -> None:
    """An invented display as a meter read it, and again through its calibration."""
    sys.path.append(str(ROOT / "tests" / "cases"))
    from simulated_displays import NOT_ADDITIVE, read_by_meter, write_readings

    from lutbench.display.calibration import calibrate
    from lutbench.display.fit import fit_display
    from lutbench.display.patches import patch_set
    from lutbench.display.target import target_for
    from lutbench.model.curves.video import Bt1886

    display, shown = NOT_ADDITIVE["crosstalk"], patch_set("usual")
    read = read_by_meter(display, shown, 0.003)
    write_readings(folder / "measured.csv", shown, read.xyz)
    model = fit_display(read).model
    lut = calibrate(model, target_for(model, Bt1886(), BT709)).lut
    write_readings(folder / "second.csv", shown, display.xyz(lut.apply(shown.signal)))
