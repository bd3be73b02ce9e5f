"""What a LUT does to hue and saturation: six ramps of constant hue, before and after.

Hue and chroma are those of the I T P space of Recommendation ITU-R BT.2124-0
(ICtCp of BT.2100 with T = Ct/2), with light 1.0 at 203 cd/m² on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal, get_args

import numpy as np

from lutbench.measure.delta_e import ITP_FROM_ICTCP, itp_from_xyz, view_of
from lutbench.model.curves.base import MID_GREY
from lutbench.model.curves.hdr import bt2020_from_ictcp
from lutbench.model.encoding import Encoding
from lutbench.model.gamuts import BT709, BT2020, conversion
from lutbench.model.light import REFERENCE_WHITE_CD_M2
from lutbench.model.signal import RangeFromSignal
from lutbench.model.transforms import Array, Transform
from lutbench.results import PlainData

Hue = Literal["red", "yellow", "green", "cyan", "blue", "magenta"]
HUES = get_args(Hue)
_CORNERS = np.array(
    [[1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 1, 1], [0, 0, 1], [1, 0, 1]], dtype=np.float64
)
RAMP_COLOURS = 24
"""Colours of a ramp, from grey to the gamut's edge."""

LIGHT = MID_GREY
"""Luminance of the ramps, 1.0 at white: that of mid grey."""

LEAST_CHROMA = 8 / 720
"""I T P units: with less chroma hue is not judged. A just noticeable difference is 1/720."""


@dataclass(frozen=True)
class HueRamp(PlainData):
    """What the LUT does to a ramp of constant hue."""

    KEYS = ("hue", "greatest_shift_degrees=turn", "saturation_ratio=saturation")

    hue: Hue
    turn: float
    """The greatest turn in degrees, with its sign."""
    saturation: float
    """Chroma after divided by that before, half way along the ramp."""


@dataclass(frozen=True, eq=False)
class HueShift(PlainData):
    """Six ramps from grey to the edge of BT.709 at the luminance of mid grey."""

    KEYS = ("space", "ramps")
    space: ClassVar[str] = "I T P, Recommendation ITU-R BT.2124-0"

    signals: Array
    """What goes into the LUT, shape (6, steps, 3)."""
    outputs: Array
    """What comes out, same shape."""
    before: Array
    """T and P, shape (6, steps, 2)."""
    after: Array
    """T and P of the output, less those of a grey of the same light: a tint does not count."""

    @property
    def shifts(self) -> Array:
        """Turn of hue in degrees, shape (6, steps); NaN where input or output is almost grey."""
        turn = _angle(self.after) - _angle(self.before)
        turn = (turn + 180) % 360 - 180
        grey = (_chroma(self.before) < LEAST_CHROMA) | (_chroma(self.after) < LEAST_CHROMA)
        return np.where(grey, np.nan, turn)

    @property
    def weighted_shifts(self) -> Array:
        """The turns in degrees, weighted by chroma, shape (6, steps).

        Near grey, a tint too weak to be seen can turn hue by any angle. So the weight is the
        smaller chroma, before or after, over the chroma at the middle of the ramp, up to 1.
        """
        weaker = np.minimum(_chroma(self.before), _chroma(self.after))
        middle = _chroma(self.before)[:, self.before.shape[1] // 2]
        weight = np.minimum(weaker / middle[:, None], 1.0)
        return np.nan_to_num(self.shifts) * weight

    @property
    def saturation(self) -> Array:
        """Chroma after over before half way along each ramp, shape (6,)."""
        middle = self.before.shape[1] // 2
        return np.asarray(_chroma(self.after)[:, middle] / _chroma(self.before)[:, middle])

    def greatest(self) -> tuple[float, int, int]:
        """The greatest turn in degrees (with its sign), its ramp and its step.

        Turns are weighted by chroma; see `weighted_shifts`.
        """
        turns = self.weighted_shifts
        ramp, step = np.unravel_index(int(np.argmax(np.abs(turns))), turns.shape)
        return float(turns[ramp, step]), int(ramp), int(step)

    @property
    def ramps(self) -> tuple[HueRamp, ...]:
        """The six ramps, each in short."""
        turns = self.weighted_shifts
        strongest = np.abs(turns).argmax(axis=1)
        return tuple(
            HueRamp(name, float(turns[row, strongest[row]]), float(self.saturation[row]))
            for row, name in enumerate(HUES)
        )


def hue_shift(lut: Transform, source: Encoding, target: Encoding) -> HueShift:
    """Ramps of constant hue encoded as `source`, through `lut`, seen as `target`."""
    light, before = _ramps()
    # The last row is a grey of the same light: hue is seen around it, and a tint turns none.
    light = np.concatenate([light, np.full((1, RAMP_COLOURS, 3), LIGHT)])
    linear = conversion(BT709, source.gamut).apply(light)
    coded = np.clip(source.curve.encode(linear), 0, 1)
    signals = RangeFromSignal(source.range, source.bits).apply(coded)
    outputs = np.asarray(lut.apply(signals), dtype=np.float64)
    view = view_of(target)
    # On a display of another white the same picture has the same hue: only the
    # absolute level would differ, so white is put to 203 cd/m² on both sides.
    adapted = conversion(view.encoding.gamut, BT2020).apply(view.light(outputs))
    after = itp_from_xyz(adapted @ BT2020.to_xyz.T * REFERENCE_WHITE_CD_M2)[..., 1:]
    return HueShift(signals[:-1], outputs[:-1], before, after[:-1] - after[-1])


def _ramps() -> tuple[Array, Array]:
    """Linear BT.709 light of the ramps, shape (6, steps, 3), and their T and P."""
    corners = _CORNERS * LIGHT / (_CORNERS @ np.array(BT709.luminance_weights))[:, None]
    intensity = float(_itp(np.full((1, 3), LIGHT))[0, 0])
    direction = _itp(corners)[:, 1:]
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    reach = np.linspace(0, 0.5, 501)
    trial = np.concatenate(
        [np.full((6, 501, 1), intensity), direction[:, None, :] * reach[:, None]], axis=-1
    )
    light = _light(trial)
    # The whole ramp has to lie in BT.709: it ends where a channel leaves 0..1.
    held = ((light >= -1e-9) & (light <= 1)).all(axis=-1)
    inside = np.logical_and.accumulate(held, axis=1)
    end = reach[inside.sum(axis=1) - 1]
    chroma = np.linspace(0, 1, RAMP_COLOURS + 1)[1:] * end[:, None]
    ramp = np.concatenate(
        [np.full((6, RAMP_COLOURS, 1), intensity), direction[:, None, :] * chroma[..., None]],
        axis=-1,
    )
    return np.maximum(_light(ramp), 0), ramp[..., 1:]


def _itp(light: Array) -> Array:
    """I T P of linear BT.709 light, 1.0 at 203 cd/m²."""
    return itp_from_xyz(light @ BT709.to_xyz.T * REFERENCE_WHITE_CD_M2)


def _light(itp: Array) -> Array:
    """Linear BT.709 light of I T P: the inverse of `_itp`."""
    rgb = bt2020_from_ictcp(itp / ITP_FROM_ICTCP) / REFERENCE_WHITE_CD_M2
    return np.asarray(conversion(BT2020, BT709).apply(rgb))


def _chroma(plane: Array) -> Array:
    return np.asarray(np.hypot(plane[..., 0], plane[..., 1]))


def _angle(plane: Array) -> Array:
    return np.asarray(np.degrees(np.arctan2(plane[..., 1], plane[..., 0])))
