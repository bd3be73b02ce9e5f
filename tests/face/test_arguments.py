"""Everything a user can cause is a LutbenchError: wrong arguments at every public door."""

from __future__ import annotations

import inspect as python
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import lutbench as lb

WORDS = "ACEScct, ACEScg to BT.1886, BT.709"


class NoArray:
    """What numpy cannot read, as a tensor that is on a device or keeps gradients."""

    def __array__(self, *_: Any, **__: Any) -> Any:
        raise RuntimeError("cannot be a numpy array")


WRONG: dict[str, Any] = {
    "None": None,
    "no text": "",
    "a text": "x",
    "a null": "a\0b",
    "bytes": b"x",
    "minus one": -1,
    "zero": 0,
    "two": 2,
    "huge": 10**30,
    "beyond a double": 10**400,
    "a fraction": 0.5,
    "NaN": float("nan"),
    "infinity": float("inf"),
    "True": True,
    "nothing in a list": [],
    "ragged": [[1, 2], [3]],
    "texts": ["a", "b"],
    "a table": {"a": 1},
    "an object": object(),
    "a class": int,
    "an array": np.zeros((2, 2)),
    "complex": 1j,
    "a path that is not": Path("none") / "none.cube",
    "a folder": Path("."),
    "a long text": "x" * 100_000,
    "masked": np.ma.masked,
    "a set": {1, 2},
    "no array": NoArray(),
}


