"""The pytest plugin in projects of its own."""

from __future__ import annotations

import subprocess
import sys
import tomllib
import venv
import zipfile
from importlib.metadata import entry_points
from pathlib import Path

# In-process runs put sys.modules back when they end: what is imported here, once, stays.
import colour
import numpy as np
import OpenImageIO
import pytest

import lutbench
import lutbench.checks.independent
import lutbench.checks.runner
import lutbench.media.still.still
from lutbench.errors import LutbenchError
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut3D
from lutbench.testing import assert_lut_close, assert_matches_reference

pytest_plugins = ["pytester"]

KEPT = (colour, OpenImageIO)
ROOT = Path(__file__).resolve().parents[2]
QUICK = "ACEScct, ACEScg to BT.1886, BT.709"

SUITE = f"""
title = "Salt Road"

[[check]]
name = "monitor is exact"
kind = "reference"
lut = "monitor.cube"
exact = "{QUICK}"
tags = ["monitor"]
reason = "the crew lights by it"

[[check]]
name = "monitor has not drifted"
kind = "baseline"
lut = "monitor.cube"
baseline = "baselines/monitor.csv"
"""

USES = """
from lutbench import open_lut
from lutbench.pytest_plugin import assert_lut_close, assert_matches_reference

QUICK = "ACEScct, ACEScg to BT.1886, BT.709"

def test_close():
    assert_lut_close(open_lut("monitor.cube"), f"{QUICK}; size=9", delta_e=0.1)

def test_reference():
    assert_matches_reference("monitor.cube", QUICK)

def test_baseline(lut_baseline):
    lut_baseline(open_lut("monitor.cube"))
    lut_baseline(QUICK, name="exact")
"""


@pytest.fixture
def project(pytester: pytest.Pytester) -> pytest.Pytester:
    lut = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=9)
    write_cube(lut, pytester.path / "monitor.cube")
    (pytester.path / "day.lutbench.toml").write_text(SUITE)
    pytester.makepyfile(test_monitor=USES)
    return pytester


def damage(project: pytest.Pytester, amount: float = 0.005) -> None:
    """Move one node of the monitor's LUT by 5 codes."""
    lut = lutbench.open_lut(project.path / "monitor.cube")
    table = lut.table.copy()
    table[4, 3, 2, 1] += amount
    write_cube(Lut3D(table), project.path / "monitor.cube", force=True)


def run(project: pytest.Pytester, *args: str) -> pytest.RunResult:
    named = {each.name for each in entry_points(group="pytest11")}
    # Metadata from before the plugin was declared does not name it.
    plugin = () if "lutbench" in named else ("-p", "lutbench.pytest_plugin")
    return project.runpytest_inprocess(*plugin, "-p", "no:cacheprovider", *args)


def test_record_then_pass_then_fail(project: pytest.Pytester) -> None:
    run(project).assert_outcomes(passed=3, failed=2)  # no baselines yet
    run(project, "--lutbench-record").assert_outcomes(passed=5)
    files = sorted(path.name for path in (project.path / "lutbench_baselines").iterdir())
    assert files == ["test_monitor-test_baseline-exact.csv", "test_monitor-test_baseline.csv"]
    run(project).assert_outcomes(passed=5)
    damage(project)
    result = run(project)
    result.assert_outcomes(failed=5)
    result.stdout.fnmatch_lines(
        [
            "*reference check 'monitor is exact'*",
            "*maximum 10-bit codes 5.1*, limit 0.1*",
            "*in 511.5 383.6 255.8, found *",
            "*reason: the crew lights by it*",
            "*to see it: lutbench compare monitor.cube*",
        ]
    )
    result.stdout.fnmatch_lines(["*AssertionError: *is not close to*"])
    run(project, "--lutbench-record").assert_outcomes(failed=5)  # records only what is missing
    run(project, "--lutbench-replace").assert_outcomes(passed=2, failed=3)


def test_selection_by_name_and_tag(project: pytest.Pytester) -> None:
    run(project, "-k", "monitor and exact").assert_outcomes(passed=1, deselected=4)
    listed = run(project, "--collect-only", "-q", "day.lutbench.toml")
    listed.stdout.fnmatch_lines(["day.lutbench.toml::monitor is exact"])


@pytest.mark.slow
def test_with_xdist(project: pytest.Pytester) -> None:
    # Without the test that imports colour-science, which two processes would do anew.
    chosen = ("-k", "not test_reference")
    run(project, "-n", "2", *chosen, "--lutbench-record").assert_outcomes(passed=4)
    run(project, *chosen).assert_outcomes(passed=4, deselected=1)


def test_a_corrupt_baseline_is_an_error(project: pytest.Pytester) -> None:
    run(project, "--lutbench-record").assert_outcomes(passed=5)
    path = project.path / "lutbench_baselines" / "test_monitor-test_baseline.csv"
    path.write_text(path.read_text().replace("0.500000", "0.500001"))
    result = run(project, "test_monitor.py", "-k", "baseline")
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["*digest does not match*"])


