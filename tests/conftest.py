"""What all tests share: one thread of linear algebra to a process."""

from __future__ import annotations

import os

# Before NumPy is imported: two processes run the suite, each on a core of its own.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import settings

# How long an example takes says more of what else the machine does.
settings.register_profile("lutbench", deadline=None)
settings.load_profile("lutbench")
