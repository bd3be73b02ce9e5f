"""A kernel that no process has compiled yet: numpy goes on for longer, so that nobody waits."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from lutbench import long_work
from lutbench.tables import kept_code
from lutbench.tables import pixels as over_pixels


@pytest.fixture
def nothing_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """An empty folder, the only one where compiled code would be looked for."""
    monkeypatch.setattr(kept_code, "HERE", tmp_path)
    monkeypatch.setattr(kept_code, "kept_name", lambda number: f"_run_{number}")
    monkeypatch.setattr(kept_code, "_parents", lambda: iter([tmp_path]))
    monkeypatch.setattr(over_pixels, "_by_numpy", {"float64": 0})
    monkeypatch.setattr(over_pixels, "FEW", {"float64": 100})
    monkeypatch.setitem(sys.modules, "lutbench.tables.kernels", None)
    monkeypatch.setattr(kept_code, "is_kept", kept_code.is_kept.__wrapped__)
    return tmp_path


@pytest.mark.parametrize("folder", [0, 1])
def test_numpy_goes_on_until_a_compiled_kernel_is_kept(nothing_kept: Path, folder: int) -> None:
    number = np.dtype("float64")
    most = 100 * over_pixels.NOT_KEPT["float64"]
    assert over_pixels._is_few(most - 50, number)
    assert not over_pixels._is_few(51, number)
    kept = list(kept_code._folders())[folder]
    assert kept.is_relative_to(nothing_kept)
    kept.mkdir()
    (kept / "kernels._run_float64-1.py311.nbi").touch()
    assert not over_pixels._is_few(1, number)


def _twice(values):  # type: ignore[no-untyped-def]
    for i in range(len(values)):
        values[i] *= 2


def test_who_waits_for_the_compiler_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from numba import config, types

    monkeypatch.setattr(config, "CACHE_DIR", str(tmp_path))
    told: list[str] = []
    before = long_work.set_listener(lambda what, share: told.append(what))
    try:
        for _ in range(2):  # the second time it is loaded
            kept_code.compiled(_twice, types.void(types.Array(types.float32, 1, "C")))
    finally:
        long_work.set_listener(before)
    assert len(told) == 1
    assert "compiling" in told[0]


COMPILE = """
import numpy as np
from lutbench.tables import kept_code, kernels
before = kept_code.is_kept.__wrapped__("float32")
kernels.runner(np.float32)
print(before, kept_code.is_kept.__wrapped__("float32"), kept_code.is_kept.__wrapped__("float64"))
"""


@pytest.mark.slow
def test_what_numba_keeps_is_found(tmp_path: Path) -> None:
    """The real compiler, in a copy of the package whose folder of compiled code is empty."""
    import shutil

    import lutbench

    copied = tmp_path / "copy" / "lutbench"
    without = shutil.ignore_patterns("__pycache__", "node_modules")
    shutil.copytree(Path(lutbench.__file__).parent, copied, ignore=without)
    settings = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path / "kept")}
    settings["PYTHONPATH"] = str(copied.parent)
    told = subprocess.run(
        [sys.executable, "-c", COMPILE],
        capture_output=True,
        text=True,
        env=settings,
        cwd=tmp_path,
        check=True,
    )
    assert told.stdout.split() == ["False", "True", "False"]


APPLY = """
import logging, sys
import numpy as np
logging.basicConfig(level=logging.DEBUG, format="%(message)s", stream=sys.stdout)
logging.getLogger("numba").setLevel(logging.ERROR)
from lutbench.tables.kept_code import compiled

def twice(x):
    return 2 * x

from numba import types
print(compiled(twice, types.float64(types.float64))(21.0))
"""


def told_by(script: Path, tmp_path: Path, kept: Path) -> str:
    """What a process says that compiles a small function of a file."""
    settings = os.environ | {"NUMBA_CACHE_DIR": str(kept), "XDG_CACHE_HOME": str(tmp_path / "own")}
    settings["PYTHONPATH"] = os.pathsep.join(sys.path)
    done = subprocess.run(
        [sys.executable, str(script)], capture_output=True, text=True, env=settings, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "42.0" in done.stdout
    return done.stdout


@pytest.fixture
def script(tmp_path: Path) -> Path:
    path = tmp_path / "small.py"
    path.write_text(APPLY)
    return path


@pytest.mark.slow
@pytest.mark.parametrize("damage", ["truncated", "emptied", "other bytes"])
def test_damaged_code_is_made_anew_with_a_note(damage: str, script: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    kept.mkdir(mode=0o755)
    assert "damaged" not in told_by(script, tmp_path, kept)
    assert "damaged" not in told_by(script, tmp_path, kept)  # loaded
    for suffix in ("nbi", "nbc"):
        (file,) = kept.rglob(f"small.twice-*.{suffix}")
        whole = file.read_bytes()
        damages = {"truncated": whole[:-20], "emptied": b"", "other bytes": b"\x80" * 500}
        file.write_bytes(damages[damage])
        assert "is damaged" in told_by(script, tmp_path, kept)
        assert "damaged" not in told_by(script, tmp_path, kept)


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="modes of POSIX")
def test_code_where_others_can_write_is_neither_read_nor_kept(script: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    kept.mkdir(mode=0o755)
    told_by(script, tmp_path, kept)
    files = sorted(kept.rglob("small.twice-*"))
    assert len(files) == 2
    for each in files:
        each.write_bytes(b"\x80 poison")  # if it were read, it would be called damaged
    for folder in (kept, *(each for each in kept.rglob("*") if each.is_dir())):
        folder.chmod(0o777)
    said = told_by(script, tmp_path, kept)
    assert "others can write" in said
    assert "damaged" not in said
    assert [each.read_bytes() for each in files] == [b"\x80 poison"] * 2
    assert list((tmp_path / "own").rglob("small.twice-*.nbc"))
