"""`lutbench sheet` as a user runs it."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image
from skimage import data

from lutbench.cli.main import main
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut3D


@pytest.fixture
def lut(tmp_path: Path) -> Path:
    path = tmp_path / "salt.cube"
    write_cube(Lut3D(Lut3D.identity(9).table ** 2, title="Salt Road day"), path)
    return path


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(each) for each in args])
    return int(ended.value.code or 0)


def test_a_folder(lut: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "shot").mkdir()
    for number in range(5):
        picture = np.roll(data.coffee()[::4, ::4], 9 * number, axis=1)
        Image.fromarray(picture).save(tmp_path / "shot" / f"f{number}.png")
    out = tmp_path / "sheet.png"
    assert run("sheet", lut, tmp_path / "shot", out, "--frames", 3, "--width", 250) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    assert printed.out.startswith(f"{out}: 3 frames, ")
    with Image.open(out) as picture:
        sheet = np.asarray(picture)
    # The LUT squares the signal: the first shown frame stands there with its square.
    small = data.coffee()[::4, ::4]
    after = np.rint((small / 255.0) ** 2 * 255)
    place = np.argwhere((sheet[:, :, :] == small[0, 0]).all(axis=-1))
    found = [
        (y, x)
        for y, x in place
        if np.array_equal(sheet[y : y + small.shape[0], x : x + small.shape[1]], small)
    ]
    assert len(found) == 1
    y, x = found[0]
    beside = sheet[y : y + small.shape[0], x + 244 : x + 244 + small.shape[1]]
    # A 9-node LUT of a square is off by an eighth of a cell squared, plus rounding.
    assert np.abs(beside - after).max() <= 255 * (1 / 8) ** 2 / 4 + 1
    assert run("sheet", lut, tmp_path / "shot", out) == 2
    assert "--force" in capsys.readouterr().err


def test_a_clip_and_a_curve(lut: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with av.open(str(tmp_path / "in.mp4"), "w") as output:
        stream = output.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = 128, 96, "yuv420p"
        for number in range(10):
            frame = av.VideoFrame(128, 96, "yuv420p")
            for plane, level in zip(frame.planes, (40 + 10 * number, 128, 128), strict=True):
                np.frombuffer(plane, np.uint8)[:] = level
            frame.pts, frame.time_base = number, Fraction(1, 25)
            output.mux(stream.encode(frame))
        output.mux(stream.encode(None))
    out = tmp_path / "sheet.jpg"
    assert run("sheet", lut, tmp_path / "in.mp4", out, "--frames", 4, "--curve", "ACEScct") == 0
    printed = capsys.readouterr()
    assert printed.out.startswith(f"{out}: 4 frames, ")
    assert "the clip does not state its matrix: BT.601 is assumed" in printed.err
    assert run("sheet", lut, tmp_path / "in.mp4", out, "--force", "--curve", "nonesuch") == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert run("sheet", lut, tmp_path / "in.mp4", tmp_path / "sheet.exr") == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_levels_of_a_lut_for_legal_codes_are_percent_of_the_signal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Codes 64 to 940 of ten bits are 0 to 100 % (BT.709-6, item 5.6), before and after."""
    from lutbench.media import sheet

    told = []
    drawn = sheet.before_after_sheet

    def kept(*args: object, **options: object) -> object:
        told.append(options["subheading"])
        return drawn(*args, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(sheet, "before_after_sheet", kept)
    path = tmp_path / "legal.cube"
    legal = ("source: curve BT.709, legal range", "target: curve BT.709, legal range")
    table = np.round(Lut3D.identity(9).table - 1e-6, 6)
    write_cube(Lut3D(table, comments=legal), path)
    Image.fromarray(data.coffee()[::8, ::8]).save(tmp_path / "a.png")
    assert run("sheet", path, tmp_path / "a.png", tmp_path / "out.png") == 0
    assert "0 % → 0 %" in told[0]
    assert "100 % → 100 %" in told[0]
