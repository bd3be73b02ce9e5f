"""A recipe gives the same bytes whatever the locale, time zone, hash seed, -O or umask.

And whatever sums its products of matrices: other kernels and threads of OpenBLAS, and, where
``LUTBENCH_OTHER_NUMPY`` names a folder with one, a numpy of another build (DEVELOPERS.md says
how one without any BLAS is made).
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest

RECIPE = """\
title = "İstanbul ölçü"
size = 5
source = { curve = "ACEScct", gamut = "ACEScg" }
target = { curve = "BT.1886", gamut = "BT.709" }
[[lut]]
name = "viewing"
exposure = 0.5
tone = { contrast = 1.15 }
gamut = { method = "compress" }
[[lut]]
name = "curve"
kind = "curve"
dimensions = 1
size = 33
"""
# Decimal commas and a dotless i are what locales are known to break.
CODE = """
import locale, os, sys
os.umask(int(sys.argv.pop(1), 8))
try:
    locale.setlocale(locale.LC_ALL, "")
except locale.Error:
    pass
from lutbench.cli.main import main
main(sys.argv[1:])
"""
WAYS: dict[str, tuple[dict[str, str], list[str], str]] = {
    "as it is": ({}, [], "022"),
    "C": ({"LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0"}, [], "022"),
    "tr_TR": ({"LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR.UTF-8"}, [], "022"),
    "de_DE, in Kiritimati": ({"LC_ALL": "de_DE.UTF-8", "TZ": "Pacific/Kiritimati"}, [], "022"),
    "another hash seed, -O": ({"PYTHONHASHSEED": "12345"}, ["-O"], "077"),
    "two threads": ({"OPENBLAS_NUM_THREADS": "2", "NUMBA_NUM_THREADS": "2"}, ["-OO"], "000"),
    # The kernels for a processor of 2004: SSE3, no fused multiply-add.
    "other kernels": ({"OPENBLAS_CORETYPE": "Prescott", "OPENBLAS_NUM_THREADS": "2"}, [], "022"),
}


def built(way: str, folder: Path, before: str = "") -> dict[str, str]:
    """The digests of what a way of running builds; `before` comes first on Python's path."""
    more, switches, mask = WAYS[way]
    (folder / "day.toml").write_text(RECIPE, encoding="utf-8")
    environment = {key: value for key, value in os.environ.items() if not key.startswith("LC_")}
    done = subprocess.run(
        [sys.executable, *switches, "-c", CODE, mask, "build", "day.toml", "-o", "out"],
        cwd=folder,
        env=environment | {"PYTHONPATH": os.pathsep.join([before, *sys.path])} | more,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode("utf-8", "replace")
    made = sorted((folder / "out").glob("*.cube"))
    if os.name == "posix":
        assert {path.stat().st_mode & 0o777 for path in made} == {0o666 & ~int(mask, 8)}
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in made}


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    return built("as it is", tmp_path_factory.mktemp("usual"))


@pytest.mark.parametrize("way", [each for each in WAYS if each != "as it is"])
def test_the_same_bytes(way: str, usual: dict[str, str], tmp_path: Path) -> None:
    assert len(usual) == 2
    assert built(way, tmp_path) == usual


OTHER = os.environ.get("LUTBENCH_OTHER_NUMPY", "")


@pytest.mark.skipif(not OTHER, reason="LUTBENCH_OTHER_NUMPY names no folder with a numpy")
def test_the_same_bytes_of_another_numpy(usual: dict[str, str], tmp_path: Path) -> None:
    code = "import numpy; print(numpy.show_config(mode='dicts')['Build Dependencies']['blas'])"
    configured = {
        path: subprocess.run(
            [sys.executable, "-c", code],
            env=os.environ | {"PYTHONPATH": path},
            capture_output=True,
            check=True,
        ).stdout
        for path in ("", OTHER)
    }
    assert configured[""] != configured[OTHER], "it is the same build"
    assert built("as it is", tmp_path, OTHER) == usual
