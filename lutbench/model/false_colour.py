"""False colour: bands of exposure painted on the picture."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import DefinitionError, NotInvertibleError
from lutbench.model.curves.base import MID_GREY, Curve
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamuts import Gamut
from lutbench.model.signal import Range, check_range, code_from_signal, signal_from_code
from lutbench.model.transforms import Array, Transform

# Okabe and Ito, 2008, "Color Universal Design": a palette of colours that people with any
# common kind of colour vision can distinguish.
OKABE_ITO = {
    "orange": "#E69F00",
    "sky blue": "#56B4E9",
    "bluish green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermillion": "#D55E00",
    "reddish purple": "#CC79A7",
}


@dataclass(frozen=True)
class Band:
    """A range of exposure, `low` to `high` stops from mid grey, and its colour (``#RRGGBB``).

    A band that `clips` is also shown wherever any channel is at its highest code, and takes
    precedence over the others.
    """

    low: float
    high: float
    colour: str
    label: str = ""
    clips: bool = False

    def __post_init__(self) -> None:
        if math.isnan(self.low) or math.isnan(self.high) or not self.low < self.high:
            raise DefinitionError(
                f"a band from {self.low:g} to {self.high:g} stops has no width",
                accepted="low below high",
            )
        if not re.fullmatch(r"#[0-9A-Fa-f]{6}", self.colour):
            raise DefinitionError(
                f"{self.colour!r:.40} is not a colour",
                accepted="#RRGGBB or " + ", ".join(OKABE_ITO),
            )

    @property
    def signal(self) -> Array:
        """The colour as R G B signal, 0..1, shape (3,)."""
        digits = self.colour[1:]
        return np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255


def default_bands(clip: float) -> tuple[Band, ...]:
    """Five bands for a curve that clips `clip` stops above grey.

    Half a stop each around mid grey, a 90 % white card and three stops under grey; the last
    half stop under clipping; and everything six stops under grey and darker.
    """
    white = math.log2(0.9 / MID_GREY)
    # If a curve clips near white, the last half stop is shortened to stay above white.
    top = max(clip - 0.5, white + 0.25)
    return (
        Band(-math.inf, -6.0, OKABE_ITO["bluish green"], "6 stops under grey and darker"),
        Band(-3.25, -2.75, OKABE_ITO["blue"], "3 stops under grey"),
        Band(-0.25, 0.25, OKABE_ITO["orange"], "mid grey, 18 %"),
        Band(white - 0.25, white + 0.25, OKABE_ITO["sky blue"], "white card, 90 %"),
        Band(
            top, math.inf, OKABE_ITO["reddish purple"], "clips, or within half a stop of it", True
        ),
    )


@dataclass(frozen=True)
class FalseColour(Transform):
    """Colours where the scene's luminance is in a band, grey elsewhere.

    Luminance is that of the light decoded from the source encoding, after `exposure` stops.
    Where bands overlap, the first one counts. Outside the bands the picture is grey: the
    luminance encoded with the `grey` curve. Input and output are full-scale values.
    """

    curve: Curve
    gamut: Gamut
    bands: tuple[Band, ...]
    range: Range = None  # type: ignore[assignment]  # the codes as the curve publishes them
    bits: int = 10
    exposure: float = 0.0
    grey: Curve = field(default_factory=Bt1886)
    kind: ClassVar[Literal["false_colour"]] = "false_colour"

    def __post_init__(self) -> None:
        if self.range is None:
            object.__setattr__(self, "range", self.curve.formula_codes)
        if not self.bands:
            raise DefinitionError("false colour has no bands", accepted="one band or more")
        object.__setattr__(self, "range", check_range(self.range))

    @property
    def narrowest(self) -> tuple[float, Band] | None:
        """The narrowest band with two finite ends: its width in signal, and the band."""
        widths = []
        for band in self.bands:
            ends = MID_GREY * 2.0 ** (np.array([band.low, band.high]) - self.exposure)
            low, high = np.clip(self.curve.encode(np.minimum(ends, 1e6)), 0, 1)
            if math.isfinite(band.low) and math.isfinite(band.high) and high > low:
                widths.append((float(high - low), band))
        return min(widths, key=lambda each: each[0]) if widths else None

    @property
    def usual_size(self) -> int:
        """Nodes along an edge, 33, 65 or 129, so that no band is narrower than their distance."""
        width = self.narrowest[0] if self.narrowest else 1.0
        return next((size for size in (33, 65) if width * (size - 1) >= 1), 129)

    @property
    def needs_usual_size(self) -> str:
        """The band that needs `usual_size`, in words to follow it; empty if it is the least."""
        if self.narrowest is None or self.usual_size == 33:
            return ""
        band = self.narrowest[1]
        return f", which the narrow band {(band.label or band.colour)!r} needs"

    def refuse_coarse(self, size: int, where: str) -> None:
        """Refuse a size whose nodes are further apart than the narrowest band is wide.

        Raises
        ------
        DefinitionError
            With the size that is needed.
        """
        if self.narrowest is None:
            return
        width, band = self.narrowest
        if width * (size - 1) >= 1:
            return
        needed = math.ceil(1 / width) + 1
        raise DefinitionError(
            f"the band {band.label or band.colour!r} ({100 * width:.1f} % of the signal) is "
            f"narrower than the distance between two nodes ({100 / (size - 1):.1f} %): "
            "it would look patchy",
            where=where,
            accepted=f"size {needed} or more",
        )

    def stops(self, rgb: Array) -> Array:
        """Stops from mid grey of the luminance of `rgb`, (..., 3); minus infinity for black."""
        signal = signal_from_code(rgb * (2**self.bits - 1), self.bits, self.range)
        luminance = self.curve.decode(signal) @ np.array(self.gamut.luminance_weights)
        with np.errstate(divide="ignore"):
            return np.asarray(np.log2(np.maximum(luminance, 0) / MID_GREY) + self.exposure)

    @property
    def clips_from(self) -> float:
        """The full-scale value of the recording's highest code, less half a code."""
        top = 1.0 if self.range == "full" else self.curve.ends[1]
        code = code_from_signal(top - 0.5 / 1023, self.bits, self.range)
        return float(code / (2**self.bits - 1))

    def clipped(self, rgb: Array) -> NDArray[np.bool_]:
        """Where any channel is at the recording's highest code, within half a code."""
        return np.asarray((rgb >= self.clips_from).any(axis=-1))

    def _apply(self, rgb: Array) -> Array:
        stops = self.stops(rgb)
        grey = np.clip(self.grey.encode(np.minimum(MID_GREY * 2.0**stops, 1.0)), 0, 1)
        result = np.repeat(grey[..., None], 3, axis=-1)
        clipped = self.clipped(rgb)
        for band in reversed(self.bands):
            result[(stops >= band.low) & (stops < band.high)] = band.signal
        for band in self.bands:
            if band.clips:
                result[clipped] = band.signal
        result[np.isnan(rgb).any(axis=-1)] = np.nan
        return result

    def inverse(self) -> Transform:
        raise NotInvertibleError("false colour has no inverse")
