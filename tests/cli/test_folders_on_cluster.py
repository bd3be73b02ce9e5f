"""`identify` and `inspect` of a folder say the same here and on a Dask cluster, and in order."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

import lutbench as lb
from lutbench.cli.main import group

pytest.importorskip("distributed")
pytestmark = pytest.mark.slow

WORDS = "{}, ACEScg to BT.1886, BT.709; size=9"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """LUTs, and among them a file that is none."""
    place = tmp_path_factory.mktemp("set")
    for name in ("ACEScct", "ACEScc", "Cineon", "linear"):
        lb.build(WORDS.format(name)).save(place / f"{name}.cube")
    (place / "broken.cube").write_text("LUT_3D_SIZE 2\n0 0 0\n")
    return place


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_a_folder_on_a_cluster(folder: Path) -> None:
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        for command in ("identify", "inspect"):
            line = [command, str(folder), "--json", "--quiet"]
            here, there = (
                CliRunner().invoke(group, [*line, *where], standalone_mode=False)
                for where in (["--jobs", "1"], ["--scheduler", cluster.scheduler_address])
            )
            assert here.exception is there.exception is None
            assert there.return_value == here.return_value == 2  # of the broken file
            assert there.stdout == here.stdout
            told = [json.loads(each) for each in there.stdout.splitlines()]
            names = [Path(each["file"]).name for each in told]
            assert names == sorted((each.name for each in folder.iterdir()), key=str.casefold)
            assert [each["file"] for each in told if "error" in each] == [
                str(folder / "broken.cube")
            ]


def test_a_scheduler_that_is_not_there_is_one_line(folder: Path) -> None:
    for command in ("identify", "inspect"):
        line = [command, str(folder), "--scheduler", "tcp://127.0.0.1:9"]
        found = CliRunner().invoke(group, line, standalone_mode=False)
        assert isinstance(found.exception, lb.LutbenchError)
        assert "127.0.0.1:9" in str(found.exception)
