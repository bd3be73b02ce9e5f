"""Command lines for hostile files: every command, with every option it has drawn now and then."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from pathlib import Path

import click
import devices
import numpy as np
from figures import SMALLEST, Random, cdl, clf, cube, number

from lutbench.cli.main import group

# Each command with the files that it needs, after a slash one more way to call it. LUT, OTHER,
# READINGS and GRAB are hostile; STILL, BEFORE, AFTER, CLIP and FRAMES are good pictures; OUT is
# a place to write to.
CALLS: dict[str, str] = {
    "inspect": "LUT",
    "identify": "LUT",
    "split": "LUT -o OUT/",
    "compare": "LUT OTHER",
    "apply": "LUT STILL OUT.SUFFIX",
    "apply/clip": "LUT CLIP OUT.mov",
    "apply/frames": "LUT FRAMES OUT/",
    "sheet": "LUT STILL OUT.png",
    "convert": "LUT OUT.LUT",
    "levels": "--curve NAME --lut LUT",
    "verify": "SUITE",
    "verify/record": "RECORDED --record",
    "build": "RECIPE -o OUT/",
    "capture": "CHART -o OUT.cube",
    "learn": "BEFORE AFTER -o OUT.cube",
    "match": "BEFORE AFTER -o OUT.cube --source-curve NAME --target-curve NAME --target-gamut AREA",
    "chart": "OUT.png --frame 320x192",
    "list": "curves",
    "schema": "recipe",
    "demo": "OUT/",
    "display patches": "OUT/ --amount short --frame 64x64",
    "display fit": "READINGS",
    "display calibrate": "READINGS -o OUT.cube --size SIZE",
    "display check": "READINGS",
    "monitor draw": "OUT/ --size 17",
    "monitor read": "GRAB --size 17",
    "bench": "LUT --source-curve NAME -o OUT.html",
    "rework chain": "LUT OTHER -o OUT.cube",
    "rework invert": "LUT -o OUT.cube",
    "rework resample": "LUT SIZE -o OUT.cube",
    "rework range": "LUT --source-range legal -o OUT.cube",
    "rework repair": "LUT -o OUT.cube",
    "rework strength": "LUT NUMBER -o OUT.cube",
    "rework blend": "LUT OTHER NUMBER -o OUT.cube",
    "rework neutral": "LUT -o OUT.cube",
}
RARE = dict.fromkeys(("match", "chart", "list", "schema", "learn", "build", "verify"), 0.25)
RARE |= dict.fromkeys(("sheet", "split", "capture", "bench", "apply/clip", "apply/frames"), 0.1)
RARE |= dict.fromkeys(("display patches", "monitor draw", "monitor read"), 0.03)
RARE |= {"demo": 0.002}
"""How often what is little touched by a hostile LUT is called, and what is slow."""

LEFT_OUT = (
    *("--help", "--scheduler", "--record", "--self", "--jobs", "--definitions"),
    *("--serve", "--port", "--amount", "--frame"),
)
"""They wait for a cluster, serve pages, draw large pictures, or are fuzzed elsewhere."""

CURVES = ("BT.709", "ACEScct", "BT.1886", "BT.2100 HLG", "linear", "sRGB", "ST 2084")
GAMUTS = ("BT.709", "ACES AP1", "BT.2020", "XYZ")
MAKERS = {".cube": cube, ".clf": clf, ".cc": cdl}
SUFFIX_SHARES = (0.62, 0.25, 0.13)


SHARE_OF_THE_DEMO = 0.05
"""How often the demo is called where time is measured; every other command as often as any."""


@dataclass(frozen=True)
class Place:
    """Where the files of a call stand; `nodes` is the size of every lattice, where told."""

    folder: Path
    stills: dict[str, str]
    nodes: int | None = None

    def sizes(self, sizes: list[int]) -> list[int]:
        """The sizes that may be asked for."""
        return sizes if self.nodes is None else [self.nodes, (self.nodes + 1) // 2]


@dataclass(frozen=True)
class Call:
    """A command line, and the folder that its files stand in."""

    name: str
    """As in `CALLS`."""
    args: tuple[str, ...]
    folder: Path

    def __str__(self) -> str:
        return " ".join(self.args)


def call(seed: int, number_of: int, place: Place) -> Call:
    """The call of a number: its hostile files written into the folder."""
    rng = np.random.default_rng([seed, number_of])
    weight = np.array([RARE.get(name, 1.0) for name in CALLS])
    if place.nodes is not None:
        weight = np.where(np.array(list(CALLS)) == "demo", SHARE_OF_THE_DEMO, 1.0)
    name = str(rng.choice(list(CALLS), p=weight / weight.sum()))
    words = [_word(each, rng, place) for each in CALLS[name].split()]
    options = _options(name, (seed, number_of), place)
    return Call(name, (*name.split("/")[0].split(), *words, *options), place.folder)


def _word(word: str, rng: Random, place: Place) -> str:
    folder = place.folder
    if word in place.stills:
        return place.stills[word]
    if word in ("LUT", "OTHER"):
        return _lut(word.lower(), rng, place)
    if word in ("SUITE", "RECIPE", "RECORDED"):
        return _toml(word, rng, place)
    if word == "READINGS":
        (folder / "read.csv").write_text(devices.readings(rng), encoding="utf-8")
        return str(folder / "read.csv")
    if word == "GRAB":
        return devices.grab(rng, folder / "grab")
    if word == "CLIP":
        return devices.clip(folder / "clip.mkv")
    if word == "FRAMES":
        return devices.sequence(folder / "frames")
    plain = {
        "NAME": str(rng.choice(CURVES)),
        "AREA": str(rng.choice(GAMUTS)),
        "SIZE": str(rng.choice(place.sizes([2, 3, 5, 9]))),
        # Not taken for an option where it starts with a minus.
        "NUMBER": repr(float(rng.choice([0.0, 1.0, 0.5, SMALLEST, 1 - 1e-16, abs(number(rng))]))),
        "OUT.SUFFIX": str(folder / f"out.{rng.choice(['png', 'tif', 'exr', 'dpx', 'jpg'])}"),
        "OUT.LUT": str(folder / f"out.{rng.choice(['cube', 'clf'])}"),
    }
    return plain.get(word, str(folder / word.replace("OUT", "out")) if "OUT" in word else word)


def _lut(stem: str, rng: Random, place: Place) -> str:
    suffix = str(rng.choice(list(MAKERS), p=SUFFIX_SHARES))
    path = place.folder / f"{stem}{suffix}"
    path.write_text(MAKERS[suffix](rng, place.nodes), encoding="utf-8")
    return str(path)


def _toml(word: str, rng: Random, place: Place) -> str:
    path = place.folder / f"{word.lower()}.toml"
    if word == "RECORDED":
        lut = Path(_lut("lut", rng, place)).name
        kinds = (("baseline", "kept.csv"), ("baseline", "kept.cube"))
        text = "".join(
            f'[[check]]\nname = "c{at}"\nkind = "{kind}"\nlut = "{lut}"\nbaseline = "{kept}"\n'
            for at, (kind, kept) in enumerate(kinds)
        )
    elif word == "SUITE":
        lut, other = (Path(_lut(stem, rng, place)).name for stem in ("lut", "other"))
        checks = [
            f'kind = "invariants"\nlut = "{lut}"',
            f'kind = "reference"\nlut = "{lut}"\nexact = "{other}"',
            f'kind = "health"\nlut = "{lut}"',
            f'kind = "levels"\nlut = "{lut}"\npoints = [{{ reflectance = 18, percent = 40 }}]',
        ]
        text = "".join(f'[[check]]\nname = "c{at}"\n{each}\n' for at, each in enumerate(checks))
    else:
        text = (
            f"size = {rng.choice(place.sizes([2, 3, 5]))}\nexposure = {rng.uniform(-20, 20)!r}\n"
            f'source = {{ curve = "{rng.choice(CURVES)}", gamut = "{rng.choice(GAMUTS)}" }}\n'
            f'target = {{ curve = "{rng.choice(CURVES)}", gamut = "{rng.choice(GAMUTS)}" }}\n'
            f"[tone]\ncontrast = {abs(number(rng))!r}\ntoe = {abs(number(rng))!r}\n"
            f"[look.cdl]\nslope = {[abs(number(rng)) for _ in range(3)]}\n"
            f'power = {[abs(number(rng)) or 1.0 for _ in range(3)]}\n[[lut]]\nname = "one"\n'
        )
    path.write_text(text, encoding="utf-8")
    return str(path)


def command_of(name: str) -> click.Command:
    """The click command of a name of one or two words."""
    found: click.Command = group
    for word in name.split("/")[0].split():
        assert isinstance(found, click.Group)
        inner = found.get_command(click.Context(found), word)
        assert inner is not None
        found = inner
    return found


def _options(name: str, case: tuple[int, int], place: Place) -> list[str]:
    """Options that the command has, each with a chance of its own: a new one moves no other."""
    given: list[str] = []
    for option in command_of(name).params:
        if not isinstance(option, click.Option) or option.opts[0] in (*LEFT_OUT, "-o"):
            continue
        rng = np.random.default_rng([*case, zlib.crc32(option.opts[-1].encode())])
        written = CALLS[name].split()
        if rng.random() > 0.12 or any(each in written for each in option.opts):
            continue
        given.append(option.opts[-1] if option.opts[-1].startswith("--") else option.opts[0])
        if not option.is_flag:
            given += [_value(option, rng, place) for _ in range(option.nargs)]
    # Of two ends one may need the other: a refusal in one line is as good an answer.
    return given


def _value(option: click.Option, rng: Random, place: Place) -> str:
    name, kind, folder = option.opts[0], option.type, place.folder
    if isinstance(kind, click.Choice):
        return str(rng.choice([str(each) for each in kind.choices]))
    if "curve" in name and name != "--tone-curve":
        return str(rng.choice(CURVES))
    if "gamut" in name:
        return str(rng.choice(GAMUTS))
    if name in ("--card", "--junit") or (option.metavar or "").startswith("OUT."):
        ends = {"--card": "png", "--junit": "xml"}
        suffix = ends.get(name) or str(option.metavar).partition("|")[0].removeprefix("OUT.")
        return str(folder / f"more.{suffix}")
    if name in ("--base", "--lut", "--behind"):
        return _lut(name[2:], rng, place)
    if name == "--turned":
        return devices.grab(rng, folder / "turned")
    if name == "--codec":
        return str(rng.choice(["prores", "prores4444", "dnxhr", "h264", "ffv1"]))
    if isinstance(kind, click.FloatRange) and rng.random() < 0.5:
        low, high = (0.0 if end is None else end for end in (kind.min, kind.max))
        return repr(float(rng.uniform(low, max(low, high))))
    if name == "--still":
        return place.stills["STILL"]
    if name in ("--zebra-min", "--fade", "--smoothness"):
        return repr(float(rng.choice([0.0, 1.0, 1e-9, 0.3, abs(number(rng))])))
    if name == "--size" and place.nodes is not None:
        return str(rng.choice(place.sizes([])))
    if name in ("--size", "--frames", "--columns", "--width", "--worst", "--decimals"):
        return str(rng.choice([2, 3, 5, 7, 9]))
    if name == "--limit":
        return f"{rng.choice(['noise', 'banding', 'tint', 'fold'])}={abs(number(rng))!r}"
    return repr(abs(number(rng))) if "integer" not in kind.name else str(rng.integers(1, 9))
