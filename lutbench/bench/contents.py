"""The contents of a bench, and the data that the page reads; `web/src/types.ts` has their types."""

from __future__ import annotations

import math
from base64 import b64encode
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from lutbench import __version__
from lutbench.bench.packing import packed_floats, packed_lut
from lutbench.bench.stills import BenchStill
from lutbench.bench.tabulated import tabulated
from lutbench.bench.views import view_data, view_name
from lutbench.exposure.levels import levels
from lutbench.inspection.inspection import inspect
from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import MID_GREY
from lutbench.model.false_colour import FalseColour
from lutbench.model.gamuts import BT709, conversion
from lutbench.model.signal import Range, SignalFromRange
from lutbench.model.transforms import Transform

SCHEMA = 1

LIGHT_SIZE = 4097
"""Values of a curve in the page. Linear interpolation is within 4e-7 of a log curve's light."""

GREY_STOPS = (-12.0, math.log2(1 / MID_GREY))
"""Stops between which false colour shows grey: from black to full white."""
GREY_ROWS = 513
"""Rows of the grey curve of false colour: about thirty per stop, finer than 8 bits can show."""


@dataclass(frozen=True)
class Item:
    """A LUT of the set.

    `source` is the encoding that it expects, or None if unknown; `target` is the encoding of its
    output, if known. LUTs of one `ladder` differ only in `exposure` (stops brighter).
    """

    name: str
    title: str
    lut: Transform
    source: Encoding | None = None
    target: Encoding | None = None
    source_range: Range = "full"
    target_range: Range = "full"
    exposure: float = 0.0
    ladder: int | None = None
    file: str | None = None


@dataclass(frozen=True)
class BenchSet:
    """All that a bench is made of; `source_from` says how the source is known."""

    title: str
    items: tuple[Item, ...]
    source: Encoding | None = None
    source_from: str = ""
    false_colour: FalseColour | None = None
    stills: tuple[BenchStill, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass
class Packer:
    """Turns sets into data, and reuses the entries of LUTs that have not changed."""

    kept: dict[Any, dict[str, Any]] = field(default_factory=dict)

    def data(self, bench: BenchSet, keys: dict[str, Any] | None = None) -> dict[str, Any]:
        """The set as the page reads it; an entry is reused while its key in `keys` is the same."""
        keys = keys or {}
        used: dict[Any, dict[str, Any]] = {}
        entries = []
        for item in bench.items:
            key = (item.name, keys.get(item.name, id(item)))
            used[key] = self.kept.get(key) or _entry(item)
            entries.append(used[key] | {"ladder": item.ladder})
        self.kept = used
        views = {name: view_data(end) for item in bench.items if (end := item.target) is not None
                 if (name := view_name(end))}  # fmt: skip
        return {
            "schema": SCHEMA,
            "version": __version__,
            "title": bench.title,
            "sources": [_source(bench.source, bench.source_from)] if bench.source else [],
            "luts": entries,
            "views": views,
            "false_colour": _false_colour(bench.false_colour),
            "stills": [
                {"name": each.name, "note": each.note, "png": b64encode(each.png).decode("ascii")}
                for each in bench.stills
            ],
            "notes": list(bench.notes),
            "live": None,
        }


def _source(source: Encoding, source_from: str) -> dict[str, Any]:
    values = np.linspace(0, 1, LIGHT_SIZE)
    signal = SignalFromRange(source.range, source.bits).apply(np.repeat(values[:, None], 3, 1))
    light = source.curve.decode(signal[:, 0])
    return {
        "curve": source.curve.name,
        "gamut": source.gamut.name,
        "range": source.range,
        "ends": list(source.curve.ends),
        "told": source_from,
        "light": {"size": LIGHT_SIZE, "table": packed_floats(light).to_data()},
        "luminance": list(source.gamut.luminance_weights),
        "from_bt709": conversion(BT709, source.gamut).apply(np.eye(3)).T.tolist(),
        "levels": levels(source.curve).to_data(),
    }


def _entry(item: Item) -> dict[str, Any]:
    bench_table = tabulated(item.lut)
    packed = packed_lut(bench_table.table)
    source, target = item.source, item.target
    found = inspect(
        item.lut,
        source_curve=source.curve if source else None,
        source_gamut=source.gamut if source else None,
        source_range=item.source_range,
        target_range=item.target_range,
        target_curve=target.curve if target else None,
        target_gamut=target.gamut if target else None,
    )
    day = None
    if source is not None:
        day = levels(
            source.curve,
            item.lut,
            lut_name=item.name,
            source_range=item.source_range,
            target_range=item.target_range,
        )
    return {
        "name": item.name,
        "title": item.title,
        "type": bench_table.table.kind,
        "source": None if source is None else 0,
        "source_range": item.source_range,
        "target_range": item.target_range,
        "target": None
        if target is None
        else {"curve": target.curve.name, "gamut": target.gamut.name},
        "ladder": item.ladder,
        "exposure": item.exposure,
        "curve": packed.curve,
        "lattice": packed.lattice,
        "held": bench_table.held,
        "packing_error": packed.error,
        "sampling_error": bench_table.error,
        "view": None if target is None else view_name(target),
        "inspection": found.to_data() | {"file": item.file},
        "levels": None if day is None else day.to_data(),
    }


def _false_colour(task: FalseColour | None) -> dict[str, Any] | None:
    if task is None:
        return None
    stops = np.linspace(*GREY_STOPS, GREY_ROWS)
    grey = np.clip(task.grey.encode(np.minimum(MID_GREY * 2.0**stops, 1.0)), 0, 1)
    return {
        "name": "false colour",
        "bands": [
            {
                "low": each.low if math.isfinite(each.low) else None,
                "high": each.high if math.isfinite(each.high) else None,
                "colour": each.colour,
                "label": each.label,
                "clips": each.clips,
            }
            for each in task.bands
        ],
        "exposure": task.exposure,
        "clips_from": task.clips_from,
        "grey": {
            "from": GREY_STOPS[0],
            "to": GREY_STOPS[1],
            "size": GREY_ROWS,
            "table": packed_floats(grey).to_data(),
        },
    }
