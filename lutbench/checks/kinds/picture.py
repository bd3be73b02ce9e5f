"""The kind `picture`: a still through a LUT against a stored still."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal

import numpy as np

from lutbench.checks.base import Check, CheckResult, Context
from lutbench.checks.judging import judge, view_for
from lutbench.checks.kinds.baseline import not_itself, record
from lutbench.checks.limits import NAMES, checked_limits
from lutbench.checks.settings import End, Limits
from lutbench.errors import DefinitionError, LutbenchError
from lutbench.measure.samples import SampledColours
from lutbench.model.signal import CODES_10_BIT
from lutbench.recipes import keys
from lutbench.tables.lut import Interpolation

if TYPE_CHECKING:
    from lutbench.media.still.still import Still

LEAST_LIMIT_CODES = 0.1
"""Smallest default limit in 10-bit codes: the same LUT may differ by that after rounding."""


@dataclass(frozen=True, kw_only=True)
class PictureCheck(Check):
    """A still through a LUT against a stored still."""

    kind: ClassVar[str] = "picture"
    lut: str
    still: str
    stored: str
    """A PNG, TIFF, DPX or OpenEXR file that `verify --record` writes."""
    depth: Literal["", "8", "10", "12", "16", "half", "float"] = ""
    interpolation: Annotated[Interpolation | None, keys.usual("tetrahedral")] = None
    limits: Limits | None = None
    target: End = None

    def __post_init__(self) -> None:
        self.respell("limits", "limit", NAMES)
        if Path(self.stored).suffix.lower() in (".jpg", ".jpeg"):
            raise DefinitionError(
                "JPEG does not keep the exact values",
                where=self.at("stored"),
                accepted="PNG, TIFF, DPX or OpenEXR",
            )

    @property
    def recording(self) -> str:
        return self.stored

    def run(self, context: Context) -> CheckResult:
        from lutbench.media.still.still import apply_to_still, read_still, write_still

        if self.limits is not None:
            checked_limits(self.limits, self.at("limits"))
        side = context.subject(self.lut)
        transform = side.transform.with_interpolation(self.interpolation)
        path = context.path(self.stored)
        still = context.path(self.still)
        not_itself(still, path, self.where, "the still is its own result")
        if not context.record and not path.exists():
            raise LutbenchError(
                "there is no stored still",
                where=path,
                accepted="one made with `lutbench verify --record`",
            )
        source = read_still(still)
        shown = apply_to_still(transform, source)
        # Written and read again, so that both have the same rounding.
        with tempfile.TemporaryDirectory() as folder:
            fresh = Path(folder) / f"picture{path.suffix}"
            write_still(shown, fresh, depth=self.depth or None)
            if context.record:
                return record(context, context.place(self.stored, self.where), fresh.read_bytes())
            found, stored = read_still(fresh), read_still(path)
        if unlike := _unlike(found, stored):
            return CheckResult(False, unlike)
        pixels = [each.signal().reshape(-1, 3).astype(np.float64) for each in (found, stored)]
        inputs = source.signal().reshape(-1, 3)
        places = _Places(stored.width, len(inputs))
        samples = SampledColours("pixel", inputs.astype(np.float64), places)
        show = ("lutbench", "apply", context.shown(self.lut), context.shown(self.still), "now.png")
        return judge(
            [samples],
            [pixels[0]],
            [pixels[1]],
            view_for(self.target or side.target),
            default_limits(stored) if self.limits is None else self.limits,
            show,
        )


def default_limits(stored: Still) -> dict[str, float]:
    """One code at the stored still's depth, for rounding; for floats 0.1 of a 10-bit code."""
    step = 0.0 if stored.full_scale == 1.0 else 1.02 * 1023 / stored.full_scale
    return {"code_10bit": max(LEAST_LIMIT_CODES, step)}


def _unlike(found: Still, stored: Still) -> str:
    """How two stills differ in what is not R G B: in size, or beyond rounding in other channels."""
    if found.pixels.shape[:2] != stored.pixels.shape[:2]:
        return (
            f"the picture is {found.width} by {found.height} pixels, the stored one "
            f"{stored.width} by {stored.height}"
        )
    step = default_limits(stored)["code_10bit"] / CODES_10_BIT
    one, other = (each.pixels[..., 3:] / each.full_scale for each in (found, stored))
    if found.channels == stored.channels and np.allclose(
        one, other, rtol=0, atol=step, equal_nan=True
    ):
        return ""
    return "the channels beside R G B, such as alpha, are not those of the stored one"


class _Places(Sequence[str]):
    """Names of pixels, made on demand: a picture has millions."""

    def __init__(self, width: int, count: int) -> None:
        self.width = width
        self.length = count

    def __len__(self) -> int:
        return self.length

    def __getitem__(self, index: Any) -> Any:
        return f"pixel x {index % self.width}, y {index // self.width}"
