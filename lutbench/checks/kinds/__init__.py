"""The kinds of checks by their names in a suite."""

from __future__ import annotations

from lutbench.checks.base import Check
from lutbench.checks.kinds.baseline import Baseline
from lutbench.checks.kinds.bytes import Bytes
from lutbench.checks.kinds.health import HealthCheck
from lutbench.checks.kinds.invariants import Invariants
from lutbench.checks.kinds.levels import LevelsCheck
from lutbench.checks.kinds.manifest import Manifest
from lutbench.checks.kinds.model import CurveValues, GamutMatrix, Registry
from lutbench.checks.kinds.picture import Picture
from lutbench.checks.kinds.reference import Reference
from lutbench.checks.kinds.written import WrittenCheck

KINDS: dict[str, type[Check]] = {
    each.kind: each
    for each in (
        Reference,
        Baseline,
        HealthCheck,
        LevelsCheck,
        Invariants,
        Bytes,
        Picture,
        CurveValues,
        GamutMatrix,
        Registry,
        WrittenCheck,
        Manifest,
    )
}
