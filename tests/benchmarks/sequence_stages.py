"""A 4K frame of a sequence: `apply`'s own way beside a plain read and write by OpenImageIO.

    python tests/benchmarks/sequence_stages.py [ROUNDS]

A 3840×2160 photograph as 10-bit DPX and as half-float OpenEXR (ZIP, and without
compression), a LUT of 33 nodes, one thread. The peer reads the pixels and writes them
again with the same library, format and compression. Both take turns, in one process;
processor time, the least of the rounds.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
from skimage import data

from lutbench.media.still.still import Still, apply_to_still, read_still, write_still
from lutbench.tables.lut import Lut3D

WIDTH, HEIGHT = 3840, 2160


def photograph(half: bool) -> Still:
    picture = np.tile(data.coffee(), (6, 7, 1))[:HEIGHT, :WIDTH]
    if half:
        return Still((picture / 255).astype(np.float16), ("R", "G", "B"), "half")
    return Still(picture.astype(np.uint16) * 4, ("R", "G", "B"), "10")


def read_and_write(source: Path, target: Path) -> None:
    """What OpenImageIO does by itself: the pixels in their own type, all that is said of them."""
    reader = oiio.ImageInput.open(str(source))
    spec = reader.spec()
    pixels = reader.read_image(0, 0, 0, spec.nchannels, spec.format)
    reader.close()
    writer = oiio.ImageOutput.create(str(target))
    writer.open(str(target), spec)
    writer.write_image(pixels)
    writer.close()


def least(calls: dict[str, Callable[[], object]], rounds: int) -> dict[str, float]:
    """Processor seconds of each call."""
    best = dict.fromkeys(calls, np.inf)
    for _ in range(rounds):
        for name, call in calls.items():
            begin = time.process_time()
            call()
            best[name] = min(best[name], time.process_time() - begin)
    return best


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    oiio.attribute("threads", 1)
    lut = Lut3D(Lut3D.identity(33).table ** 1.3)
    print("| frame | read and written, ms | through a LUT, ms | times |\n|---|---:|---:|---:|")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for title, suffix, compression in (
            ("DPX, 10 bit", ".dpx", ""),
            ("OpenEXR, half, ZIP", ".exr", "zip"),
            ("OpenEXR, half, not compressed", ".exr", "none"),
        ):
            source = folder / f"source{suffix}"
            write_still(photograph(suffix == ".exr"), source, force=True)
            if compression:
                again = oiio.ImageBuf(str(source))
                again.specmod().attribute("compression", compression)
                again.write(str(source))
            plain, through = folder / f"plain{suffix}", folder / f"through{suffix}"
            calls: dict[str, Callable[[], object]] = {
                "plain": lambda s=source, t=plain: read_and_write(s, t),
                "through": lambda s=source, t=through: write_still(
                    apply_to_still(lut, read_still(s)), t, force=True
                ),
            }
            times = least(calls, rounds)
            ratio = times["through"] / times["plain"]
            told = " | ".join(f"{1e3 * each:.0f}" for each in times.values())
            print(f"| {title} | {told} | {ratio:.2f} |", flush=True)


if __name__ == "__main__":
    main()