@pytest.fixture(scope="module")
def doors(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """Public functions and classes, each with arguments that hold."""
    folder = tmp_path_factory.mktemp("doors")
    lut = lb.build(WORDS, size=5)
    path = folder / "day.cube"
    lut.save(path)
    hald = folder / "hald.png"
    lb.write_hald(None, hald, level=2)
    (folder / "a.edl").write_text("001 A V C\n* ASC_SAT 0.9\n")
    (folder / "s.toml").write_text(
        f'[[check]]\nname = "a"\nkind = "reference"\nlut = "day.cube"\nexact = "{WORDS}; size=5"\n'
    )
    patches = np.random.default_rng(0).uniform(0.2, 0.8, (24, 3))
    bt709 = lb.gamuts()["BT.709"].gamut
    end = lb.Encoding(lb.open_catalogue().curve("ACEScct"), bt709)  # type: ignore[arg-type]
    picture = np.random.default_rng(0).random((16, 16, 3))
    curve = {"source_curve": "ACEScct", "target_curve": "BT.1886", "kind": "curve", "size": 5}
    gamuts = {"source_gamut": "ACEScg", "target_gamut": "BT.709", "kind": "combined"}
    choices = {"exposure": 0.0, "tone": "clip", "gamut": "clip", "adaptation": "bradford"}
    ranges = {"source_range": "full", "target_range": "full", "title": "", "dimensions": 3}
    return {
        "apply": {"lut": lut, "rgb": [0.1, 0.2, 0.3], "interpolation": None, "out": None}
        | {"threads": 1, "catalogue": None},
        "apply_pixels": {"steps": lut, "pixels": [[0.1, 0.2, 0.3]], "dtype": None, "bits": None}
        | {"out_bits": None, "planar": False, "out": None, "threads": 1, "device": None},
        "blend": {"first": lut, "second": lut, "amount": 0.5, "size": 5} | {"title": ""},
        "strength": {"lut": lut, "amount": 0.5, "base": None, "size": 5, "title": ""},
        "neutral": {"lut": lut, "size": 5, "grey": False, "title": ""},
        "change_range": {"lut": lut, "source_range": None, "target_range": "legal", "size": 5}
        | {"given_source_range": "full", "given_target_range": "full", "bits": 10}
        | {"domain": None, "title": ""},
        "build": curve | gamuts | choices | ranges | {"catalogue": None},
        "capture": {"picture": picture, "size": 5, "smoothness": None, "title": ""},
        "chain": {"size": 5, "shaper": True, "title": ""},
        "compare": {"a": lut, "b": lut, "source": None, "target": None, "colours": ["chart"]}
        | {"bits": 10, "worst": 1},
        "curves": {"catalogue": None},
        "gamuts": {"catalogue": None},
        "from_colour": {"lut": lb.to_colour(lut)},
        "to_colour": {"lut": lut},
        "to_pillow": {"lut": lut},
        "inspect": {"lut": lut, "source_curve": None, "source_gamut": None, "limits": None}
        | {"source_range": "full", "target_range": "full", "target_curve": None}
        | {"target_gamut": None, "catalogue": None},
        "invert": {"lut": lb.Lut3D.identity(3), "size": 3, "shaper": False, "fallback": "gamut"}
        | {"hold": False, "title": ""},
        "learn": {"before": picture, "after": picture, "size": 5, "smoothness": None, "title": ""},
        "levels": {"curve": "ACEScct", "lut": None, "source_range": "full", "zebra_min": None}
        | {"target_range": "full", "display": None, "expose": 0.0, "zebra_step": 5.0}
        | {"over_exposure": 1.0, "filters": [0.3]},
        "match": {"source": patches, "target": patches, "source_encoding": end}
        | {"target_encoding": end, "residual": False},
        "open_lut": {"path": path},
        "open_catalogue": {"files": [], "user": False},
        "read_hald": {"path": hald},
        "write_hald": {"lut": None, "path": folder / "new.png", "level": 2, "force": True},
        "cdls_of_edl": {"path": folder / "a.edl"},
        "repair": {"lut": lut, "only": None, "most": 64.0, "fade": 0.35, "title": ""},
        "resample": {"lut": lut, "size": 3, "method": "linear", "title": ""},
        "sample": {"transform": lut, "size": 3, "domain": (0, 1), "title": ""}
        | {"interpolation": "tetrahedral"},
        "split": {"lut": lb.Lut3D.identity(5), "identification": None},
        "identify": {"lut": lb.Lut3D.identity(5), "source_curve": "ACEScct"}
        | {"source_range": None, "target_gamut": None},
        "verify": {"suite": folder / "s.toml", "expression": "", "tags": [], "definitions": []}
        | {"jobs": 1},
        "Cdl": {"slope": (1, 1, 1), "offset": (0, 0, 0), "power": (1, 1, 1), "saturation": 1.0}
        | {"clamp": True},
        "Display": {"peak": 1000.0, "black": 0.0, "surround": 5.0},
        "Clamp": {"low": 0.0, "high": 1.0},
        "Matrix": {"rows": np.eye(3), "offset": (0, 0, 0)},
        "Pipeline": {"steps": (lut,)},
        "Lut1D": {"table": [[0] * 3, [1] * 3], "domain": (0, 1), "title": "", "comments": ()},
        "Lut3D": {"table": lut.table, "domain": (0, 1), "title": "", "comments": ()}
        | {"interpolation": "tetrahedral"},
        "Gamut": {"name": "mine", "primaries": ((0.6, 0.3), (0.3, 0.6), (0.15, 0.06))}
        | {"white": (0.3127, 0.329)},
        "Encoding": {"curve": end.curve, "gamut": bt709, "range": "full", "bits": 10}
        | {"display": None},
        "Conversion": {"source": end, "target": end, "kind": "combined", "exposure": 0.0}
        | {"adaptation": "bradford", "grade_place": "after", "grade": (), "clamp": True}
        | {"white_balance": None, "compression": None, "tone": None, "as_found": False}
        | {"mapping": None},
        "Catalogue": {"definitions": lb.open_catalogue().definitions, "without": frozenset()},
        "Lut3D.identity": {"size": 3, "title": ""},
        "Lut1D.identity": {"size": 3, "title": ""},
        "Curve.encode": {"light": 0.18},
        "Curve.decode": {"signal": 0.4},
        "Gamut.same_as": {"other": bt709, "tolerance": 1e-3},
        "Levels.at": {"reflectance": 0.18},
        "Lut3D.save": {"path": folder / "saved.cube", "force": True},
        "Split.kept": {"parts": ["gamut"]},
        "Encoding.named": {"curve": "ACEScct", "gamut": "ACEScg"},
    }


def tried(doors: dict[str, dict[str, Any]], name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    for parameter in doors[name]:
        for what, value in WRONG.items():
            yield f"{name}({parameter}={what})", {**doors[name], parameter: value}


OBJECTS: dict[str, Any] = {
    "Curve": lambda: lb.curves()["ACEScct"].curve,
    "Gamut": lambda: lb.gamuts()["BT.709"].gamut,
    "Levels": lambda: lb.levels("ACEScct"),
    "Lut3D": lambda: lb.Lut3D.identity(3),
    "Split": lambda: lb.split(lb.Lut3D.identity(5)),
}
"""Objects whose methods are tried."""


def called(name: str) -> Any:
    """The public function, class or method of that name, which takes all by keyword."""
    thing, _, method = name.partition(".")
    made = getattr(lb, thing, None)
    if method:
        return getattr(made if method in ("identity", "named") else OBJECTS[thing](), method)
    if name == "open_catalogue":
        return lambda files, user: lb.open_catalogue(
            *(files if isinstance(files, list) else [files]), user=user
        )
    return made


NAMES = sorted(name for name in lb.__all__ if not name.startswith("_") and name[0].islower())
CLASSES = [
    "Cdl",
    "Clamp",
    "Matrix",
    "Pipeline",
    "Lut1D",
    "Lut3D",
    "Gamut",
    "Encoding",
    "Conversion",
    "Display",
    "Catalogue",
]
METHODS = [
    "Lut3D.identity",
    "Lut1D.identity",
    "Curve.encode",
    "Curve.decode",
    "Gamut.same_as",
    "Levels.at",
    "Lut3D.save",
    "Split.kept",
    "Encoding.named",
]


@pytest.mark.parametrize("name", NAMES + CLASSES + METHODS)
def test_wrong_arguments(
    name: str, doors: dict[str, dict[str, Any]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    call = called(name)
    if name not in ("capture", "chain", "learn"):  # which want a real picture, or a LUT
        call(**doors[name])
    faults = []
    for what, arguments in tried(doors, name):
        try:
            found = call(**arguments)
            if isinstance(found, lb.Conversion):
                found = found.pipeline()
            if isinstance(found, lb.Transform):
                found.apply([0.1, 0.2, 0.3])
        except lb.LutbenchError as error:
            if "\n" in str(error) or len(str(error)) > 600:
                faults.append(f"{what}: {str(error)[:80]!r} is not a line")
        except Exception as error:
            faults.append(f"{what}: {type(error).__name__}: {str(error)[:100]}")
    assert not faults, "\n".join(["", *faults])


@pytest.mark.parametrize("number", [np.float16, np.float32, np.int64, np.uint8, Fraction])
def test_a_number_may_be_of_any_type(number: Any) -> None:
    """NumPy's small types overflow where Python's numbers do not."""
    one, five = number(1), number(5)
    lut = lb.build(WORDS, size=5, exposure=one)
    assert lut == lb.build(WORDS, size=5, exposure=1)
    assert lb.Clamp(number(0), one) == lb.Clamp(0, 1)
    assert lb.Cdl(slope=(one, one, one), saturation=five) == lb.Cdl(saturation=5)
    assert lb.strength(lut, one, size=5).lut == lb.strength(lut, 1, size=5).lut
    assert lb.Display(peak=number(200)) == lb.Display(peak=200)
    limits = {"tint": five}
    assert lb.inspect(lut, limits=limits).findings == lb.inspect(lut, limits={"tint": 5}).findings
    if issubclass(number, np.integer):
        assert lb.build(WORDS, size=five, exposure=1) == lut
        assert lb.resample(lut, number(3)).lut == lb.resample(lut, 3).lut


def test_every_public_door_is_tried(doors: dict[str, dict[str, Any]]) -> None:
    assert set(NAMES) <= set(doors)
    for name in NAMES:
        parameters = python.signature(getattr(lb, name)).parameters.values()
        wanted = {each.name for each in parameters if each.kind is each.KEYWORD_ONLY}
        left = wanted - set(doors[name]) - {"catalogue", "target_curve", "target_range"}
        assert left <= {"source_gamut"}, name
