"""The board and the probe LUT against monitors that are simulated by other means.

The monitors interpolate with scipy (trilinear), with colour-science (tetrahedral) or not at all;
legal codes are those of Recommendation ITU-R BT.709-6, item 5.6 (black 64, white 940 of 10 bits).
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import colour
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scipy.interpolate import RegularGridInterpolator

from lutbench.cli.main import main
from lutbench.errors import LutbenchError
from lutbench.media.probe.draw import draw_board
from lutbench.media.probe.lattice import probe_lut
from lutbench.media.probe.read import controls_answer, line_in, read_board
from lutbench.media.still.still import Still, write_still

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Monitor:
    """A monitor with its habits."""

    reads: str = "full"
    order: str = "RGB"
    columns: str = "RGB"
    nodes: int = 0
    interpolation: str = "tetrahedral"
    bits: int = 10
    cut: bool = False
    contrast: float = 1.0
    before: Callable[[Array], Array] | None = None
    after: Callable[[Array], Array] | None = None

    def shows(self, board: Array, size: int) -> Array:
        codes = np.rint(board * (2**self.bits - 1)) / (2**self.bits - 1)
        if self.cut:
            codes = np.clip(codes, 16 / 255, 235 / 255)
        signal = codes if self.reads == "full" else (codes * 1023 - 64) / 876
        signal = np.clip(signal * self.contrast, 0, 1)[
            ..., ["RGB".index(each) for each in self.order]
        ]
        signal = signal if self.before is None else self.before(signal)
        table = np.asarray(probe_lut(size).table)
        if self.nodes:
            table = self._look_up(table, _grid(self.nodes), "trilinear")
        # Every pixel of a row is alike but in strips: look up each colour once.
        colours, back = np.unique(signal.reshape(-1, 3), axis=0, return_inverse=True)
        seen = self._look_up(table, colours, self.interpolation)
        seen = seen[:, ["RGB".index(each) for each in self.columns]]
        seen = seen if self.after is None else self.after(seen)
        return np.asarray(seen[back.ravel()].reshape(board.shape))

    @staticmethod
    def _look_up(table: Array, colours: Array, how: str) -> Array:
        if how == "tetrahedral":
            return np.asarray(colour.algebra.table_interpolation_tetrahedral(colours, table))
        axis = np.linspace(0, 1, table.shape[0])
        method = "nearest" if how == "nearest" else "linear"
        return np.asarray(RegularGridInterpolator((axis,) * 3, table, method=method)(colours))


def _grid(nodes: int) -> Array:
    axis = np.linspace(0, 1, nodes)
    return np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)


@cache
def board(size: int, codes: Any) -> Array:
    """A third of the board's pixels: what comes back may be scaled."""
    return np.asarray(draw_board(size, codes).signal(), dtype=np.float64)[1::3, 1::3]


def answers(monitor: Monitor, size: int = 33, codes: Any = "full") -> dict[str, Any]:
    shown = monitor.shows(board(size, codes), size).repeat(2, axis=0).repeat(2, axis=1)
    found = read_board(shown, size, codes)
    return {each.key: each for each in found.answers}


SLOW = pytest.mark.slow


@pytest.mark.parametrize("size", [pytest.param(17, marks=SLOW), 33, pytest.param(65, marks=SLOW)])
@pytest.mark.parametrize("codes", ["full", "legal"])
def test_a_sound_monitor_is_called_sound(size: int, codes: str) -> None:
    found = answers(Monitor(reads=codes), size, codes)
    assert all(each.sound for each in found.values())
    assert codes in found["range"].found
    assert "tetrahedral" in found["between"].found


@pytest.mark.parametrize(
    ("monitor", "key", "words"),
    [
        (Monitor(reads="legal"), "range", "legal range"),
        (Monitor(order="BGR"), "channels", "order BGR"),
        (Monitor(order="GBR"), "channels", "order GBR"),
        (Monitor(columns="BGR"), "channels", "taken for B, G, R"),
        (Monitor(columns="BRG"), "channels", "taken for G, B, R"),
        (Monitor(order="BGR", columns="BGR"), "channels", "BGR, and the columns"),
        (Monitor(nodes=17), "nodes", "17 are in use"),
        (Monitor(nodes=9), "nodes", "9 are in use"),
        (Monitor(interpolation="nearest"), "smooth", "steps"),
        (Monitor(interpolation="nearest", nodes=17), "smooth", "steps"),
        (Monitor(bits=8), "bits", "8 bits"),
        (Monitor(cut=True), "ends", "black and white cut"),
    ],
)
def test_each_habit_is_found_and_nothing_else(monitor: Monitor, key: str, words: str) -> None:
    found = answers(monitor)
    assert words in found[key].found
    assert found[key].sound is False
    if key not in ("range", "nodes", "smooth"):  # those take other rows with them, or the LUT
        assert [each.key for each in found.values() if each.sound is False] == [key]


LUMA = np.array([0.2126, 0.7152, 0.0722])
"""Recommendation ITU-R BT.709-6, item 3.2."""


def saturated(by: float) -> Callable[[Array], Array]:
    """Saturation as ASC CDL version 1.2 defines it."""
    return lambda rgb: np.clip((rgb @ LUMA)[..., None] * (1 - by) + by * rgb, 0, 1)


@pytest.mark.parametrize(
    ("after", "words"),
    [
        (lambda rgb: rgb ** (2.4 / 2.2), "comes out at 47 %"),
        (lambda rgb: rgb ** (2.2 / 2.6), "comes out at 56 %"),
        (lambda rgb: rgb * [1.0, 0.95, 0.85], "tinted"),
        (saturated(0.7), "paler"),
        (saturated(1.3), "more saturated"),
        (lambda rgb: 0.8 * rgb, "white at 80 %"),
        (lambda rgb: rgb - 0.15 * np.sin(2 * np.pi * rgb) / np.pi, "cannot be told"),
    ],
)
def test_what_is_done_after_the_lut_is_found(after: Any, words: str) -> None:
    found = answers(Monitor(after=after))
    assert words in found["output"].found
    assert [each.key for each in found.values() if each.sound is False] == ["output"]


