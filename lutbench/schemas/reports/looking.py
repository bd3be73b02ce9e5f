"""The output of `inspect`."""

from __future__ import annotations

from lutbench.inspection.inspection import Inspection
from lutbench.schemas.reports.common import Unreadable

Inspect = Inspection | Unreadable
"""One report for each line."""
