"""Baselines: the recorded output of a transform, in a text file that is easy to compare.

A table of samples is a CSV file: a few hundred rows of test colours with their outputs to six
decimals, and for a 3D LUT the mean of each plane of nodes, so that no node can change
unnoticed. A whole LUT is a ``.cube`` file. Both hold the version that made them and a digest of
the rest; a file that does not match its digest is an error.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from lutbench import __version__, files
from lutbench.errors import FormatError
from lutbench.formats.cube import parse_cube
from lutbench.formats.cube_write import format_cube
from lutbench.given import printable
from lutbench.measure.samples import (
    SampledColours,
    chart_patches,
    neutral_ramp,
    nodes,
    random_points,
)
from lutbench.model.conversion import Encoding
from lutbench.model.signal import CODES_10_BIT
from lutbench.model.transforms import Array, Transform
from lutbench.tables.lut import Lut, Lut1D, Lut3D, ShaperLut3D
from lutbench.tables.nodes import domain_of

MAX_BYTES = 64 * 1024 * 1024
"""Bytes of the largest baseline that is read; usual ones have up to a few megabytes."""

HEAD = "# lutbench baseline 1"
CUBE_HEAD = "lutbench baseline 1"
COLUMNS = "what,r,g,b,r_out,g_out,b_out"

NEUTRALS = 65
"""Number of greys in a baseline: two between neighbouring nodes of a usual LUT."""

RANDOMS = 64
"""Number of colours between nodes in a baseline: they show a change of interpolation."""

RUNS = 33
"""Number of parts of a 1D table whose means are recorded: as many as a usual LUT has planes."""

GRID_NODES = 3
"""Nodes along an edge of the coarse grid in a baseline: its corners, edges and middles."""

LARGEST_VALUE = 1e30
"""Largest absolute value of a sample; far larger ones would overflow when rounded."""

UNCHANGED = (
    "an unchanged baseline; record it again with `lutbench verify --record --force`, "
    "in tests with `pytest --lutbench-replace`"
)
"""What is accepted in place of a baseline whose digest does not match."""

_DIGEST = re.compile(r"^# sha256: ([0-9a-f]{64})$")
_COMMENTS = re.compile(rb"^#.*\n?", re.MULTILINE)


@dataclass(frozen=True, eq=False)
class RecordedTable:
    """A recorded table of samples.

    `shape` is the kind and size of the LUT (``3D 33``, ``1D 1024``, ``none``). `means` are the
    means of parts of its table in 10-bit codes, shape (parts, 3) each: planes of nodes of a
    3D LUT by axis, runs of rows of a 1D LUT.
    """

    about: str
    shape: str
    samples: SampledColours
    outputs: Array
    means: dict[str, Array]


def baseline_colours(side: Transform, source: Encoding) -> SampledColours:
    """The few hundred colours to record: patches, neutrals, corners, random colours.

    They are rounded to six decimals, as in the file.
    """
    domain = domain_of(side)
    sets = (
        chart_patches(source, [0.0]),
        neutral_ramp(NEUTRALS, domain),
        replace(nodes(GRID_NODES, domain), name="corner"),
        random_points(RANDOMS, domain=domain),
    )
    labels = [each.label(i) or each.name for each in sets for i in range(len(each.signals))]
    return SampledColours(
        "baseline", np.round(np.concatenate([each.signals for each in sets]), 6), tuple(labels)
    )


def shape_of(side: Transform) -> str:
    """The kind and size of a LUT.

    >>> shape_of(Lut3D.identity(17))
    '3D 17'
    """
    match side:
        case Lut1D():
            return f"1D {side.size}"
        case Lut3D():
            return f"3D {side.size}"
        case ShaperLut3D():
            return f"1D {side.shaper.size} 3D {side.size}"
    return "none"


def part_means(side: Transform) -> dict[str, Array]:
    """The means of a LUT's planes of nodes or runs of rows in 10-bit codes, (parts, 3) each."""
    match side:
        case Lut1D():
            runs = np.array_split(side.table.astype(np.float64), min(side.size, RUNS))
            return {"rows": CODES_10_BIT * np.array([run.mean(axis=0) for run in runs])}
        case Lut3D():
            table = np.asarray(side.table, dtype=np.float64)
            across = {"plane r": (1, 2), "plane g": (0, 2), "plane b": (0, 1)}
            return {name: CODES_10_BIT * table.mean(axis=axes) for name, axes in across.items()}
        case ShaperLut3D():
            return part_means(side.shaper) | part_means(side.lut)
    return {}


def record_table(about: str, side: Transform, source: Encoding) -> RecordedTable:
    """The current output of `side`."""
    samples = baseline_colours(side, source)
    outputs = np.asarray(side.apply(samples.signals), dtype=np.float64)
    means = part_means(side)
    if not _recordable(outputs, *means.values()):
        raise FormatError(
            "gives values too large or NaN, which cannot be recorded",
            where=about,
            accepted=f"values within ±{LARGEST_VALUE:g}",
        )
    return RecordedTable(about, shape_of(side), samples, outputs, means)


