"""A recipe gives the same bytes whatever the locale, time zone, hash seed, -O or umask.

The locales with a decimal comma are made for the test, from the sources that come with glibc.
And whatever sums its products of matrices: other kernels and threads of OpenBLAS, and, where
``LUTBENCH_OTHER_NUMPY`` names a folder with one, a numpy of another build (DEVELOPERS.md says
how one without any BLAS is made).
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
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
locale.setlocale(locale.LC_ALL, "")
assert locale.localeconv()["decimal_point"] == os.environ.get("COMMA", ".")
from lutbench.cli.main import main
main(sys.argv[1:])
"""
COMMA = {"COMMA": ","}
FAR = "Pacific/Kiritimati"
WAYS: dict[str, tuple[dict[str, str], list[str], str]] = {
    "as it is": ({}, [], "022"),
    "C": ({"LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0"}, [], "022"),
    "tr_TR": (COMMA | {"LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR.UTF-8"}, [], "022"),
    "de_DE, in Kiritimati": (COMMA | {"LC_ALL": "de_DE.UTF-8", "TZ": FAR}, [], "022"),
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


REPORTS = """
import contextlib
def run(*line):
    with contextlib.suppress(SystemExit):
        main(list(line))
for lut in ("out/viewing.cube", "out/curve.cube", "again.clf"):
    if lut == "again.clf":
        run("convert", "out/viewing.cube", lut, "--force")
    for line in (["inspect"], ["inspect", "--json"], ["identify", "--json"], ["identify"]):
        run(line[0], lut, *line[1:])
run("levels", "--curve", "ACEScct", "--lut", "out/viewing.cube", "--csv")
run("compare", "out/viewing.cube", "ACEScct, ACEScg to BT.1886, BT.709", "--json")
run("convert", "out/viewing.cube", "small.cube", "--size", "3", "--force")
print(open("small.cube").read())
run("list", "tones")
run("chart", "chart.png", "--json", "--force")
run("apply", "out/viewing.cube", "chart.png", "after.exr", "--force", "--json")
"""
"""Commands that read and write numbers, also with the image and XML libraries."""


def reports(way: str, folder: Path) -> str:
    """What the commands in `REPORTS` print."""
    more, switches, _ = WAYS[way]
    code = CODE.replace("main(sys.argv[1:])", REPORTS)
    environment = {key: value for key, value in os.environ.items() if not key.startswith("LC_")}
    done = subprocess.run(
        [sys.executable, *switches, "-c", code, "022"],
        cwd=folder,
        env=environment | {"PYTHONPATH": os.pathsep.join(sys.path)} | more,
        capture_output=True,
        check=False,
    )
    assert (done.returncode, b"rror" in done.stderr) == (0, False), done.stderr.decode()
    return done.stdout.decode()


@pytest.fixture(scope="module")
def locales(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """The locales of `WAYS`, in a folder where the C library looks for them."""
    folder = tmp_path_factory.mktemp("locales")
    for name in ("tr_TR", "de_DE"):
        made = folder / f"{name}.UTF-8"
        if tool := shutil.which("localedef"):
            subprocess.run([tool, "-i", name, "-f", "UTF-8", made], capture_output=True)
        if not (made / "LC_NUMERIC").exists():
            pytest.skip(f"the locale {name} cannot be made here: localedef or its sources lack")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOCPATH", str(folder))
        yield


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    return built("as it is", tmp_path_factory.mktemp("usual"))


@pytest.mark.slow
@pytest.mark.parametrize("way", [each for each in WAYS if COMMA.items() <= WAYS[each][0].items()])
def test_the_same_bytes_and_reports_with_a_decimal_comma(
    way: str, locales: None, usual: dict[str, str], tmp_path: Path
) -> None:
    assert built(way, tmp_path) == usual
    there, here = (reports(each, tmp_path) for each in (way, "as it is"))
    assert there == here
    assert len(there.splitlines()) > 100


@pytest.mark.parametrize(
    "way",
    [each for each in WAYS if each != "as it is" and not COMMA.items() <= WAYS[each][0].items()],
)
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
