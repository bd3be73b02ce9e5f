"""A measured display in a recipe: the output of the LUT is calibrated for it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.exposure.luminance import Shown
from lutbench.files import read_bytes
from lutbench.model.encoding import Encoding
from lutbench.model.light import REFERENCE_SURROUND_CD_M2, Display
from lutbench.model.signal import RangeFromSignal, SignalFromRange
from lutbench.model.transforms import Pipeline, Transform

if TYPE_CHECKING:
    from lutbench.display.fit import DisplayFit
    from lutbench.display.measurements import Measurements
    from lutbench.display.model import DisplayModel
    from lutbench.display.target import Target
    from lutbench.measure.delta_e import View


@dataclass(frozen=True, eq=False)
class MeasuredDisplay:
    """A display known by meter readings, calibrated to show the signals of an encoding."""

    path: Path
    """The file with the readings."""
    digest: str
    """Its SHA-256."""
    readings: Measurements
    """The meter's readings."""
    asked: Encoding
    """The encoding whose signals the display shows. Where it names a display, that gives the peak
    and the surround; else the peak is the highest that the display reaches."""

    @property
    def fit(self) -> DisplayFit:
        """The model of the display, fitted once for each file."""
        return _fitted(self.path, self.digest)

    @cached_property
    def target(self) -> Target:
        """The target of the calibration."""
        from lutbench.display.target import target_for

        display = self.asked.display
        found = target_for(
            self.fit.model,
            self.asked.curve,
            self.asked.gamut,
            None if display is None else display.peak,
        )
        return replace(
            found, surround=REFERENCE_SURROUND_CD_M2 if display is None else display.surround
        )

    @cached_property
    def step(self) -> Transform:
        """The transform from full-scale values of the encoding to the display's code values."""
        from lutbench.display.calibration import Calibration

        steps: list[Transform] = [Calibration(self.fit.model, self.target)]
        if self.asked.range == "legal":
            steps.insert(0, SignalFromRange("legal", self.asked.bits))
        if self.readings.range == "legal":
            steps.append(RangeFromSignal("legal"))
        return Pipeline(tuple(steps))

    @property
    def view(self) -> View:
        """The view of the values that the display receives, by its model."""
        from lutbench.display.model import ModelView

        hdr = self.asked.curve.hdr
        return ModelView(
            self.asked,
            float(self.fit.model.white[1]),
            hdr=hdr,
            description="the measured display",
            model=self.fit.model,
            coding=self.readings.range,
        )

    @property
    def shown(self) -> Shown:
        """The luminance that the display gives for the code values that it receives."""
        model, asked = self.fit.model, self.target
        white, black = float(model.white[1]), float(model.darkest[1])
        display = Display(white, max(black, 0.0), asked.surround)
        return _ShownByModel(self.asked, display, model, self.path.name)

    @property
    def words(self) -> str:
        """A description of the display for the comments of a LUT."""
        asked = self.target
        return (
            f"{self.path.name} (sha256 {self.digest}), {len(self.readings.names)} patches, "
            f"{self.readings.range} range; calibrated to white {asked.peak:.4g}, black "
            f"{asked.black:.3g} cd/m²"
        )


@dataclass(frozen=True, eq=False)
class _ShownByModel(Shown):
    """The luminance of a measured display's code values, by its model."""

    model: DisplayModel
    name: str

    def luminance(self, signal: Any) -> float:
        return float(self.model.xyz(np.clip(np.asarray(signal, dtype=np.float64), 0, 1))[1])

    def __str__(self) -> str:
        return f"on the display measured in {self.name}; the LUT gives its code values"


def measured_display(path: Path, asked: Encoding, where: str = "") -> MeasuredDisplay:
    """The display measured in a CSV file, for the signals of an encoding.

    Raises LutbenchError when the file holds no readings, or the encoding is not one for displays.
    """
    from lutbench.display.measurements import read_measurements
    from lutbench.display.target import check_shown
    from lutbench.formats.columns import MOST_BYTES

    if not asked.curve.shown:
        raise LutbenchError(
            f"{asked.curve.name!r} is not a curve for displays",
            where=where,
            accepted="a measured display with a target curve for viewing",
        )
    check_shown(asked.curve)
    readings = read_measurements(path)
    digest = hashlib.sha256(read_bytes(path, limit=MOST_BYTES)).hexdigest()
    return MeasuredDisplay(path, digest, readings, asked)


@lru_cache(maxsize=8)
def _fitted(path: Path, digest: str) -> DisplayFit:
    """The model for a file; the digest makes a changed file a new entry of the cache."""
    from lutbench.display.fit import fit_display
    from lutbench.display.measurements import read_measurements

    return fit_display(read_measurements(path))
