"""``lutbench display``, from patches to a check."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from simulated_displays import ADDITIVE, write_readings

from lutbench.cli.display import command
from lutbench.display.patches import patch_set
from lutbench.errors import LutbenchError
from lutbench.formats.registry import open_lut
from lutbench.media.still.still import read_still


def run(*arguments: str, status: int = 0) -> str:
    result = CliRunner().invoke(command, list(arguments), standalone_mode=False)
    if isinstance(result.exception, LutbenchError):
        raise result.exception
    assert result.exception is None, result.output
    assert (result.return_value or 0) == status
    return result.output


@pytest.mark.slow
def test_from_patches_to_a_check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    display = ADDITIVE["gamma 2.2"]
    shown = patch_set("short")
    write_readings(Path("measured.csv"), shown, display.xyz(shown.signal))

    found = json.loads(run("fit", "measured.csv", "--json"))
    assert found["delta_e_2000"]["mean"] < 0.2
    assert found["reach"]["contrast"] == pytest.approx(1600, rel=0.01)
    assert "can be shown" in run("fit", "measured.csv")

    run("calibrate", "measured.csv", "-o", "cal.cube", "--size", "17", "--display-peak", "100")
    lut = open_lut("cal.cube")
    white = display.xyz(np.asarray(lut.apply([1.0, 1.0, 1.0])))
    # D65 at the peak that was asked for.
    assert white == pytest.approx([95.05, 100, 108.9], rel=0.01)

    again = display.xyz(np.asarray(lut.apply(shown.signal)))
    write_readings(Path("second.csv"), shown, again)
    text = run("check", "second.csv", "--page", "check.html", "--limit-delta-e", "0.5")
    assert "holds" in text
    assert "Greyscale and gamma" in Path("check.html").read_text(encoding="utf-8")
    assert "fails" in run("check", "second.csv", "--limit-delta-e", "0.0001", status=1)
    with pytest.raises(LutbenchError, match="exists"):
        run("check", "second.csv", "--page", "check.html")

    run("calibrate", "measured.csv", "--behind", "cal.cube", "-o", "both.cube", "--json")
    assert open_lut("both.cube").apply([0.5, 0.5, 0.5]).shape == (3,)


def test_the_stills_hold_the_codes(tmp_path: Path) -> None:
    folder = tmp_path / "shown"
    run("patches", str(folder), "--amount", "short", "--frame", "96x64", "--window", "25")
    shown = patch_set("short")
    stills = sorted(folder.glob("patch_*.png"))
    assert len(stills) == len(shown.names)
    for path, wanted in list(zip(stills, shown.full_scale, strict=True))[::20]:
        pixels = read_still(path).signal()
        assert pixels[32, 48] == pytest.approx(wanted, abs=0.5 / 65535)
        assert pixels[2, 2].tolist() == [0, 0, 0]
        patch = (pixels.max(axis=2) > 0).mean()
        assert patch == pytest.approx(0.25 if wanted.max() > 0 else 0, abs=0.02)
    with pytest.raises(LutbenchError, match="exists"):
        run("patches", str(folder), "--amount", "short", "--table-only")
    with pytest.raises(LutbenchError, match="a frame of"):
        run("patches", str(tmp_path / "more"), "--frame", "wide")
