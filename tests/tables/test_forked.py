"""A process that forks after the compiled kernels have run on several threads."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

FORK = """
import os, sys, threading
import numpy as np
from lutbench.tables.lut import Lut3D
from lutbench.tables import pixels

pixels._is_few = lambda *_: False  # the compiled kernel, whatever there is to do
lut = Lut3D(Lut3D.identity(17).table ** 0.8)
rgb = np.random.default_rng(1).random((400_000, 3), np.float32)
wanted = lut.apply(rgb, threads=2)
assert "lutbench.tables.kernels" in sys.modules
assert any(each.name.startswith("lutbench") for each in threading.enumerate())
child = os.fork()
if child == 0:
    ok = np.array_equal(lut.apply(rgb, threads=2), wanted)
    ok = ok and np.array_equal(lut.apply(rgb, threads=1), wanted)
    os._exit(0 if ok else 1)
_, status = os.waitpid(child, 0)
assert np.array_equal(lut.apply(rgb, threads=2), wanted)
print(os.waitstatus_to_exitcode(status))
"""


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")
def test_a_child_goes_on_with_kernels_and_threads() -> None:
    done = subprocess.run(
        [sys.executable, "-W", "ignore::DeprecationWarning", "-c", FORK],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        timeout=300,
        check=False,
    )
    assert done.stdout.strip() == "0", done.stderr
