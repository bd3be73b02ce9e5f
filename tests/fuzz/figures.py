"""Files that are valid in syntax and hostile in their numbers: LUTs of both formats, and CDLs.

Everything comes from one generator of random numbers, so that a case is its seed.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Random = np.random.Generator

LARGEST = 3.4e38
SMALLEST = 1e-45
"""The ends of float32, and a subnormal number of it."""

NUMBERS = (
    *(0.0, -0.0, 1.0, -1.0, 0.5, 0.18, 1e-7, 1e-15, SMALLEST, 1e-310, 2.0**-24),
    *(LARGEST, -LARGEST, 1e30, -1e30, 1e12, 65504.0, 65520.0, 1023.0, 1 + 1e-15, 1 - 1e-16),
)


def number(rng: Random) -> float:
    """A hostile number, or one of any magnitude."""
    if rng.random() < 0.6:
        return float(rng.choice(NUMBERS))
    return float(rng.choice([-1, 1, 1]) * 10.0 ** rng.uniform(-45, 38))


# --- tables, from the identity: nodes (n, n, n, 3) or rows (n, 3) -----------------------


def _constant(x: Array, rng: Random) -> Array:
    return np.full_like(x, number(rng))


def _nearly_constant(x: Array, rng: Random) -> Array:
    return 0.5 + 10.0 ** rng.uniform(-17, -5) * rng.normal(size=x.shape)


def _folded(x: Array, rng: Random) -> Array:
    return np.asarray(1 - np.abs(2 * x - 1))


def _permuted(x: Array, rng: Random) -> Array:
    return rng.permutation(x.reshape(-1, 3)).reshape(x.shape)


def _falling(x: Array, rng: Random) -> Array:
    return 1 - x


def _of_any_size(x: Array, rng: Random) -> Array:
    return np.asarray(rng.choice([-1, 1], x.shape) * 10.0 ** rng.uniform(-44, 38, x.shape))


def _one_number(x: Array, rng: Random) -> Array:
    out = x.copy().reshape(-1)
    out[rng.integers(out.size)] = number(rng)
    return out.reshape(x.shape)


def _some_numbers(x: Array, rng: Random) -> Array:
    out = x.copy().reshape(-1)
    for at in rng.integers(0, out.size, int(rng.integers(2, 12))):
        out[at] = number(rng)
    return out.reshape(x.shape)


def _scaled(x: Array, rng: Random) -> Array:
    return x * number(rng) + (number(rng) if rng.random() < 0.3 else 0.0)


def _one_bit(x: Array, rng: Random) -> Array:
    return np.asarray((x > rng.uniform(0, 1)).astype(float))


def _one_channel(x: Array, rng: Random) -> Array:
    out = x.copy()
    out[..., int(rng.integers(3))] = number(rng)
    return out


def _grey(x: Array, rng: Random) -> Array:
    return np.repeat(x.mean(axis=-1, keepdims=True), 3, axis=-1)


def _plateau(x: Array, rng: Random) -> Array:
    return np.asarray(np.clip((x - rng.uniform(0, 1)) * 10.0 ** rng.uniform(0, 6), 0, 1))


def _noise(x: Array, rng: Random) -> Array:
    return rng.normal(size=x.shape) * 10.0 ** rng.uniform(-3, 3)


def _swapped(x: Array, rng: Random) -> Array:
    return x[..., rng.permutation(3)]


def _log(x: Array, rng: Random) -> Array:
    return np.asarray(np.log10(x * 10.0 ** rng.uniform(0, 12) + 1e-12))


def _power(x: Array, rng: Random) -> Array:
    return np.asarray(x ** (10.0 ** rng.uniform(-3, 3)))


def _mixed(x: Array, rng: Random) -> Array:
    return np.asarray(x @ (rng.normal(size=(3, 3)) * 10.0 ** rng.uniform(-2, 2)))


TABLES: tuple[Callable[[Array, Random], Array], ...] = (
    *(_constant, _nearly_constant, _folded, _permuted, _falling, _of_any_size, _one_number),
    *(_some_numbers, _scaled, _one_bit, _one_channel, _grey, _plateau, _noise, _swapped),
    *(_log, _power, _mixed),
)


def table(rng: Random, shape: tuple[int, ...]) -> Array:
    """A table of one kind, or of two one after the other; the numbers fit float32."""
    axes = np.meshgrid(*(np.linspace(0, 1, size) for size in shape), indexing="ij")
    x = np.stack(axes[::-1] if len(axes) == 3 else [axes[0]] * 3, axis=-1)
    for kind in rng.integers(0, len(TABLES), 1 + int(rng.random() < 0.4)):
        with np.errstate(all="ignore"):
            x = np.nan_to_num(TABLES[kind](x, rng), nan=0.0, posinf=LARGEST, neginf=-LARGEST)
    return np.clip(x, -LARGEST, LARGEST)


# --- files ---------------------------------------------------------------------------


def cube(rng: Random, nodes: int | None = None) -> str:
    """A .cube file: 1D, 3D, or a shaper before a 3D LUT, of so many nodes where told."""
    form = str(rng.choice(["1d", "3d", "3d", "3d", "both"]))
    lines: list[str] = []
    rows: list[Array] = []
    if form != "3d":
        size = int(rng.choice([2, 3, 16, 257, 1024]))
        lines.append(f"LUT_1D_SIZE {size}")
        rows.append(table(rng, (size,)).reshape(-1, 3))
    if form != "1d":
        size = int(rng.choice([2, 2, 3, 4, 5, 9, 17], p=[0.2, 0.2, 0.2, 0.1, 0.15, 0.1, 0.05]))
        size = nodes or size
        lines.append(f"LUT_3D_SIZE {size}")
        rows.append(table(rng, (size,) * 3).reshape(-1, 3))
    if rng.random() < 0.3:
        low, high = _domain(rng, channels=3)
        lines += [f"DOMAIN_{key} {_row(ends)}" for key, ends in (("MIN", low), ("MAX", high))]
    body = "\n".join(_row(row) for part in rows for row in part)
    return "\n".join([*lines, body]) + "\n"


def _domain(rng: Random, channels: int) -> tuple[Array, Array]:
    """Ends of a domain in the right order, however near or far."""
    base = rng.choice([0.0, 0.5, -1.0, 1e30, -LARGEST, 1e-310])
    low = np.full(channels, base)
    if rng.random() < 0.3:
        low = low + rng.uniform(-0.1, 0.1, channels)
    for width in (float(rng.choice([1e-15, 1e-300, 1e-7, 1.0, 100.0, 1e38])), 1.0, 1e38):
        high = low + width
        if (high > low).all():
            return low, np.minimum(high, LARGEST)
    raise AssertionError("no domain is so far out")


def _row(values: Array) -> str:
    return " ".join(repr(float(value)) for value in values)


_CLF = '<ProcessList id="x" compCLFversion="3" xmlns="urn:AMPAS:CLF:v3.0">{nodes}</ProcessList>'
_NODE = '<{name} id="{id}" inBitDepth="32f" outBitDepth="32f"{more}>{body}</{name}>'


def clf(rng: Random, nodes: int | None = None) -> str:
    """A Common LUT Format file of one to four operators with extreme parameters."""
    lattice = partial(_lut3d, nodes=nodes)
    makers = (_matrix, _range, _exponent, _log_node, _asc_cdl, _lut1d, lattice)
    chosen = rng.integers(0, len(makers), int(rng.integers(1, 5)))
    made = [makers[kind](rng, f"n{at}") for at, kind in enumerate(chosen)]
    return _CLF.format(nodes="".join(made))


def _node(name: str, id_: str, body: str, more: str = "") -> str:
    return _NODE.format(name=name, id=id_, body=body, more=more)


def _matrix(rng: Random, id_: str) -> str:
    columns = int(rng.choice([3, 4]))
    values = [
        [number(rng) if rng.random() < 0.5 else float(i == j) for j in range(columns)]
        for i in range(3)
    ]
    if rng.random() < 0.2:
        values[1] = values[0]
    body = "\n".join(" ".join(map(repr, row)) for row in values)
    return _node("Matrix", id_, f'<Array dim="3 {columns}">{body}</Array>')


def _range(rng: Random, id_: str) -> str:
    low, width = number(rng), abs(number(rng)) or 1.0
    out, span = number(rng), abs(number(rng))
    parts = [("minInValue", low), ("maxInValue", low + width)]
    parts += [("minOutValue", out), ("maxOutValue", out + span)]
    body = "".join(f"<{key}>{value!r}</{key}>" for key, value in parts)
    return _node("Range", id_, body)


def _exponent(rng: Random, id_: str) -> str:
    style = str(rng.choice(["basicFwd", "basicRev", "basicMirrorFwd", "basicPassThruRev"]))
    value = float(rng.choice([0.01, 1e-5, 100.0, 2.2, 1.0]))
    more = f' style="{style}"'
    return _node("Exponent", id_, f'<ExponentParams exponent="{value!r}"/>', more)


def _log_node(rng: Random, id_: str) -> str:
    style = str(rng.choice(["log10", "antiLog10", "log2", "antiLog2", "linToLog", "logToLin"]))
    keys = ("linSideSlope", "linSideOffset", "logSideSlope", "logSideOffset")
    given = " ".join(f'{key}="{number(rng)!r}"' for key in keys)
    base = float(rng.choice([2.0, 10.0, 1.0000001, 1e-5, 1e30]))
    body = f'<LogParams base="{base!r}" {given}/>' if "To" in style else ""
    return _node("Log", id_, body, f' style="{style}"')


def _asc_cdl(rng: Random, id_: str) -> str:
    style = str(rng.choice(["Fwd", "Rev", "FwdNoClamp", "RevNoClamp"]))
    return _node("ASC_CDL", id_, _sop(rng), f' style="{style}"')


def _sop(rng: Random) -> str:
    slope, offset, power = ([number(rng) for _ in range(3)] for _ in range(3))
    slope, power = [abs(x) for x in slope], [abs(x) or 1.0 for x in power]
    if rng.random() < 0.4:
        power = [1.0, 1.0, 1.0]
    rows = zip(("Slope", "Offset", "Power"), (slope, offset, power), strict=True)
    body = "".join(f"<{name}>{_row(np.array(row))}</{name}>" for name, row in rows)
    saturation = abs(number(rng)) if rng.random() < 0.5 else 1.0
    return f"<SOPNode>{body}</SOPNode><SatNode><Saturation>{saturation!r}</Saturation></SatNode>"


def _lut1d(rng: Random, id_: str) -> str:
    size = int(rng.choice([2, 3, 33]))
    body = "\n".join(map(_row, table(rng, (size,)).reshape(-1, 3)))
    return _node("LUT1D", id_, f'<Array dim="{size} 3">{body}</Array>')


def _lut3d(rng: Random, id_: str, nodes: int | None = None) -> str:
    size = int(rng.choice([2, 3, 5]))
    size = nodes or size
    body = "\n".join(map(_row, table(rng, (size,) * 3).reshape(-1, 3)))
    return _node("LUT3D", id_, f'<Array dim="{size} {size} {size} 3">{body}</Array>')


def cdl(rng: Random, nodes: int | None = None) -> str:
    """A .cc file: one ASC CDL."""
    return f'<ColorCorrection id="x" xmlns="urn:ASC:CDL:v1.2">{_sop(rng)}</ColorCorrection>'
