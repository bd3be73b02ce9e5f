"""Every command on the largest LUT: peak of memory, time, whether progress is seen, Ctrl-C.

    python tests/benchmarks/measure_largest.py --markdown largest.md

Makes a `.cube` of 256 nodes (some 450 MB of text) and runs each command on it in a process
of its own, once to its end and once with an interrupt (SIGINT) half-way. Standard error is a
terminal there, so that progress is drawn. Memory is the peak of resident pages, seconds of
processor are those of all threads. Exits with status 1 where a command takes over 3 GiB,
draws no progress, or does not end with status 130 and an empty folder when interrupted.
"""

from __future__ import annotations

import argparse
import os
import pty
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "cases"))

import numpy as np
from simulated_displays import ADDITIVE, write_readings
from small_clip import write_small_clip

import lutbench as lb
from lutbench.checks.baselines import format_lut, format_table, record_table
from lutbench.display.patches import patch_set
from lutbench.formats.cube_write import write_cube
from lutbench.media.chart.layout import draw_chart
from lutbench.media.still.still import Still, write_still
from lutbench.model.curves.log import AcesCct
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import ACES_AP1

MOST_MIB = 3072
SOON = 20.0
"""Seconds in which an interrupted command is to end: one step of its work is finished first."""

HANGS = 900.0

SUITES = {
    "health": 'kind = "health"\nlut = "LUT"',
    "invariants": 'kind = "invariants"\nlut = "LUT"\n'
    'hold = ["neutral", "monotone", "monotone_channels", "within_range"]',
    "reference": 'kind = "reference"\nlut = "LUT"\nexact = "OTHER"\nlimits = { code_10bit = 1022 }',
    "baseline": 'kind = "baseline"\nlut = "LUT"\nbaseline = "kept.csv"',
    "recorded": 'kind = "baseline"\nlut = "LUT"\nbaseline = "held.csv"',
    "whole": 'kind = "baseline"\nlut = "LUT"\nbaseline = "held.cube"',
    "whole new": 'kind = "baseline"\nlut = "LUT"\nbaseline = "kept.cube"',
    "written": 'kind = "written"\nlut = "LUT"',
    "bytes": f'kind = "bytes"\nlut = "recipe.toml#large"\nsha256 = "{"0" * 64}"',
    "picture": 'kind = "picture"\nlut = "LUT"\nstill = "still.png"\nstored = "shown.png"',
    "levels": 'kind = "levels"\nlut = "LUT"\n'
    'points = [{ reflectance = 18, percent = 40, within = 100 }]\nsource = { curve = "ACEScct" }',
}

# LUT and OTHER have 256 nodes, SMALL has 33.
COMMANDS = {
    "inspect": "inspect LUT",
    "inspect, with a page": "inspect LUT --page OUT.html",
    "identify": "identify LUT",
    "split": "split LUT -o OUT/",
    "compare, with itself": "compare LUT LUT",
    "compare, another of 256": "compare LUT OTHER",
    "compare, one of 33": "compare LUT SMALL",
    "compare, with a page": "compare LUT OTHER --page OUT.html",
    "apply, to a still": "apply LUT STILL OUT.png",
    "apply, to a clip": "apply LUT CLIP OUT.mkv --codec ffv1",
    "sheet": "sheet LUT STILL OUT.png",
    "levels": "levels --curve ACEScct --lut LUT",
    "levels, with a card": "levels --curve ACEScct --lut LUT --card OUT.png",
    "convert, to a .cube of 65": "convert LUT OUT.cube --size 65",
    "convert, to exact digits": "convert LUT OUT.cube --exact",
    "convert, to CLF": "convert LUT OUT.clf",
    "verify, health": "verify health.toml",
    "verify, invariants": "verify invariants.toml",
    "verify, reference": "verify reference.toml",
    "verify, levels": "verify levels.toml",
    "verify, recording a baseline": "verify baseline.toml --record",
    "verify, a baseline": "verify recorded.toml",
    "verify, recording a whole baseline": "verify whole_new.toml --record",
    "verify, a whole baseline": "verify whole.toml",
    "verify, as written": "verify written.toml",
    "verify, bytes": "verify bytes.toml",
    "verify, a picture": "verify picture.toml",
    "build": "build RECIPE -o OUT/",
    "convert, of CRLF text": "convert CRLF OUT.cube --size 65",
    "bench": "bench LUT --source-curve ACEScct --source-gamut ACEScg -o OUT.html",
    "display calibrate, behind it": "display calibrate READINGS --behind LUT -o OUT.cube",
    "rework chain": "rework chain LUT SMALL -o OUT.cube",
    "rework invert": "rework invert LUT -o OUT.cube",
    "rework resample": "rework resample LUT 65 -o OUT.cube",
    "rework resample, one of 33": "rework resample SMALL 256 -o OUT.cube",
    "rework range": "rework range LUT --source-range legal -o OUT.cube",
    "rework range, of the output": "rework range LUT --target-range legal -o OUT.cube",
    "rework repair": "rework repair LUT -o OUT.cube",
    "rework strength": "rework strength LUT 0.5 -o OUT.cube",
    "rework blend": "rework blend LUT OTHER 0.5 -o OUT.cube",
    "rework neutral": "rework neutral LUT -o OUT.cube",
}


