"""What a user would write, for type checkers to look at."""

# ruff: noqa: F841 - what a name is annotated with is the check
from __future__ import annotations

from pathlib import Path

import numpy as np

import lutbench as lb


def day() -> None:
    lut: lb.Lut1D | lb.Lut3D | lb.ShaperLut3D = lb.build(
        "ACEScct, ACEScg to BT.1886, BT.709", size=17
    )
    table = np.zeros((3, 3, 3, 3))
    own = lb.Lut3D(table, domain=(0, 1), title="mine", comments=("one", "two"))
    curve = lb.Lut1D([[0, 0, 0], [1, 1, 1]], domain=[[0, 0, 0], [1, 1, 1]])
    matrix = lb.Matrix(np.eye(3)) | lb.Matrix([[1, 0, 0], [0, 1, 0], [0, 0, 1]], offset=[0, 0, 0.5])
    shape: tuple[int, ...] = own.shape
    frame = np.zeros((4, 4, 3), np.uint8)
    out = np.empty_like(frame)
    (matrix | own | lb.Clamp()).apply(frame, out=out, threads=2, interpolation="trilinear")
    back: lb.Transform = own.inverse()

    found = lb.identify(Path("day.cube"), source_curve="ACEScct")
    words: str | None = found.candidates[0].source.curve
    report = lb.inspect("day.cube", source_curve="ACEScct", limits={"tint": 2.0})
    codes: list[str] = [finding.code for finding in report.findings]
    far = lb.compare("day.cube", own, colours=["chart"]).overall["delta_e_2000"].p95
    limit: bool = far < 0.5
    grey = lb.levels("ACEScct", own, zebra_min=50).at(0.18)
    percent: float = grey.recorded.percent
    chained = lb.chain("day.cube", own, size=33)
    chained.lut.save("both.cube", force=True)
    data: dict[str, object] = chained.to_dict()
    inverse = lb.invert(own, size=33, fallback="nearest").lut
    passed: bool = lb.verify("day.lutbench.toml", tags=["grey"]).passed
    entries = lb.curves()["ACEScct"].aliases
    try:
        lb.open_lut("none.cube")
    except lb.LutbenchError as error:
        told: str = error.what