def test_a_grab_in_legal_codes_is_changed_by_the_lut_alone() -> None:
    """Recommendation ITU-R BT.709-6, item 5.6: black 16, white 235 of 8 bits."""
    found = answers(Monitor(after=lambda rgb: (16 + 219 * rgb) / 255))
    assert found["output"].sound


def test_what_is_done_before_the_lut_is_told_from_what_is_done_after() -> None:

    def brighter(signal: Array) -> Array:
        return np.asarray(np.interp(signal, [0, 0.45, 0.875, 1], [0, 0.5, 0.875, 1]))

    assert "before it" in answers(Monitor(before=brighter))["output"].found
    both = answers(Monitor(before=brighter, after=lambda rgb: rgb**1.2))["output"]
    # The line still shows what becomes of 0.5 after the LUT, whatever came before it.
    assert f"comes out at {100 * 0.5**1.2:.0f} %" in both.found


def test_trilinear_is_told_from_tetrahedral() -> None:
    assert "trilinear" in answers(Monitor(interpolation="trilinear"))["between"].found


def test_a_board_for_the_other_range_says_only_that() -> None:
    found = answers(Monitor(reads="full"), codes="legal")
    assert found["range"].sound is False
    assert {each.sound for key, each in found.items() if key != "range"} == {None}


@pytest.mark.parametrize("drawn", [17, 33, 65])
def test_a_board_for_another_size_is_refused(drawn: int) -> None:
    shown = Monitor().shows(board(drawn, "full"), drawn)
    for size in {17, 33, 65} - {drawn}:
        with pytest.raises(LutbenchError, match=f"for a probe LUT of {drawn} nodes, not {size}"):
            read_board(shown, size, "full")


def test_controls_before_the_lut_move_the_line() -> None:
    seen = Monitor().shows(board(33, "full"), 33)
    plain, dimmed = (line_in(each, 33, "full") for each in (seen, seen * 0.8))
    moved = line_in(Monitor(contrast=0.9).shows(board(33, "full"), 33), 33, "full")
    assert plain == pytest.approx(0.5, abs=0.01)
    # Nine tenths of the signal: the line stands where the ramp is 0.5 / 0.9.
    assert moved == pytest.approx(0.5 / 0.9, abs=0.01)
    assert controls_answer(plain, moved).sound is False
    assert controls_answer(plain, dimmed).sound is True


def test_a_grab_may_be_scaled_moved_and_noisy() -> None:
    seen = Monitor(bits=8).shows(board(33, "full"), 33)
    larger = seen[np.arange(0, 360, 0.5).astype(int)][:, np.arange(0, 640, 0.5).astype(int)]
    framed = np.zeros((760, 1400, 3))
    framed[20:740, 70:1350] = larger
    noise = np.random.default_rng(3).normal(0, 0.01, framed.shape)
    found = {each.key: each for each in read_board(framed + noise, 33, "full").answers}
    assert found["range"].sound
    assert found["channels"].sound
    assert found["nodes"].sound
    assert "tetrahedral" in found["between"].found
    assert found["output"].sound


@pytest.mark.parametrize("width", [960, 640])
def test_a_grab_as_jpeg_shows_nothing_that_is_not_there(width: int) -> None:
    """Pillow's JPEG halves the resolution of chroma (4:2:0) and rounds its blocks."""
    full = np.asarray(draw_board(65, "full").signal(), dtype=np.float64)
    shown = np.clip(np.asarray(probe_lut(65).apply(full)), 0, 1)
    small = Image.fromarray(np.rint(255 * shown).astype(np.uint8)).resize(
        (width, width * 9 // 16), Image.Resampling.BILINEAR
    )
    file = io.BytesIO()
    small.save(file, "JPEG", quality=85)
    grab = np.asarray(Image.open(file)) / 255
    found = {each.key: each.sound for each in read_board(grab, 65, "full").answers}
    assert set(found.values()) == {True}
    assert "output" in found


@pytest.mark.parametrize("picture", [np.zeros((600, 800, 3)), np.full((600, 800, 3), 0.4)])
def test_what_is_no_board_is_refused(picture: Array) -> None:
    with pytest.raises(LutbenchError):
        read_board(picture, 33, "full", "grab.png")


def test_the_command_writes_a_set_and_reads_a_grab(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["monitor", "draw", str(tmp_path / "test"), "--size", "17"])
    assert not ended.value.code
    capsys.readouterr()
    names = {path.name for path in (tmp_path / "test").iterdir()}
    assert names == {"probe.cube", "plain.cube", "full.png", "legal.png", "index.html"}
    seen = Monitor(reads="legal", bits=8).shows(board(17, "legal"), 17)
    grab = tmp_path / "grab.png"
    pixels = np.rint(np.clip(seen, 0, 1) * 255).astype(np.uint8)
    write_still(Still(pixels, ("R", "G", "B"), "8"), grab, depth="8")
    with pytest.raises(SystemExit) as ended:
        main(["monitor", "read", str(grab), "--size", "17", "--json"])
    assert not ended.value.code
    data = json.loads(capsys.readouterr().out)
    assert data["codes"] == "legal"
    assert {each["question"]: each["sound"] for each in data["answers"]} == {
        "range": True, "channels": True, "nodes": True, "between": True, "smooth": True,
        "bits": False, "output": True,
    }  # fmt: skip
