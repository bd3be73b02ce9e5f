"""Command lines whose ``--json`` shows, between them, all that each report can hold.

They run in the folder that `tests/docs/prepared.py` fills and `more` adds to.
"""

from __future__ import annotations

from pathlib import Path

CORNERS = "8,6 88,6 88,42 8,42"
"""Of the chart on the stills of the folder."""

WORDS = '"ACEScct, ACEScg to BT.1886, BT.709"'
NAMED = "--source-curve ACEScct --source-gamut ACEScg --target-curve BT.1886 --target-gamut BT.709"

GAMUTS = "--source-curve ACEScct --source-gamut ACEScg --target-gamut BT.709 -o j_gamut.cube"

REPORTS: dict[str, tuple[str, ...]] = {
    "apply": (
        "apply day.cube in.png j_one.png",
        "apply day.cube shot.####.dpx j_frames/",
        "apply day.cube A004.mov j_clip.mov",
    ),
    "bench": (f"bench day.cube {NAMED.partition(' --target')[0]} -o j_bench.html",),
    "build": (
        "build day.toml -o j_luts",
        f"build {NAMED} -o j_one.cube --size 9",
        f"build --kind gamut {GAMUTS}",
        "build day.toml -o j_post --post",
    ),
    "capture": ("capture returned.png -o j_box.cube --size 9",),
    "chart": (
        "chart j_chart.png --size 9 --frame 640x480",
        "chart j_shown --patches short --frame 64x64",
    ),
    "compare": (
        f"compare day.cube {WORDS} --limit-delta-e 0.1",
        "compare day.cube bright.cube",
        "compare day.cube day.cube",
        f"compare {WORDS} {WORDS[:-1]}; tone=shoulder{WORDS[-1]} --as-views",
        "compare views.toml#view views.toml#view --as-views",
    ),
    "convert": ("convert day.cube j_day.clf", "convert day.cube j_small.cube --size 9"),
    "demo": ("demo j_demo",),
    "display calibrate": (
        "display calibrate measured.csv -o j_cal.cube --size 9",
        "display calibrate measured.csv --behind shaped.cube -o j_behind.cube --size 9",
    ),
    "display check": ("display check second.csv",),
    "display fit": ("display fit measured.csv",),
    "display patches": ("display patches j_patches --amount short --frame 640x360",),
    "identify": (
        "identify day.cube none.cube graded.cube",
        "identify looked.cube --source-curve ACEScct --source-gamut ACEScg",
        "identify nameless.cube camera.cube",
    ),
    "inspect": (
        "inspect day.cube none.cube",
        "inspect damaged.cube shaped.cube tone.cube --source-curve ACEScct --source-gamut ACEScg",
        "inspect written.cube",
    ),
    "learn": ("learn plain.png graded.png -o j_learnt.cube --size 9",),
    "levels": (
        "levels --curve ACEScct --lut day.cube --zebra-min 50 --over-exposure 2.5",
        'levels --curve "BT.2100 PQ" --display-peak 1000',
        "levels day.toml --expose 1",
    ),
    "list curves": ("list curves --definitions luts_demo/tarn.toml",),
    "list gamuts": ("list gamuts --definitions luts_demo/tarn.toml",),
    "list tones": ("list tones",),
    "list mappings": ("list mappings",),
    "match": (
        f'match in.png --source-curve ACEScct --source-gamut ACEScg --source-corners "{CORNERS}"'
        " --target-curve BT.1886 --target-gamut BT.709 -o j_match.cube --size 9",
    ),
    "monitor draw": ("monitor draw j_monitor --size 17",),
    "monitor read": ("monitor read grab.png --size 17 --turned grab.png",),
    "rework": (
        "rework chain day.cube look.cube -o j_both.cube",
        "rework resample day.cube 9 -o j_resized.cube",
        "rework invert bright.cube --shaper -o j_back.cube",
        "rework repair damaged.cube -o j_mended.cube",
        "rework neutral day.cube -o j_neutral.cube",
        "rework strength look.cube 0.5 -o j_half.cube",
        "rework blend day.cube bright.cube 0.5 -o j_blend.cube",
        "rework range day.cube --source-range legal -o j_legal.cube",
    ),
    "split": ("split looked.cube -o j_parts", "split day.cube -o j_plain"),
    "verify": ("verify day.lutbench.toml failing.lutbench.toml", "verify --self"),
}


def more(folder: Path) -> None:
    """LUTs that have what the prepared ones lack: faults, looks, shapers, comments."""
    import numpy as np
    import open_world

    import lutbench as lb
    from lutbench.media.probe.draw import draw_board
    from lutbench.media.probe.lattice import probe_lut
    from lutbench.media.still.still import Still, write_still

    words = "ACEScct, ACEScg to BT.1886, BT.709"
    lb.build(words + "; exposure=1").save(folder / "bright.cube")
    lb.build(words, size=17).save(folder / "written.cube")
    day = lb.build(words)
    board = draw_board(17, "full").signal()[1::3, 1::3]
    seen = np.rint(np.clip(probe_lut(17).apply(board), 0, 1) * 255).astype(np.uint8)
    write_still(Still(seen, ("R", "G", "B"), "8"), folder / "grab.png", depth="8")
    look = lb.Cdl((1.1, 1.0, 0.95), (0.01, 0, -0.01), (1.05, 1, 1), saturation=0.8)
    lb.Lut3D(np.clip(look.apply(day.table), 0, 1)).save(folder / "looked.cube")
    table = np.array(day.table) * [1.0, 0.97, 1.0]
    table[10, 20, 12] = table[30, 20, 20]
    lb.Lut3D(table).save(folder / "damaged.cube")
    lut = lb.ShaperLut3D(lb.Lut1D(np.linspace([0.0] * 3, [1.0] * 3, 256) ** 0.9), lb.Lut3D(table))
    lut.save(folder / "shaped.cube")
    grade = lb.Cdl((1.08, 1.0, 0.94), power=(1.05, 1.0, 0.97))
    lb.Lut3D(np.clip(grade.apply(day.table), 0, 1)).save(folder / "graded.cube")
    (folder / "none.cube").write_text("LUT_3D_SIZE 2\n0 0 0\n")
    camera = open_world.case("unregistered camera (parametric log)", 5)
    (folder / "camera.cube").write_bytes(camera.text)
    curve = np.log1p(60 * np.linspace(0, 1, 33) ** 1.7) / np.log(61)
    mixed = (
        lb.Lut3D.identity(33).table @ np.array([[0.7, 0.2, 0.1], [0.1, 0.8, 0.1], [0, 0.1, 0.9]]).T
    )
    lb.Lut3D(np.interp(mixed, np.linspace(0, 1, 33), curve)).save(folder / "nameless.cube")
    (folder / "views.toml").write_text(
        '[[lut]]\nname = "view"\nlook = { place = "before", cdl = { saturation = 0.5 } }\n'
        'source = { curve = "ACEScct", gamut = "ACEScg" }\n'
        'target = { curve = "BT.1886", gamut = "BT.709" }\n',
        encoding="utf-8",
    )
    (folder / "failing.lutbench.toml").write_text(
        '[[check]]\nname = "far"\nkind = "reference"\ntags = ["t"]\nreason = "to see"\n'
        f'lut = "bright.cube"\nexact = "{words}"\n'
        '[[check]]\nname = "gone"\nkind = "reference"\nlut = "gone.cube"\n'
        f'exact = "{words}"\n',
        encoding="utf-8",
    )