def test_a_suite_that_cannot_be_used_is_a_collection_error(project: pytest.Pytester) -> None:
    (project.path / "day.lutbench.toml").write_text('[[check]]\nname = "x"\nkind = "refrence"\n')
    result = run(project, "day.lutbench.toml")
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*no kind of check is named 'refrence'; accepted: reference*"])


def test_names_of_parametrised_tests(project: pytest.Pytester) -> None:
    project.makepyfile(
        test_many="""
        import pytest

        @pytest.mark.parametrize("size", [3, 5])
        @pytest.mark.parametrize("sign", ["a/b", "a:b"])
        def test_many(lut_baseline, size, sign):
            lut_baseline(f"ACEScct to BT.1886; kind=curve; size={size}")

        def test_twice(lut_baseline):
            lut_baseline("ACEScct to BT.1886; kind=curve")
            lut_baseline("ACEScct to BT.1886; kind=curve")
        """
    )
    result = run(project, "test_many.py", "--lutbench-record")
    result.assert_outcomes(passed=4, failed=1)
    result.stdout.fnmatch_lines(["*give each its own name*"])
    assert len(list((project.path / "lutbench_baselines").iterdir())) == 5


def test_a_run_that_does_not_use_it_pays_nothing(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(
        """
        import sys

        def test_light():
            heavy = {"numpy", "colour", "scipy", "numba", "matplotlib", "click", "rich"}
            assert "lutbench.pytest_plugin" in sys.modules
            assert not heavy & set(sys.modules)
        """
    )
    named = {each.name for each in entry_points(group="pytest11")}
    plugin = [] if "lutbench" in named else ["-p", "lutbench.pytest_plugin"]
    # Other plugins may import what they like: only this one is loaded.
    alone = ["-p", "no:benchmark", "-p", "no:hypothesispytest", "-p", "no:xdist", "-p", "no:cov"]
    others = ["-p", "no:playwright", "-p", "no:skimage"]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", *plugin, *alone, *others],
        cwd=pytester.path,
        capture_output=True,
        text=True,
    )
    assert "1 passed" in done.stdout, done.stdout + done.stderr


@pytest.mark.slow
def test_installed_in_a_fresh_environment(project: pytest.Pytester, tmp_path: Path) -> None:
    """A wheel, unpacked into an environment that knows the dependencies but not this checkout."""
    pytest.importorskip("hatchling")
    wheels = tmp_path / "wheels"
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(wheels)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    home = tmp_path / "fresh"
    venv.create(home, with_pip=False)
    (site,) = home.glob("lib/python*/site-packages")
    (wheel,) = wheels.glob("*.whl")
    zipfile.ZipFile(wheel).extractall(site)
    (site / "dependencies.pth").write_text(f"{Path(np.__file__).parents[1]}\n")
    done = subprocess.run(
        [
            home / "bin" / "python",
            *["-m", "pytest", "-q", "-p", "no:cacheprovider", "--lutbench-record"],
        ],
        cwd=project.path,
        capture_output=True,
        text=True,
    )
    assert "5 passed" in done.stdout, done.stdout + done.stderr


def test_entry_point_is_declared() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert project["entry-points"]["pytest11"] == {"lutbench": "lutbench.pytest_plugin"}


# The assertions without pytest.

LUT = lutbench.build("ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=9)


def _moved(amount: float) -> Lut3D:
    table = np.asarray(LUT.table).copy()
    table[4, 4, 4] += amount
    return Lut3D(table)


def test_assert_lut_close() -> None:
    assert_lut_close(LUT, f"{QUICK}; size=9")
    assert_lut_close(LUT, _moved(0.001), codes=1.1)
    with pytest.raises(
        AssertionError, match=r"maximum ΔE 2000 .*, limit 0.1\nnodes of 9: in 511.5"
    ):
        assert_lut_close(LUT, _moved(0.01), delta_e=0.1)
    with pytest.raises(AssertionError, match=r"10-bit codes 1\.023, limit 0\.1"):
        assert_lut_close(LUT, _moved(0.001))


def test_assert_matches_reference(tmp_path: Path) -> None:
    assert_matches_reference(LUT, QUICK)
    assert_matches_reference(LUT, QUICK, by="lutbench")
    with pytest.raises(AssertionError, match="does not match"):
        assert_matches_reference(_moved(0.001), QUICK)
    with pytest.raises(AssertionError, match=r"10-bit codes"):
        assert_matches_reference(LUT, QUICK, colours=["random"])  # between nodes
    values = tmp_path / "measured.csv"
    values.write_text("r,g,b,r_out,g_out,b_out\n1,1,1,1,1,1\n0,0,0,0,0,0\n")
    assert_matches_reference(LUT, str(values))
    values.write_text("r,g,b,r_out,g_out,b_out\n1,1,1,0.99,1,1\n")
    with pytest.raises(AssertionError, match=r"10-bit codes 10\.23, limit 0\.1"):
        assert_matches_reference(LUT, str(values))


@pytest.mark.parametrize(
    "options",
    [{"codes": float("inf")}, {"delta_e": float("nan")}, {"codes": -1.0}, {"colours": []}],
)
def test_assertions_that_would_compare_nothing(options: dict) -> None:
    with pytest.raises(LutbenchError):
        assert_lut_close(LUT, LUT, **options)
