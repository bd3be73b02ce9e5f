"""Words with few values: one checked enumeration at every door, letter case ignored."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import lutbench
from lutbench.checks.suite import read_suite
from lutbench.cli.main import group
from lutbench.errors import LutbenchError
from lutbench.exposure.levels import levels
from lutbench.inspection.inspection import inspect
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.conversion import Conversion
from lutbench.model.curves.log import AcesCct
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709
from lutbench.model.signal import RangeFromSignal, SignalFromRange, range_of
from lutbench.recipes.make import build
from lutbench.recipes.subjects import open_subject
from lutbench.tables.lut import Lut3D

CURVE = AcesCct()
GREY = [[0.4, 0.4, 0.4]]


def built(word: str) -> Any:
    return build("ACEScct", "BT.1886", kind="curve", size=5, source_range=word).apply(GREY)  # type: ignore[arg-type]


def subject(word: str) -> Any:
    text = f"ACEScct to BT.1886; kind=curve; source_range={word}"
    return open_subject(text, Catalogue()).transform.apply(GREY)


DOORS = {
    "build": built,
    "a suite's subject": subject,
    "Encoding": lambda word: Encoding(CURVE, BT709, word).range,
    "SignalFromRange": lambda word: SignalFromRange(word).apply(GREY),
    "RangeFromSignal": lambda word: RangeFromSignal(word).apply(GREY),
    "range_of": lambda word: range_of(10, word),
    "inspect": lambda word: inspect(Lut3D.identity(3), source_range=word).source_range,
    "levels": lambda word: levels(CURVE, Lut3D.identity(3), source_range=word).source_range,
}
doors = pytest.mark.parametrize("door", DOORS.values(), ids=DOORS)


@doors
@pytest.mark.parametrize("word", ["", "video", "legal range", "narrow", 1, b"legal", ["legal"]])
def test_what_is_no_range_is_refused(door: Any, word: Any) -> None:
    with pytest.raises(LutbenchError, match="accepted: full, legal"):
        door(word)


@doors
def test_letter_case_of_a_range_does_not_matter(door: Any) -> None:
    np.testing.assert_array_equal(door("Legal"), door("legal"))
    assert not np.array_equal(door("LEGAL"), door("Full"))


@pytest.mark.parametrize(
    "wish",
    [
        {"dimensions": 2},
        {"dimensions": "3"},
        {"kind": "both"},
        {"gamut": "squash"},
        {"tone": "film"},
        {"adaptation": "xyz"},
        {"adaptation": ""},
        {"size": 1},
        {"source_gamut": 3},
        {"target_gamut": None},
    ],
    ids=str,
)
def test_build_refuses_what_is_none_of_its_words(wish: dict[str, Any]) -> None:
    names = {"source_gamut": "ACEScg", "target_gamut": "BT.709"} | wish
    with pytest.raises(LutbenchError, match="accepted"):
        build("ACEScct", "BT.1886", **names)


def test_letter_case_of_build_does_not_matter() -> None:
    names: Any = {"source_gamut": "acescg", "target_gamut": "bt.709", "size": 3}
    loud = build("acescct", "bt.1886", kind="Combined", tone="Shoulder", gamut="COMPRESS", **names)
    assert loud == build("ACEScct", "BT.1886", tone="shoulder", gamut="compress", **names)
    assert Conversion(Encoding(CURVE, BT709), Encoding(CURVE, BT709), "CURVE").kind == "curve"  # type: ignore[arg-type]
    assert lutbench.Lut3D.identity(3).apply(GREY, "Trilinear").shape == (1, 3)  # type: ignore[arg-type]


def test_objects_stand_for_their_names() -> None:
    found = build(CURVE, "BT.1886", source_gamut=BT709, target_gamut="BT.709", size=3)
    assert found == build(
        "ACEScct", "BT.1886", source_gamut="BT.709", target_gamut="BT.709", size=3
    )
    assert open_catalogue(user=False).curve(CURVE) is CURVE


def test_letter_case_of_choices_on_the_command_line_does_not_matter(tmp_path: Path) -> None:
    out = tmp_path / "legal.cube"
    line = "build --source-curve ACEScct --target-curve BT.1886 --kind CURVE --source-range Legal"
    group.main([*line.split(), "--size", "5", "-o", str(out)], standalone_mode=False)
    np.testing.assert_allclose(lutbench.open_lut(out).apply(GREY), built("legal"), atol=1e-6)


def test_letter_case_of_names_in_lists_does_not_matter() -> None:
    words = "ACEScct, ACEScg to BT.1886, BT.709"
    lut = lutbench.build(words, size=5)
    loud = lutbench.compare(lut, words, colours=["NEUTRAL"])
    assert loud.overall == lutbench.compare(lut, words, colours=["neutral"]).overall
    assert lutbench.repair(lut, ["Range", "TINT"]) == lutbench.repair(lut, ["range", "tint"])
    limits = lutbench.inspect(lut, limits={"Tint": 0.001})
    assert limits.findings == lutbench.inspect(lut, limits={"tint": 0.001}).findings
    parts = lutbench.split(lutbench.Lut3D.identity(5))
    assert parts.kept(["Gamut"]) == parts.kept({"gamut"})  # type: ignore[list-item,arg-type]


@pytest.mark.parametrize(
    ("lower", "loud"),
    [
        ('kind = "health"\nallow = ["clipped_highlights"]', "allow"),
        ('kind = "health"\nforbid = "fold"', "forbid"),
        ('kind = "health"\nlimits = { tint = 2.5 }', "limits"),
        ('kind = "invariants"\nhold = ["neutral"]', "hold"),
        ('kind = "reference"\nexact = "x"\nlimits = { code_10bit_p95 = 2 }', "limits"),
        ('kind = "baseline"\nbaseline = "a.csv"\nlimits = { code_10bit = 2 }', "limits"),
    ],
)
def test_letter_case_in_a_suite_does_not_matter(tmp_path: Path, lower: str, loud: str) -> None:
    checks = []
    kind, _, rest = lower.partition("\n")
    name = rest.rpartition("\n")[2]
    shouted = rest.replace(name, f"{loud} = {name.partition(' = ')[2].upper()}")
    for written in (lower, f"{kind.title().replace('Kind', 'kind')}\n{shouted}"):
        path = tmp_path / "s.toml"
        path.write_text(f'[[check]]\nname = "a"\nlut = "a.cube"\n{written}\n')
        checks.append(read_suite(path).checks[0])
    assert checks[0] == checks[1]
