"""Valid files of every kind, made by the package itself: what the fuzzer damages."""

from __future__ import annotations

import sys
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from lutbench.checks import baselines
from lutbench.formats.cdl import Correction, format_cdl
from lutbench.formats.clf_write import format_clf
from lutbench.formats.cube_write import format_cube
from lutbench.formats.operators import Channels, Exponent, Log
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.grade import Cdl
from lutbench.model.transforms import Clamp, Matrix, Pipeline
from lutbench.tables.lut import Lut1D, Lut3D, ShaperLut3D

# The .cube files that the tests of that format damage.
sys.path.append(str(Path(__file__).parents[1] / "formats"))
from test_cube_properties import WHOLE as CUBES

DEFINITIONS: dict[str, Any] = {
    "curves": {
        "Tarn Log": {
            "kind": "log",
            "base": 10.0,
            "log_side_slope": 0.334,
            "log_side_offset": 0.6149,
            "lin_side_slope": 1.0,
            "lin_side_offset": 0.025,
            "lin_side_break": 0.005,
        },
        "Plain": {"kind": "power", "gamma": 2.2},
        "Rows": {"kind": "table", "light": [0.0, 0.1, 0.5, 1.0], "signal": [0.0, 0.3, 0.7, 1.0]},
        "Measured": {"kind": "table", "file": "curve.csv"},
    },
    "gamuts": {
        "Tarn Wide": {
            "primaries": [[0.735, 0.268], [0.155, 0.885], [0.105, -0.045]],
            "white": "D65",
            "source": "invented",
        },
        "Own white": {
            "primaries": [[0.64, 0.33], [0.3, 0.6], [0.15, 0.06]],
            "white": [0.31, 0.33],
        },
    },
}

_ENDS: dict[str, Any] = {
    "source": {"curve": "Tarn Log", "gamut": "Tarn Wide", "range": "full"},
    "target": {"curve": "BT.1886", "gamut": "BT.709", "range": "legal", "bits": 10},
}

RECIPES: list[dict[str, Any]] = [
    {
        "title": "Salt Road",
        "definitions": ["tarn.toml"],
        "profile": {"sizes": [2, 3, 5], "title_length": 40},
        **_ENDS,
        "size": 3,
        "lut": [
            {
                "name": "day/viewing",
                "title": "Day",
                "exposure": 0.5,
                "exposure_ladder": [-1, 0, 1],
                "tone": {"method": "shoulder", "contrast": 1.1, "white": 4.0, "toe": 0.3},
                "gamut": {"method": "compress", "power": 1.2, "thresholds": [0.8, 0.8, 0.9]},
                "look": {
                    "place": "after",
                    "saturation": 0.9,
                    "cdl": {
                        "slope": [1.0, 1.1, 0.9],
                        "offset": [0.0, 0.01, 0.0],
                        "power": [1.0, 1.0, 1.1],
                        "saturation": 1.1,
                        "clamp": True,
                    },
                },
                "white_balance": {"kelvin": 3200, "tint": 2.0, "balanced_for": 5600},
                "decimals": 7,
                "interpolation": "trilinear",
            },
            {"name": "tone", "kind": "curve", "dimensions": 1, "size": 5},
        ],
    },
    {
        "definitions": "tarn.toml",
        **_ENDS,
        "lut": [
            {"name": "bands", "kind": "false_colour", "size": 5, "bands": [
                {"low": -9.0, "high": 1.0, "colour": "orange", "label": "grey"},
                {"low": 1.0, "colour": "#0072B2"},
            ]},
            {"name": "hdr", "kind": "gamut", "size": 2, "shaper": {
                "curve": "ACEScct", "low": 0.0, "high": 16.0, "size": 64}},
            {
                "name": "peak",
                "size": 2,
                "clamp": False,
                "target": {"curve": "ST 2084", "gamut": "BT.2020"},
                "source": {"curve": "ST 2084", "gamut": "BT.2020", "white": 100},
                "tone": {"method": "eetf", "source_peak": 4000, "target_peak": 600},
                "white_balance": {"gains": [1.1, 1.0, 0.9]},
                "gamut": {"adaptation": "cat16"},
            },
            {
                "name": "hlg",
                "size": 2,
                "target": {"curve": "BT.2100 HLG", "gamut": "BT.2020", "display_peak": 600},
            },
        ],
    },
]  # fmt: skip