@dataclass
class Run:
    """How a process ended."""

    status: int
    wall: float
    busy: float
    mib: float
    drawn: int
    """Times that something was drawn on the terminal."""
    after: float
    """Seconds from the interrupt to the end."""
    last: str


RECIPE = """
size = 256
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "large"
"""


def prepare(folder: Path, size: int) -> None:
    """Make the files that commands read."""
    words = "ACEScct, ACEScg to BT.1886, BT.709"
    lut = lb.build(words, size=size, tone="shoulder")
    write_cube(lut, folder / "large.cube")
    noise = np.random.default_rng(5).standard_normal(lut.table.shape)
    write_cube(lb.Lut3D(np.clip(lut.table + 0.002 * noise, 0, 1)), folder / "other.cube")
    write_cube(lb.build(words, size=33), folder / "small.cube")
    picture = np.random.default_rng(6).integers(0, 255, (270, 480, 3), np.uint8)
    write_still(Still(picture, ("R", "G", "B"), "8"), folder / "still.png")
    shown = patch_set("short")
    write_readings(folder / "readings.csv", shown, ADDITIVE["gamma 2.2"].xyz(shown.signal))
    after = Still(picture // 2 + 30, ("R", "G", "B"), "8")
    write_still(after, folder / "after.png")
    write_still(after, folder / "shown.png")
    write_still(draw_chart(9, 960, 540), folder / "chart.png")
    write_small_clip(folder / "clip.mkv", (np.roll(picture, at, 1) for at in range(24)))
    text = (folder / "large.cube").read_bytes()
    (folder / "crlf.cube").write_bytes(text.replace(b"\n", b"\r\n"))
    kept = record_table("large.cube", lut, Encoding(AcesCct(), ACES_AP1))
    (folder / "held.csv").write_text(format_table(kept))
    (folder / "held.cube").write_bytes(format_lut("large.cube", lut))
    (folder / "recipe.toml").write_text(RECIPE.replace("256", str(size)))
    for name, check in SUITES.items():
        text = check.replace("LUT", "large.cube").replace("OTHER", "other.cube")
        (folder / f"{name.replace(' ', '_')}.toml").write_text(
            f'[[check]]\nname = "{name}"\n{text}\n'
        )


FILES = {
    "LUT": "large.cube",
    "OTHER": "other.cube",
    "SMALL": "small.cube",
    "STILL": "still.png",
    "AFTER": "after.png",
    "CHART": "chart.png",
    "CLIP": "clip.mkv",
    "CRLF": "crlf.cube",
    "RECIPE": "recipe.toml",
    "READINGS": "readings.csv",
}


def run(words: str, folder: Path, interrupt_after: float | None = None) -> Run:
    """Run a command in `folder`, its standard error a terminal; SIGINT after some seconds."""
    args = [FILES.get(each, each.replace("OUT", "out")) for each in words.split()]
    master, slave = pty.openpty()
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "lutbench", *args],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=slave,
        # A shell in the background has it ignored.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    os.close(slave)
    drawn, seen, sent = 0, b"", 0.0
    for part in _drawn(master, process):
        if part:
            drawn, seen = drawn + 1, (seen + part)[-4000:]
        passed = time.monotonic() - began
        if interrupt_after is not None and not sent and passed > interrupt_after:
            process.send_signal(signal.SIGINT)
            sent = time.monotonic()
    _, status, usage = os.wait4(process.pid, 0)
    os.close(master)
    process.returncode = os.waitstatus_to_exitcode(status)
    now = time.monotonic()
    last = seen.decode("utf-8", "replace").strip().split("\r")[-1].strip()
    busy = usage.ru_utime + usage.ru_stime
    mib = usage.ru_maxrss / 1024
    after = now - sent if sent else 0.0
    return Run(process.returncode, now - began, busy, mib, drawn, after, last)


