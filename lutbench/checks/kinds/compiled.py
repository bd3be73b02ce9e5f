"""The kind `compiled`: the compiled loops over pixels give the right values on this processor.

Running it compiles them, which is done once for each machine and version.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.judging import verdict
from lutbench.checks.limits import CheckFigure
from lutbench.tables.programs import (
    CURVE,
    TETRAHEDRAL,
    TRILINEAR,
    TYPES,
    Step,
    clamp_step,
    code_peak,
    matrix_step,
    power_step,
    program,
    table_step,
)

RANDOM_SEED = 3
"""Any number: the test values are the same each time."""

PIXELS = 1000
"""Three whole blocks of the kernel, and a part of one."""

SIZE = (16, 64)
"""Lines and columns of a small picture."""

CHROMA = ((1, 1), (2, 1), (2, 2))
"""Luma samples per chroma sample on a line, and lines: 4:4:4, 4:2:2 and 4:2:0."""

ROUNDING_LIMIT_SIGNAL = 1e-6
"""Signal: eight roundings of float32 between 1 and 2, of 1.2e-7 each."""

HALF_CODE_SIGNAL = 0.5 / 876
"""Signal: half a 10-bit code of legal range."""


@dataclass(frozen=True, kw_only=True)
class CompiledCheck(Check):
    """The compiled loops: LUTs against numpy, Y'CbCr against Recommendation ITU-R BT.709."""

    kind: ClassVar[str] = "compiled"

    def run(self, context: Context) -> CheckResult:
        return verdict([_tables(), *_planes(), _counts()])


def _tables() -> CheckFigure:
    """The number of values that the kernel and numpy do not have in common."""
    from lutbench.tables import kernels, plain

    rng = np.random.default_rng(RANDOM_SEED)
    kernel, off, count = kernels.runner(np.float32), 0, 0
    for step, one, two in itertools.product(_steps(rng), TYPES[:-1], TYPES[:-1]):
        pixels, (found, wanted) = _pixels(rng, one), np.empty((2, PIXELS, 3), two)
        prepared = program([step], np.float32, code_peak(pixels.dtype))
        plain.run(pixels, wanted, prepared, code_peak(two))
        ends = kernels.where(pixels), kernels.where(found)
        arrays = prepared.ops, prepared.params, prepared.pool
        kernel(*ends, *arrays, code_peak(two), 0, PIXELS)
        off += int((~np.isclose(found, wanted, rtol=0, atol=0, equal_nan=True)).sum())
        count += found.size
    return CheckFigure("tables", off, 0, f"of {count} values, not as in numpy:")


def _steps(rng: np.random.Generator) -> Iterator[Step]:
    """A step of each kind, the tables in each way of finding a place in them."""
    for low, size in ((0.0, 33), (0.0, 20), (-0.1, 20)):
        domain = np.array([[low] * 3, [1.0] * 3])
        yield table_step(CURVE, rng.random((size, 3)), domain)
        for lattice in (TETRAHEDRAL, TRILINEAR):
            yield table_step(lattice, rng.random((size, size, size, 3)), domain)
    yield matrix_step(rng.random((3, 3)), (0.1, 0.0, -0.1))
    yield clamp_step(0.1, 0.8)
    yield power_step((0.45, 1.0, 2.4))


def _pixels(rng: np.random.Generator, kind: str) -> NDArray[Any]:
    pixels = rng.uniform(-0.2, 1.2, (PIXELS, 3))
    pixels[0] = np.nan
    if np.dtype(kind).kind == "u":
        pixels = np.clip(np.nan_to_num(pixels), 0, 1) * code_peak(kind)
    return pixels.astype(kind)


def _planes() -> list[CheckFigure]:
    """How far R G B is off the Recommendation, and codes after the way to R G B and back."""
    from lutbench.media.clip.ycbcr import Coding, planes_from_rgb, rgb_from_planes

    rng = np.random.default_rng(RANDOM_SEED)
    off, moved = 0.0, 0
    for bits, (across, down) in itertools.product((8, 10), CHROMA):
        coding = Coding("BT.709", "legal", bits, across, down)
        kind, unit = (np.uint8, 1) if bits == 8 else (np.uint16, 4)
        shape = coding.chroma_shape(*SIZE)
        y: NDArray[Any] = rng.integers(16 * unit, 235 * unit + 1, SIZE).astype(kind)
        # Chroma is the same everywhere, so that filters along lines and columns leave it alone.
        for cb, cr in rng.integers(16 * unit, 240 * unit + 1, (PIXELS // 100, 2)):
            planes = y, np.full(shape, cb, kind), np.full(shape, cr, kind)
            rgb = rgb_from_planes(*planes, SIZE[1], coding)
            light = (y / unit - 16.0) / 219
            blue, red = (cb / unit - 128.0) / 224, (cr / unit - 128.0) / 224
            wanted = np.stack([light + 1.5748 * red, light, light + 1.8556 * blue], axis=-1)
            wanted[..., 1] -= (0.2126 * 1.5748 * red + 0.0722 * 1.8556 * blue) / 0.7152
            off = max(off, float(np.abs(rgb - wanted).max()))
            back = [np.empty_like(plane) for plane in planes]
            planes_from_rgb(rgb, back[0], back[1], back[2], coding)
            moved += sum(int((a != b).sum()) for a, b in zip(planes, back, strict=True))
    return [
        CheckFigure("decoding", off, ROUNDING_LIMIT_SIGNAL, "Y'CbCr decoded, off by", "signal"),
        CheckFigure("codes", moved, 0, "codes that change on the way to R G B and back:"),
    ]


def _counts() -> CheckFigure:
    """How far the numbers of clipped pixels are off those that numpy counts."""
    from lutbench.media.clip.coding import ClipCoding
    from lutbench.media.clip.cuts import Cuts
    from lutbench.media.clip.ycbcr import Coding
    from lutbench.tables.lut import Lut3D

    rng = np.random.default_rng(RANDOM_SEED)
    rgb = rng.uniform(-0.2, 1.2, (3, *SIZE)).astype(np.float32)
    wide = Lut3D(2 * Lut3D.identity(2).table - 0.5)
    clip = ClipCoding(10, "legal", "BT.709", 2, 1, "left", False)
    cuts = Cuts(wide, clip, Coding("BT.709", "legal", 10, 2, 1))
    cuts.going_in(rgb)
    cuts.coming_out(rgb)
    y = np.tensordot((0.2126, 0.7152, 0.0722), rgb, 1)
    blue, red = (rgb[2] - y) / 1.8556, (rgb[0] - y) / 1.5748
    codes = np.stack([64 + 876 * y, 512 + 896 * blue, 512 + 896 * red])
    tests = rgb > 1 + HALF_CODE_SIGNAL, rgb < -HALF_CODE_SIGNAL, codes > 1019.5, codes < 3.5
    wanted = [int(test.any(axis=0).sum()) for test in tests]
    found = [cuts.over_domain, cuts.under_domain, cuts.over_codes, cuts.under_codes]
    off = int(np.abs(np.subtract(found, wanted)).sum())
    return CheckFigure("counts", off, 0, "numbers of clipped pixels, off by")