SUITE: dict[str, Any] = {
    "title": "Salt Road",
    "definitions": ["tarn.toml"],
    "check": [
        {
            "name": "same",
            "kind": "reference",
            "lut": "day.cube",
            "exact": "BT.709, BT.709 to BT.709, BT.709",
            "tags": ["fast"],
            "reason": "nothing moved",
            "limits": {"delta_e_2000": 0.1, "code_10bit_p95": 0.1},
            "colours": ["neutral"],
        },
        {"name": "recorded", "kind": "baseline", "lut": "day.cube", "baseline": "day.csv"},
        {"name": "whole", "kind": "baseline", "lut": "day.cube", "baseline": "whole.cube"},
        {
            "name": "holds",
            "kind": "invariants",
            "lut": "day.cube",
            "hold": ["neutral", "monotone", "within_range"],
            "limits": {"neutral": 0.5},
        },
        {"name": "bytes", "kind": "bytes", "lut": "recipe.toml#tone", "sha256": "0" * 64},
        {
            "name": "points",
            "kind": "curve",
            "curve": "BT.709",
            "points": [[0.0, 0.0], [1.0, 1.0]],
            "within": 1e-4,
        },
        {
            "name": "grey",
            "kind": "levels",
            "lut": "Tarn Log, Tarn Wide to BT.1886, BT.709; size=3",
            "points": [
                {"reflectance": 0.18, "percent": 41.0, "within": 60.0},
                {"stops": -1.0, "code": 300, "bits": 10, "range": "full"},
            ],
        },
    ],
}


def toml(data: dict[str, Any]) -> bytes:
    """`data` as TOML; every table within is written inline, which TOML allows for all."""
    return "".join(f"{_key(key)} = {_value(value)}\n" for key, value in data.items()).encode(
        "utf-8", "replace"
    )


def _key(key: str) -> str:
    return _text(key)


def _text(text: str) -> str:
    out = "".join(
        f"\\u{ord(c):04x}" if ord(c) < 32 or ord(c) == 127 else "\\" + c if c in '\\"' else c
        for c in text
    )
    return f'"{out}"'


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return _text(value) if isinstance(value, str) else repr(value).replace("'", "")


def curve_table() -> bytes:
    """A measured curve."""
    rows = "\n".join(f"{light},{light**0.45:.6f}" for light in (0.0, 0.05, 0.18, 0.5, 0.9, 1.0))
    return f"light,signal\n{rows}\n".encode()


def _corrections() -> list[Correction]:
    cdl = Cdl((1.1, 1.0, 0.9), (-0.03, 0.02, 0.0), (1.25, 1.0, 0.8), 1.3)
    return [Correction(cdl, "a", ("a look",)), Correction(Cdl(), "b")]


def _clf() -> list[bytes]:
    known = Catalogue()
    conversion = Conversion(
        Encoding(known.curve("ACEScct"), known.gamut("ACEScg"), "legal"),
        Encoding(known.curve("BT.1886"), known.gamut("BT.709")),
    )
    mixed = Pipeline(
        (
            Matrix(((0.7, 0.2, 0.1), (-0.1, 1.2, -0.1), (0.05, 0.15, 0.8)), (0.01, 0.0, -0.02)),
            Lut1D(np.linspace([0.0] * 3, [1.0, 0.9, 0.8], 5)),
            Clamp(),
            Lut3D.identity(2),
            Channels(Exponent(2.0), Log(10.0, 0.3, 0.6, 0.9, 0.1), None),
            Exponent(2.4, 0.055, "mirror", forward=False),
            Cdl((1.1, 1.0, 0.9), (-0.03, 0.02, 0.0), (1.25, 1.0, 0.8), 1.3),
        )
    )
    shaped = ShaperLut3D(
        Lut1D(np.linspace([0.0] * 3, [1.0] * 3, 5)), Lut3D.identity(2), title="Shaped"
    )
    return [format_clf(each, title="Day")[0] for each in (conversion.pipeline(), mixed, shaped)]


def _tables() -> tuple[bytes, bytes]:
    """A baseline as a table, and as a LUT."""
    day = Lut3D.identity(3, title="Day")
    known = Catalogue()
    source = Encoding(known.curve("BT.709"), known.gamut("BT.709"))
    table = baselines.record_table("day.cube", day, source)
    few = baselines.RecordedTable(
        table.about,
        table.shape,
        baselines.SampledColours("baseline", table.samples.signals[:12], table.samples.labels[:12]),
        table.outputs[:12],
        table.means,
    )
    return baselines.format_table(few).encode(), baselines.format_lut("day.cube", day)


