"""The table of readings: columns, code values, what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lutbench.display.measurements import read_measurements
from lutbench.display.patches import patch_set
from lutbench.errors import FormatError, LutbenchError
from lutbench.model.signal import Range


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("white", "bits", "range_", "grey"),
    [
        (255, 8, "full", 128 / 255),
        (1023, 10, "full", 512 / 1023),
        (4095, 12, "full", 2048 / 4095),
        (235, 8, "legal", (126 - 16) / 219),
        (940, 10, "legal", (502 - 64) / 876),
        (1, None, "full", 0.5),
    ],
)
def test_white_says_how_codes_are_laid_out(
    tmp_path: Path, white: int, bits: int | None, range_: Range, grey: float
) -> None:
    middle = {255: 128, 1023: 512, 4095: 2048, 235: 126, 940: 502, 1: 0.5}[white]
    dark = {235: 16, 940: 64}.get(white, 0)
    rows = "\n".join(f"p,{code},{code},{code},1,1,1" for code in (dark, middle, white))
    read = read_measurements(write(tmp_path / "m.csv", f"name,R,G,B,X,Y,Z\n{rows}\n"))
    # Recommendation ITU-R BT.2100-2, table 9, and code / (2^n - 1).
    assert read.signal[:, 0] == pytest.approx([0, grey, 1])
    assert read.range == range_
    assert bits is None or f"{bits}-bit" in read.coding


def test_chromaticities_are_the_same_reading(tmp_path: Path) -> None:
    first = write(
        tmp_path / "a.csv", "R,G,B,X,Y,Z\n0,0,0,0,0,0\n255,255,255,95.0456,100,108.9058\n"
    )
    second = write(
        tmp_path / "b.csv", "\ufeffr , g,b,Y,x,y\n0,0,0,0,0,0\n255,255,255,100,.3127,.329\n"
    )
    a, b = read_measurements(first), read_measurements(second)
    # D65 of CIE 15, to the digits written.
    assert a.xyz == pytest.approx(b.xyz, abs=2e-3)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("R,G,B\n1,1,1\n", "has no columns R, G, B, X, Y, Z or R, G, B, Y, x, y"),
        ("R,G,B,X,Y,Z\n1,1,1,,,\n", "row 1 .* does not hold 6 numbers"),
        ("R,G,B,X,Y,Z\n1,1,1,1,nan,1\n", "holds NaN"),
        ("R,G,B,X,Y,Z\n", "holds no patches"),
        ("R,G,B,X,Y,Z\n700,700,700,1,1,1\n", "the largest code is 700"),
        ("R,G,B,X,Y,Z\n-3,0,255,1,1,1\n", "codes from -3"),
        ("R,G,B,X,Y,Z\n1,1,1,1,-5,1\n", "out of range"),
        ("R,G,B,Y,x,y\n1,1,1,5,0.3,0\n", "y = 0"),
    ],
)
def test_a_table_that_is_none_is_refused(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(FormatError, match=message):
        read_measurements(write(tmp_path / "m.csv", text))


def test_codes_may_be_told(tmp_path: Path) -> None:
    path = write(tmp_path / "m.csv", "R,G,B,X,Y,Z\n64,64,64,0,0,0\n1019,1019,1019,1,1,1\n")
    read = read_measurements(path, 10, "legal")
    assert read.signal[:, 1] == pytest.approx([0, (1019 - 64) / 876])


@pytest.mark.parametrize("range_", ["full", "legal"])
def test_the_patches_hold_what_a_fit_needs(range_: Range) -> None:
    shown = patch_set("short", 10, range_)
    assert (shown.codes == np.rint(shown.codes)).all()
    for signal in ((0, 0, 0), (1, 1, 1), *np.eye(3)):
        assert (np.abs(shown.signal - signal).max(axis=1) < 1e-9).any()
    assert len(set(shown.names)) == len(shown.names)
    with pytest.raises(LutbenchError, match="short, usual, long"):
        patch_set("many")
