"""Hue and chroma: where six ramps of constant hue go."""

from __future__ import annotations

import numpy as np

from lutbench.analysis.delta_e import lab_from_xyz
from lutbench.analysis.view import view_of
from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import MID_GREY
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamuts import BT709, conversion
from lutbench.model.signal import RangeFromSignal
from lutbench.model.transforms import Array
from lutbench.report.drawing import THEMED, add_axes, new_figure
from lutbench.report.figures.base import Figure, finished, view_for
from lutbench.tables.lut import Lut

# Six hues of BT.709, told apart on the plot by their place and by their letter.
HUES = {
    "R": ((1.0, 0.0, 0.0), "#D55E00"),
    "Y": ((1.0, 1.0, 0.0), "#B59F00"),
    "G": ((0.0, 1.0, 0.0), "#009E73"),
    "C": ((0.0, 1.0, 1.0), "#56B4E9"),
    "B": ((0.0, 0.0, 1.0), "#0072B2"),
    "M": ((1.0, 0.0, 1.0), "#CC79A7"),
}
STEPS = 9


def hue_ramps() -> Array:
    """Linear BT.709 light of six ramps from grey to pure colour, luminance 0.18: (6, STEPS, 3)."""
    weights = np.array(BT709.luminance_weights)
    ramps = []
    for primary, _ in HUES.values():
        pure = MID_GREY * np.array(primary) / (np.array(primary) @ weights)
        # A pure blue of grey's luminance is far brighter than white: hold it to the display.
        pure = pure * min(1.0, 1.0 / pure.max())
        grey = np.full(3, float(pure @ weights))
        amount = np.linspace(0, 1, STEPS)[:, None]
        ramps.append(grey + amount * (pure - grey))
    return np.stack(ramps)


def hue_figure(lut: Lut, source: Encoding | None = None, target: Encoding | None = None) -> Figure:
    """The ramps before and after the LUT on the a*b* plane of CIELAB, and hue by ramp.

    Without a source the ramps enter as display signal and the LUT is seen as a
    look on it. Source of CIELAB: CIE 15:2018.
    """
    encoding = source or Encoding(Bt1886(), BT709)
    light = hue_ramps()
    signal = encoding.curve.encode(conversion(BT709, encoding.gamut).apply(light))
    inputs = RangeFromSignal(encoding.range, encoding.bits).apply(np.clip(signal, 0, 1))
    scene = view_of(Encoding(Bt1886(), BT709))
    before = lab_from_xyz(light @ BT709.to_xyz.T, scene.white_xyz)
    view = view_for(target)
    after = lab_from_xyz(view.xyz(lut.apply(inputs)), view.white_xyz)
    drawing = new_figure(8.4, 3.9)
    plane = add_axes(drawing, 121)
    turn = add_axes(drawing, 122)
    turns = _hue_turn(before, after)
    for index, (name, (_, colour)) in enumerate(HUES.items()):
        plane.plot(*before[index, :, 1:].T, color=THEMED.faint, linewidth=1, linestyle=(0, (2, 2)))
        plane.plot(*after[index, :, 1:].T, "-o", color=colour, markersize=3, linewidth=1.5)
        plane.annotate(
            name,
            after[index, -1, 1:],
            xytext=(4, 4),
            textcoords="offset points",
            fontsize=9,
            color=THEMED.ink,
        )
        turn.plot(np.linspace(0, 100, STEPS)[1:], turns[index], color=colour, linewidth=1.5)
    reach = max(6.0, 1.15 * float(np.abs(turns).max()))
    places = _apart(turns[:, -1], 0.085 * reach)
    for name, place, end in zip(HUES, places, turns[:, -1], strict=True):
        turn.plot([100, 104], [end, place], color=THEMED.line, linewidth=0.8, clip_on=False)
        turn.text(105, place, name, fontsize=9, color=THEMED.ink, va="center", clip_on=False)
    plane.set_aspect("equal", adjustable="datalim")
    plane.set_xlabel("a* (green to red)")
    plane.set_ylabel("b* (blue to yellow)")
    turn.set_xlabel("saturation going in, %")
    turn.set_ylabel("hue turned by, degrees")
    turn.set_ylim(-reach, reach)
    turn.set_xlim(0, 112)
    turn.set_xticks([0, 25, 50, 75, 100])
    chroma = np.linalg.norm(after[:, -1, 1:], axis=1) / np.linalg.norm(before[:, -1, 1:], axis=1)
    words = ", ".join(
        f"{name} {100 * (ratio - 1):+.0f} %" for name, ratio in zip(HUES, chroma, strict=True)
    )
    return finished(
        drawing,
        "hue",
        "Hue and saturation",
        f"Six ramps of constant hue before and after the LUT. Chroma at the ends: {words}.",
        "Dashed: before. Each line runs from grey to a pure colour of BT.709 "
        f"(chroma at the ends: {words}). Right: how far each hue turns on its way.",
    )


def _apart(values: Array, gap: float) -> list[float]:
    """Places for labels: near their values, in their order, `gap` apart or more."""
    order = np.argsort(values)
    places = values[order].copy()
    for i in range(1, len(places)):
        places[i] = max(places[i], places[i - 1] + gap)
    # Pushed up only: bring the whole row back over the values' middle.
    places -= places.mean() - values.mean()
    result = np.empty_like(places)
    result[order] = places
    return [float(each) for each in result]


def _hue_turn(before: Array, after: Array) -> Array:
    hues = [np.arctan2(lab[:, 1:, 2], lab[:, 1:, 1]) for lab in (before, after)]
    return np.asarray(np.degrees((hues[1] - hues[0] + np.pi) % (2 * np.pi) - np.pi))
