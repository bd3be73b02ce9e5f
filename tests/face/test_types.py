"""Type hints accept what the manual shows, by mypy and by pyright."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import lutbench

SCRIPT = Path(__file__).with_name("users_script.py")
ROOT = Path(lutbench.__file__).parents[1]
WRONG = 'import lutbench as lb\nlb.build(3)\nlb.Lut3D.identity("17")\nlb.open_lut(["a"])\n'


def mypy(script: Path) -> list[str]:
    line = [sys.executable, "-m", "mypy", "--strict", "--config-file=", "--no-error-summary"]
    more = ["--ignore-missing-imports", "--follow-imports=silent", str(script)]
    found = subprocess.run(
        [*line, *more], capture_output=True, text=True, env=os.environ | {"MYPYPATH": str(ROOT)}
    )
    return [text for text in found.stdout.splitlines() if ": error:" in text]


def pyright(script: Path, tmp_path: Path) -> list[str]:
    settings = {"include": [str(script)], "extraPaths": [str(ROOT)], "typeCheckingMode": "standard"}
    (tmp_path / "pyrightconfig.json").write_text(json.dumps(settings))
    line = [sys.executable, "-m", "pyright", "--outputjson", "-p", str(tmp_path)]
    line += ["--pythonpath", sys.executable]
    found = subprocess.run(line, capture_output=True, text=True)
    told = json.loads(found.stdout)["generalDiagnostics"]
    return [each["message"] for each in told if each["severity"] == "error"]


@pytest.mark.slow
def test_mypy(tmp_path: Path) -> None:
    assert mypy(SCRIPT) == []
    (tmp_path / "wrong.py").write_text(WRONG)
    assert len(mypy(tmp_path / "wrong.py")) == 3


@pytest.mark.slow
def test_pyright(tmp_path: Path) -> None:
    pytest.importorskip("pyright")
    assert pyright(SCRIPT, tmp_path) == []
    (tmp_path / "wrong.py").write_text(WRONG)
    assert len(pyright(tmp_path / "wrong.py", tmp_path)) == 3