def _recordable(*values: Array) -> bool:
    return all(bool((np.abs(each) < LARGEST_VALUE).all()) for each in values)


def format_table(table: RecordedTable) -> str:
    """The text of a table."""
    lines = [f"# subject: {printable(table.about)}", f"# lut: {table.shape}"]
    if table.means:
        lines.append("# plane and rows: means of parts of the table, 10-bit codes")
    lines.append(COLUMNS)
    for i, (given, out) in enumerate(zip(table.samples.signals, table.outputs, strict=True)):
        label = table.samples.label(i).replace(",", ";")
        lines.append(f"{label},{_six(given)},{_six(out)}")
    for part, means in table.means.items():
        lines += [
            f"{part},{at},,,{','.join(f'{value + 0:.5f}' for value in mean)}"
            for at, mean in enumerate(means)
        ]
    body = "\n".join(lines) + "\n"
    return f"{HEAD}\n# made by: lutbench {__version__}\n# sha256: {_sha(body)}\n{body}"


def read_table(path: Path) -> RecordedTable:
    """The table in the file `path`.

    Raises LutbenchError when the file cannot be read, is not a baseline, or is not as it was
    recorded.
    """
    where = str(path)
    try:
        text = files.read_bytes(path, limit=MAX_BYTES).decode("utf-8")
    except UnicodeDecodeError:
        raise FormatError("is not a baseline: it is not text", where=where) from None
    # A checkout may have changed the line ends.
    lines = text.replace("\r\n", "\n").split("\n")
    if lines[0] != HEAD:
        raise FormatError("is not a baseline", where=where, accepted=f"a file that begins {HEAD!r}")
    digest = _DIGEST.match(lines[2]) if len(lines) > 2 else None
    if digest is None:
        raise FormatError("has no digest", where=f"{where}:3", accepted="# sha256: 64 digits")
    if _sha("\n".join(lines[3:])) != digest[1]:
        raise FormatError(
            "was changed after it was recorded: its digest does not match",
            where=where,
            accepted=UNCHANGED,
        )
    return _parsed(lines[3:], where)


def _parsed(lines: Sequence[str], where: str) -> RecordedTable:
    header = {"subject": "", "lut": ""}
    labels: list[str] = []
    rows: list[list[float]] = []
    means: dict[str, list[list[float]]] = {}
    for number, line in enumerate(lines, 4):
        key, _, value = line.removeprefix("# ").partition(": ")
        if line.startswith("# ") and key in header:
            header[key] = value
        if not line or line.startswith("#") or line == COLUMNS:
            continue
        what, *cells = line.split(",")
        try:
            if len(cells) != 6:
                raise ValueError
            if cells[1:3] == ["", ""]:
                means.setdefault(what, []).append([float(cell) for cell in cells[3:]])
            else:
                rows.append([float(cell) for cell in cells])
                labels.append(what)
        except ValueError:
            raise FormatError("is not a row", where=f"{where}:{number}", accepted=COLUMNS) from None
    values = np.array(rows).reshape(-1, 2, 3)
    parts = {what: np.array(each) for what, each in means.items()}
    if not len(values) or not _recordable(values, *parts.values()):
        raise FormatError("holds no samples", where=where, accepted="a recorded baseline")
    samples = SampledColours("baseline", values[:, 0], tuple(labels))
    return RecordedTable(header["subject"], header["lut"], samples, values[:, 1], parts)


def format_lut(about: str, lut: Lut) -> bytes:
    """The bytes of a ``.cube`` file that holds `lut` as a baseline."""
    about = " ".join(about.split())
    notes = (CUBE_HEAD, f"subject: {about}", f"made by: lutbench {__version__}")
    plain = replace(lut, comments=())
    digest = hashlib.sha256(format_cube(plain)).hexdigest()
    return format_cube(replace(lut, comments=(*notes, f"sha256: {digest}")))


def read_baseline_lut(path: Path) -> Lut:
    """The LUT in a ``.cube`` baseline; errors as in `read_table`."""
    where = str(path)
    data = files.read_bytes(path, limit=512 * 1024 * 1024)
    lut = parse_cube(data, where).lut
    if CUBE_HEAD not in lut.comments:
        raise FormatError(
            "is not a baseline: it has no digest",
            where=where,
            accepted="a LUT recorded with `lutbench verify --record` (or a reference check)",
        )
    rest = _COMMENTS.sub(b"", data.replace(b"\r\n", b"\n"))
    if f"sha256: {hashlib.sha256(rest).hexdigest()}" not in lut.comments:
        raise FormatError(
            "was changed after it was recorded: its digest does not match",
            where=where,
            accepted=UNCHANGED,
        )
    return lut


def _six(values: Array) -> str:
    # Adding 0 turns -0 into 0.
    return ",".join(f"{value + 0:.6f}" for value in np.round(values, 6))


def _sha(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