def _drawn(master: int, process: subprocess.Popen[bytes]) -> Iterator[bytes]:
    """What a process draws on its terminal, or nothing each tenth of a second, until it ends.

    One that does not end is killed after `HANGS` seconds.
    """
    until = time.monotonic() + HANGS
    while True:
        if time.monotonic() > until:
            process.kill()
        ready, _, _ = select.select([master], [], [], 0.1)
        try:
            part = os.read(master, 65536) if ready else b""
        except OSError:  # Linux says so when the last end of the terminal is closed
            return
        yield part


def left(folder: Path) -> list[str]:
    """Files that hide in a folder or its output."""
    return [str(each) for each in folder.rglob(".*") if each.is_file()]


def clean(folder: Path) -> None:
    """Remove what a command wrote."""
    for each in folder.glob("out*"):
        shutil.rmtree(each) if each.is_dir() else each.unlink()
    for each in folder.glob("kept*"):
        each.unlink()


def judged(name: str, words: str, folder: Path, interrupts: bool) -> tuple[str, bool]:
    """A row of the table for a command, and whether all is as it should be."""
    done = run(words, folder)
    clean(folder)
    told = done.status in (0, 1) or (done.status == 2 and "accepted" in done.last)
    if not interrupts:
        good = told and done.mib <= MOST_MIB and done.drawn > 2
        row = f"| {name} | {done.busy:.0f} | {done.mib:.0f} | {'yes' if done.drawn > 2 else 'NO'} "
        return f"{row}| | {'' if told else done.last[-60:]}{'' if good else ' ✗'} |", good
    cut = run(words, folder, interrupt_after=done.wall / 2)
    strays = left(folder)
    clean(folder)
    interrupted = cut.status == 130 and cut.after < SOON and not strays
    good = told and done.mib <= MOST_MIB and done.drawn > 2 and interrupted
    row = (
        f"| {name} | {done.busy:.0f} | {done.mib:.0f} | {'yes' if done.drawn > 2 else 'NO'} "
        f"| {cut.after:.1f} | {'' if told else done.last[-60:]}{'' if good else ' ✗'} |"
    )
    if not interrupted:
        row += f" status {cut.status}, left {strays}"
    return row, good


def main() -> int:
    """Print a line for each command."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--size", type=int, default=256)
    parser.add_argument("--only", nargs="*", default=[*COMMANDS], choices=[*COMMANDS])
    parser.add_argument("--once", action="store_true", help="without the interrupts")
    parser.add_argument("--folder", type=Path, help="keep the files that are read here")
    parser.add_argument("--markdown", type=Path, help="write the table to this file as well")
    wishes = parser.parse_args()
    rows = ["| command | processor s | MiB | progress | ends after Ctrl-C, s | |", "|---" * 6 + "|"]
    bad = 0
    with tempfile.TemporaryDirectory() as made:
        folder = wishes.folder or Path(made)
        if not (folder / "recipe.toml").exists():
            folder.mkdir(exist_ok=True)
            prepare(folder, wishes.size)
        for name in wishes.only:
            row, good = judged(name, COMMANDS[name], folder, not wishes.once)
            bad += not good
            rows.append(row)
            print(row, flush=True)
    if wishes.markdown is not None:
        wishes.markdown.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return 1 if bad else 0


if __name__ == "__main__":
    raise SystemExit(main())
