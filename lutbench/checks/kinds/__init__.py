"""The kinds of checks by their names in a suite."""

from __future__ import annotations

from lutbench.checks.base import Check
from lutbench.checks.kinds.baseline import BaselineCheck
from lutbench.checks.kinds.bytes import BytesCheck
from lutbench.checks.kinds.compiled import CompiledCheck
from lutbench.checks.kinds.health import HealthCheck
from lutbench.checks.kinds.invariants import InvariantsCheck
from lutbench.checks.kinds.levels import LevelsCheck
from lutbench.checks.kinds.manifest import ManifestCheck
from lutbench.checks.kinds.model import CurveCheck, MatrixCheck, RegistryCheck
from lutbench.checks.kinds.picture import PictureCheck
from lutbench.checks.kinds.reference import ReferenceCheck
from lutbench.checks.kinds.written import WrittenCheck

KINDS: dict[str, type[Check]] = {
    each.kind: each
    for each in (
        ReferenceCheck,
        BaselineCheck,
        HealthCheck,
        LevelsCheck,
        InvariantsCheck,
        BytesCheck,
        PictureCheck,
        CurveCheck,
        MatrixCheck,
        RegistryCheck,
        WrittenCheck,
        ManifestCheck,
        CompiledCheck,
    )
}
