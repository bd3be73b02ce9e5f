"""Every command with good files, as command lines: for what may befall any of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from simulated_displays import ADDITIVE, write_readings
from small_clip import write_small_clip

import lutbench as lb
from lutbench.display.patches import patch_set
from lutbench.formats.cube_write import write_cube
from lutbench.measure.samples import chart24, chart_light
from lutbench.media.chart.layout import draw_chart
from lutbench.media.probe.draw import draw_board
from lutbench.media.probe.lattice import probe_lut
from lutbench.media.still.still import Still, write_still
from lutbench.model.curves.log import AcesCct
from lutbench.model.gamuts import ACES_AP1

LINES = (
    "inspect a.cube --page out.html",
    "inspect a.cube b.cube --json",
    "identify a.cube",
    "split a.cube -o out",
    "compare a.cube b.cube --page out.html",
    "apply a.cube still.png out.png",
    "apply a.cube still.png out.exr",
    "apply a.cube clip.mkv out.mkv --codec ffv1",
    "apply a.cube frames out",
    "sheet a.cube still.png out.png",
    "convert a.cube out.clf",
    "convert two.clf out.cube",
    "levels --curve ACEScct --lut a.cube --card out.png",
    "verify suite.toml",
    "verify suite.toml --jobs 2",
    "build recipe.toml -o out",
    "capture chart.png -o out.cube",
    "learn still.png after.png -o out.cube",
    "match shot.csv -o out.cube --source-curve ACEScct --target-curve BT.1886"
    " --target-gamut BT.709",
    "chart out.png --size 5 --frame 320x192",
    "list curves",
    "schema recipe",
    "display patches out --amount short --frame 64x64",
    "display fit readings.csv",
    "display check readings.csv",
    "display calibrate readings.csv -o out.cube",
    "monitor draw out --size 17",
    "monitor read board.exr --size 17",
    "bench a.cube --source-curve ACEScct -o out.html",
    "rework chain a.cube b.cube -o out.cube",
    "rework invert a.cube -o out.cube",
    "demo out",
)
"""What they write is named out."""


def files_for_commands(made: Path) -> Path:
    """The files that the commands read, in a folder that exists; the folder."""
    lut = lb.build("ACEScct, ACEScg to BT.1886, BT.709", size=17)
    write_cube(lut, made / "a.cube")
    lut.save(made / "two.clf")
    write_cube(lb.build("ACEScct, ACEScg to sRGB, BT.709", size=9), made / "b.cube")
    rng = np.random.default_rng(3)
    pixels = rng.integers(40, 200, (72, 96, 3), np.uint8)
    for name, picture in (("still", pixels), ("after", pixels // 2 + 30)):
        write_still(Still(picture, ("R", "G", "B"), "8"), made / f"{name}.png")
    write_still(draw_chart(5, 320, 192), made / "chart.png")
    signal = AcesCct().encode(0.7 * chart_light(ACES_AP1))
    rows = [f"{name},{r},{g},{b}" for name, (r, g, b) in zip(chart24()[0], signal, strict=True)]
    (made / "shot.csv").write_text("\n".join(["name,R,G,B", *rows]))
    board = draw_board(17, "full").pixels[::2, ::2].astype(np.float32) / 65535
    grab = np.asarray(probe_lut(17).apply(board), np.float32)
    write_still(Still(grab, ("R", "G", "B"), "float"), made / "board.exr")
    (made / "frames").mkdir()
    for at in range(3):
        picture = Still(np.roll(pixels, at, 0), ("R", "G", "B"), "8")
        write_still(picture, made / "frames" / f"a.{at:04}.png")
    write_small_clip(made / "clip.mkv", (np.roll(pixels, at, 1) for at in range(6)))
    shown = patch_set("short")
    write_readings(made / "readings.csv", shown, ADDITIVE["gamma 2.2"].xyz(shown.signal))
    ends = '{ curve = "ACEScct", gamut = "ACEScg" }', '{ curve = "BT.1886", gamut = "BT.709" }'
    (made / "recipe.toml").write_text(
        f"size = 9\nsource = {ends[0]}\ntarget = {ends[1]}\n"
        '[[lut]]\nname = "one"\n[[lut]]\nname = "two"\nexposure = 1\n'
    )
    (made / "suite.toml").write_text(
        '[[check]]\nname = "a"\nkind = "health"\nlut = "a.cube"\n'
        '[[check]]\nname = "b"\nkind = "reference"\nlut = "a.cube"\nexact = "b.cube"\n'
    )
    return made