def _pictures(folder: Path) -> dict[str, list[bytes]]:
    import OpenImageIO as oiio

    rng = np.random.default_rng(7)
    wanted = {
        "png": [(".png", "uint8", 3, {}), (".png", "uint16", 4, {}), (".png", "uint8", 1, {})],
        "jpeg": [
            (".jpg", "uint8", 3, {}),
            (".jpg", "uint8", 1, {}),
            (".jpg", "uint8", 3, {"jpeg:progressive": 1}),
        ],
        "tiff": [
            (".tif", "uint8", 3, {"compression": "none"}),
            (".tif", "uint16", 4, {"compression": "lzw"}),
            (".tif", "float", 3, {"compression": "zip"}),
            (".tif", "uint16", 3, {"oiio:BitsPerSample": 10}),
        ],
        "openexr": [
            (".exr", "half", 3, {"compression": "zip"}),
            (".exr", "float", 4, {"compression": "piz"}),
            (".exr", "half", 3, {"compression": "dwaa"}),
            (".exr", "half", 3, {"compression": "none"}),
        ],
        "dpx": [
            (".dpx", "uint16", 3, {"oiio:BitsPerSample": 10}),
            (".dpx", "uint8", 3, {}),
            (".dpx", "uint16", 4, {"oiio:BitsPerSample": 12}),
        ],
    }
    made: dict[str, list[bytes]] = {}
    for kind, variants in wanted.items():
        for suffix, depth, channels, attributes in variants:
            header = oiio.ImageSpec(13, 7, channels, depth)
            header.attribute("DateTime", "2026:01:01 00:00:00")
            for name, value in attributes.items():
                header.attribute(name, value)
            path = folder / f"made{suffix}"
            writer = oiio.ImageOutput.create(str(path))
            assert writer.open(str(path), header), writer.geterror()
            assert writer.write_image(rng.random((7, 13, channels), np.float32))
            writer.close()
            made.setdefault(kind, []).append(path.read_bytes())
    return made


def _clips(folder: Path) -> list[bytes]:
    import av

    made = []
    for codec, form in (("libx264", "yuv420p"), ("ffv1", "yuv444p10le")):
        path = folder / ("made.mov" if codec == "libx264" else "made.mkv")
        with av.open(str(path), "w") as container:
            stream = container.add_stream(codec, rate=25)
            stream.width, stream.height, stream.pix_fmt = 32, 16, form
            for index in range(3):
                pixels = np.full((16, 32, 3), 40 * index, np.uint8)
                frame = av.VideoFrame.from_ndarray(pixels, format="rgb24").reformat(format=form)
                container.mux(stream.encode(frame))
            container.mux(stream.encode())
        made.append(path.read_bytes())
    return made


def neighbours(folder: Path) -> None:
    """The files that others of the folder refer to."""
    table, whole = _tables()
    (folder / "tarn.toml").write_bytes(toml(DEFINITIONS))
    (folder / "curve.csv").write_bytes(curve_table())
    (folder / "recipe.toml").write_bytes(toml(RECIPES[0]))
    (folder / "day.cube").write_bytes(format_cube(Lut3D.identity(3, title="Day")))
    (folder / "day.csv").write_bytes(table)
    (folder / "whole.cube").write_bytes(whole)


@cache
def seeds() -> dict[str, tuple[bytes, ...]]:
    """Whole files by kind."""
    table, whole = _tables()
    corrections = _corrections()
    made: dict[str, list[bytes]] = {
        "cube": list(CUBES),
        "clf": _clf(),
        "cdl": [format_cdl(corrections[:1], "cdl")],
        "cc": [format_cdl(corrections[:1], "cc")],
        "ccc": [format_cdl(corrections[:1], "ccc")],
        "definitions": [toml(DEFINITIONS)],
        "curve table": [curve_table()],
        "recipe": [toml(each) for each in RECIPES],
        "suite": [toml(SUITE)],
        "baseline table": [table],
        "baseline LUT": [whole],
    }
    with tempfile.TemporaryDirectory() as name:
        made |= _pictures(Path(name))
        made["clip"] = _clips(Path(name))
    return {kind: tuple(each) for kind, each in made.items()}
