"""Split: the parts are what they say, and chained again they give the LUT back."""

from __future__ import annotations

from pathlib import Path

import colour
import numpy as np
import pytest

import lutbench
from lutbench.analysis.difference import accuracy
from lutbench.analysis.split import recipe_text, split
from lutbench.cli.main import main
from lutbench.errors import LutbenchError
from lutbench.formats import open_lut
from lutbench.formats.cube import write_cube
from lutbench.recipes.make import make
from lutbench.recipes.schema import recipe_from_text
from lutbench.tables.lut import Lut3D, lattice


@pytest.fixture(scope="module")
def combined() -> Lut3D:
    lut = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709")
    assert isinstance(lut, Lut3D)
    return lut


def test_the_parts_of_a_combined_lut(combined: Lut3D) -> None:
    parts = split(combined)
    signal = np.linspace(0, 1, 200)
    grey = np.repeat(signal[:, None], 3, axis=1)
    # The gamut part leaves greys alone; the curve part is colour-science's own tone.
    assert parts.gamut.apply(grey) == pytest.approx(grey, abs=1e-9)
    tone = np.clip(
        colour.models.eotf_inverse_BT1886(
            np.maximum(colour.log_decoding(signal, function="ACEScct"), 0)
        ),
        0,
        1,
    )
    # 4096 rows joined by straight lines, at the steepest part near black
    assert parts.curve_1d.apply(grey)[:, 0] == pytest.approx(tone, abs=2e-3)
    # No look was put in: what remains is the LUT's own error between its nodes.
    assert not parts.identification.look.present
    task = parts.conversion
    own = accuracy(combined, task.pipeline(), task.source, task.result)
    for name in ("chart", "neutral"):
        mine, its = (each[name]["delta_e_2000"].mean for each in (parts.error, own.sets))
        # Three tables are chained, each with an error of its own of about that size.
        assert mine < 3 * its + 0.1


def test_the_recipe_builds_the_nearest_clean_lut(combined: Lut3D) -> None:
    again = make(recipe_from_text(recipe_text(split(combined), "clean")).jobs[0])
    assert again.table == pytest.approx(combined.table, abs=2e-6)


@pytest.mark.parametrize("kind", ["curve", "gamut"])
def test_a_kind_alone(kind: str) -> None:
    lut = lutbench.build(
        "ACEScct",
        "BT.1886",
        source_gamut="ACEScg",
        target_gamut="BT.709",
        kind=kind,  # type: ignore[arg-type]
    )
    parts = split(lut)
    nodes = lattice(9)
    if kind == "curve":
        assert parts.gamut.apply(nodes) == pytest.approx(nodes, abs=1e-9)
    else:
        assert parts.curve_1d.apply(nodes) == pytest.approx(nodes, abs=1e-6)
    assert parts.error["chart"]["delta_e_2000"].mean < 1.0


def test_what_no_conversion_explains_is_not_taken_apart() -> None:
    nodes = lattice(17)
    with pytest.raises(LutbenchError, match="no known conversion explains"):
        split(Lut3D(0.5 + 0.4 * np.sin(9 * nodes[..., ::-1] + nodes)))


def test_the_command(combined: Lut3D, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_cube(combined, "m.cube")

    def run(*args: str) -> int:
        with pytest.raises(SystemExit) as end:
            main(["split", "m.cube", *args])
        return int(end.value.code or 0)

    assert run("-o", "parts") == 0
    assert sorted(path.name for path in Path("parts").iterdir()) == [
        "clean.toml",
        "curve.cube",
        "curve_1d.cube",
        "gamut.cube",
        "look.cube",
    ]
    assert run("-o", "parts") == 2
    assert run("-o", "g.cube", "--keep", "gamut") == 0
    kept = open_lut("g.cube")
    grey = np.repeat(np.linspace(0, 1, 50)[:, None], 3, axis=1)
    assert kept.apply(grey) == pytest.approx(grey, abs=1e-6)
    assert run("-o", "clean.cube", "--drop-look") == 0
    assert open_lut("clean.cube").table == pytest.approx(combined.table, abs=2e-6)  # type: ignore[attr-defined]
    assert run("-o", "x.cube", "--keep", "curve", "--drop-look") == 2
    assert run("-o", "x.txt", "--keep", "curve") == 2
