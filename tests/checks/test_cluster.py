"""Checks on a Dask cluster whose workers stand in another folder."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from distributed import LocalCluster

from lutbench.cli.main import group
from lutbench.formats.cube_write import write_cube
from lutbench.tables.lut import Lut3D

SUITE = """
[[check]]
name = "same"
kind = "reference"
lut = "same.cube"
exact = "linear to linear; kind=curve"

[[check]]
name = "lifted"
kind = "reference"
lut = "lifted.cube"
exact = "linear to linear; kind=curve"

[[check]]
name = "missing"
kind = "invariants"
lut = "no.cube"
"""


def test_a_suite_on_a_cluster(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with LocalCluster(
        n_workers=1, threads_per_worker=2, processes=True, dashboard_address="127.0.0.1:0"
    ) as cluster:
        monkeypatch.chdir(tmp_path)
        write_cube(Lut3D.identity(5), "same.cube")
        write_cube(Lut3D(Lut3D.identity(5).table + 0.01), "lifted.cube")
        Path("suite.toml").write_text(SUITE)
        args = ["verify", "suite.toml", "--json"]
        address = cluster.scheduler_address
        there = CliRunner().invoke(group, [*args, "--scheduler", address], standalone_mode=False)
    here = CliRunner().invoke(group, args, standalone_mode=False)
    assert there.return_value == here.return_value == 1
    assert _checks(there.stdout) == _checks(here.stdout)
    assert [each["status"] for each in _checks(here.stdout)] == ["passed", "failed", "error"]
    assert _checks(there.stdout)[1]["show"].startswith("lutbench compare lifted.cube ")


def _checks(text: str) -> list[dict]:
    checks = json.loads(text)["suites"][0]["checks"]
    return [{key: value for key, value in each.items() if key != "seconds"} for each in checks]
