"""A sequence on a Dask cluster of two worker processes, one of them killed in the middle."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import numpy as np
import pytest
from distributed import LocalCluster
from PIL import Image
from skimage import data

from lutbench.media.sequence.frames import list_frames
from lutbench.media.sequence.sequence import SequenceRun, run_sequence
from lutbench.media.treatment import FramesOutcome, Treatment
from lutbench.tables.lut import Lut3D

LUT = Lut3D(1 - Lut3D.identity(9).table ** 1.7)
COUNT = 24


@pytest.mark.slow
def test_a_killed_worker_loses_no_frame_and_doubles_none(tmp_path: Path) -> None:
    (tmp_path / "shot").mkdir()
    pictures = [np.roll(data.coffee()[::2, ::2], 7 * number, axis=1) for number in range(COUNT)]
    for number, picture in enumerate(pictures):
        Image.fromarray(picture).save(tmp_path / "shot" / f"s.{number:03d}.png", compress_level=1)
    (tmp_path / "shot" / "s.013.png").write_text("no picture")
    frames = list_frames(tmp_path / "shot" / "s.###.png", tmp_path / "out" / "v.###.png")
    killed: list[int] = []
    seen: list[int] = []
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0"
    ) as cluster:

        def kill_one(outcome: FramesOutcome) -> None:
            seen.append(outcome.written + len(outcome.failed))
            if outcome.written == 6 and not killed:
                victim = cluster.workers[0].pid
                os.kill(victim, signal.SIGKILL)
                killed.append(victim)

        on_cluster = SequenceRun(scheduler=cluster.scheduler_address)
        outcome = run_sequence(
            frames,
            Treatment(LUT),
            "x",
            on_cluster,
            watch=kill_one,
        )
        assert killed
        # Each frame is told of once, and counted once.
        assert seen == list(range(COUNT + 1))
        assert (outcome.written, outcome.skipped) == (COUNT - 1, 0)
        assert [frame.source.name for frame, _ in outcome.failed] == ["s.013.png"]
        assert "\n" not in outcome.failed[0][1]
        again = run_sequence(frames, Treatment(LUT), "x", on_cluster)
        assert (again.written, again.skipped, len(again.failed)) == (0, COUNT - 1, 1)
    names = sorted(each.name for each in (tmp_path / "out").iterdir())
    assert names == [".v.###.png.lutbench.json"] + [
        f"v.{number:03d}.png" for number in range(COUNT) if number != 13
    ]
    for number, picture in enumerate(pictures):
        if number != 13:
            exact = LUT.apply(picture / 255.0) * 255
            with Image.open(tmp_path / "out" / f"v.{number:03d}.png") as image:
                assert np.abs(np.asarray(image) - exact).max() <= 0.5 + 255 * 2e-6
