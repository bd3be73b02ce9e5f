"""The plots of docs/maths, drawn from the package itself.

`python docs/building/plots.py [FOLDER]` writes them, into docs/maths/plots where
no folder is named. A test draws them again and holds every curve against the
committed file, so a plot never shows what the package no longer does.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure

from lutbench.measure.delta_e import view_of
from lutbench.measure.difference import measure
from lutbench.measure.samples import CHART_STOPS, chart_light, chart_patches
from lutbench.model.catalogue import Catalogue, open_catalogue
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.base import MID_GREY, Encode
from lutbench.model.curves.hdr import pq_luminance, pq_signal
from lutbench.model.false_colour import FalseColour, default_bands
from lutbench.model.gamuts import conversion
from lutbench.model.grade import Cdl, white_balance
from lutbench.model.signal import signal_from_code
from lutbench.model.tone.eetf import Eetf
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.tables.nodes import sample

# What stands beside this file is found from wherever it is loaded.
sys.path.insert(0, str(Path(__file__).parent))
import plots_hdr
from drawn import INK, Lines, panel

ROOT = Path(__file__).resolve().parents[2]
PLOTS = ROOT / "docs" / "maths" / "plots"

STYLE = {
    "font.family": "sans-serif",
    "font.size": 10,
    "axes.grid": True,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "axes.edgecolor": "#666666",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "legend.frameon": False,
    "lines.linewidth": 1.8,
    "path.simplify": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "lutbench",
}


def known() -> Catalogue:
    """The standards and the demo's invented camera."""
    return open_catalogue(ROOT / "luts_demo" / "tarn.toml", user=False)


def curves_camera() -> Figure:
    """Signal of scene light, in stops around mid grey."""
    figure, axes = panel(7.0, 4.3)
    stops = np.linspace(-8, 8, 161)
    lines = Lines(axes)
    names = "BT.709", "BT.2100 HLG", "BT.2100 PQ", "ACEScct", "Cineon", "Tarn Log"
    for name in names:
        signal = known().curve(name).encode(MID_GREY * 2.0**stops)
        inside = signal <= 1.0
        lines.add(stops[inside], 100 * signal[inside], name)
    axes.axvline(0, color="#999999", linewidth=0.8)
    axes.set(xlabel="scene light, stops from mid grey (18 %)", ylabel="signal, % of full range")
    axes.set(xlim=(-8, 8), ylim=(0, 102))
    axes.legend(loc="upper left")
    return figure


def curves_display() -> Figure:
    """Light of a signal on a display."""
    figure, axes = panel(7.0, 3.9)
    signal = np.linspace(0, 1, 101)
    lines = Lines(axes)
    for name in ("BT.1886", "sRGB", "gamma 2.2", "gamma 2.6"):
        lines.add(100 * signal, known().curve(name).decode(signal), name)
    axes.set(xlabel="signal, %", ylabel="light, white = 1", yscale="log")
    axes.set(xlim=(0, 100), ylim=(1e-4, 1.2))
    axes.legend(loc="lower right")
    return figure


def gamuts() -> Figure:
    """Triangles of primaries in the CIE 1931 chromaticity diagram."""
    import colour

    figure, axes = panel(6.2, 5.6)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].values[20:340]
    locus = observer / observer.sum(axis=1, keepdims=True)
    closed = np.vstack([locus, locus[:1]])
    axes.plot(closed[:, 0], closed[:, 1], color="#888888", linewidth=1.0)
    lines = Lines(axes)
    for name in ("BT.709", "P3-D65", "BT.2020", "ACES AP1", "ACES AP0", "Tarn Wide"):
        corners = np.array(known().gamut(name).primaries)
        corners = np.vstack([corners, corners[:1]])
        lines.add(corners[:, 0], corners[:, 1], name)
    white = known().gamut("BT.709").white
    axes.plot(*white, "o", color="#000000", markersize=4)
    axes.annotate("D65", white, xytext=(5, 4), textcoords="offset points")
    axes.set(xlabel="x", ylabel="y", xlim=(-0.05, 0.9), ylim=(-0.12, 1.05), aspect="equal")
    axes.legend(loc="upper right")
    return figure


def adaptation() -> Figure:
    """What the choice of adaptation does to the chart, ACES AP1 to BT.709."""
    figure, axes = panel(7.0, 3.6)
    ap1, bt709 = known().gamut("ACES AP1"), known().gamut("BT.709")
    display = Encoding(known().curve("BT.1886"), bt709)
    light = chart_light(ap1)
    encode = Encode(display.curve)
    bradford = (conversion(ap1, bt709) | encode).apply(light)
    lines = Lines(axes)
    patch = np.arange(1, 25)
    for name in ("none", "CAT02", "CAT16"):
        other = (conversion(ap1, bt709, name.casefold()) | encode).apply(light)
        found = measure(bradford, other, view_of(display)).delta_e_2000
        lines.add(patch, found, name, marker="o", markersize=4)
    axes.set(xlabel="patch of the chart (19 to 24 are neutral)", ylabel="ΔE 2000 from Bradford")
    axes.set(xlim=(0.5, 24.5), xticks=[1, 6, 12, 18, 24], ylim=(0, None))
    axes.legend(loc="upper left", ncols=3)
    return figure


def tone() -> Figure:
    """The tone curve with its contrast, shoulder and toe varied: in stops, and as signal."""
    figure, (upper, lower) = panel(7.0, 7.2, rows=2)
    stops = np.linspace(-8, 7, 151)
    light = np.repeat(MID_GREY * 2.0 ** stops[:, None], 3, 1)
    in_stops, as_signal = Lines(upper), Lines(lower)
    for label, curve in (
        ("white 6 stops over grey", ToneCurve(white=6.0)),
        ("the same, contrast 1.3", ToneCurve(white=6.0, contrast=1.3)),
        ("the same, shoulder from 1 stop", ToneCurve(white=6.0, shoulder_start=1.0)),
        ("the same, toe 1 from −3 stops", ToneCurve(white=6.0, toe=1.0)),
    ):
        result = curve.apply(light)[:, 0]
        in_stops.add(stops, np.log2(result / MID_GREY), label)
        as_signal.add(stops, 100 * known().curve("BT.1886").encode(result), label)
    upper.axhline(math.log2(1 / MID_GREY), color="#999999", linewidth=0.8)
    upper.set(xlabel="light, stops from mid grey", ylabel="result, stops from mid grey")
    upper.set(xlim=(-8, 7), ylim=(-12, 3.6))
    lower.axhline(100, color="#999999", linewidth=0.8)
    lower.set(xlabel="light, stops from mid grey", ylabel="result as BT.1886 signal, %")
    lower.set(xlim=(-8, 7), ylim=(0, 105))
    figure.legend(*upper.get_legend_handles_labels(), loc="outside lower center", ncols=2)
    return figure


def eetf() -> Figure:
    """The EETF for displays of several peaks, on the PQ scale and in cd/m²."""
    figure, axes = panel(7.0, 4.0)
    signal = np.linspace(0, float(pq_signal(np.array(1000.0))), 151)
    light = pq_luminance(signal)
    lines = Lines(axes)
    for peak in (600.0, 400.0, 203.0, 100.0):
        curve = Eetf(source_peak=1000.0, target_peak=peak)
        shown = curve.apply(np.repeat(light[:, None], 3, 1))[:, 0]
        lines.add(100 * signal, 100 * pq_signal(shown), f"{peak:g} cd/m²")
    axes.plot([0, 76], [0, 76], color="#999999", linewidth=0.8)
    ticks = [1, 10, 50, 100, 203, 400, 1000]
    top = axes.secondary_xaxis("top")
    top.set_xticks([100 * float(pq_signal(np.array(float(t)))) for t in ticks], map(str, ticks))
    top.set_xlabel("mastered light, cd/m²")
    axes.set(xlabel="PQ signal in, %", ylabel="PQ signal out, %", xlim=(0, 76), ylim=(0, 76))
    axes.legend(title="display peak", loc="upper left")
    return figure


def compression() -> Figure:
    """The compression of distances, a channel each."""
    figure, axes = panel(7.0, 3.9)
    curve = GamutCompression()
    distance = np.linspace(0.6, 1.4, 121)
    lines = Lines(axes)
    for channel, name in enumerate(("cyan (from R)", "magenta (from G)", "yellow (from B)")):
        rgb = np.ones((distance.size, 3))
        rgb[:, channel] = 1 - distance
        lines.add(distance, 1 - curve.apply(rgb)[:, channel], name)
    axes.plot([0.6, 1.4], [0.6, 1.4], color="#999999", linewidth=0.8)
    axes.axhline(1, color="#999999", linewidth=0.8)
    axes.annotate(
        "edge of the gamut", (0.61, 1.0), xytext=(0, 4), textcoords="offset points", color="#555555"
    )
    axes.set(xlabel="distance in", ylabel="distance out", xlim=(0.6, 1.4), ylim=(0.6, 1.15))
    axes.legend(loc="lower right")
    return figure


def cdl() -> Figure:
    """Slope, offset and power, one at a time."""
    figure, axes = panel(7.0, 3.9)
    value = np.linspace(0, 1, 101)
    lines = Lines(axes)
    for label, grade in (
        ("slope 1.2", Cdl(slope=(1.2, 1.2, 1.2))),
        ("offset +0.1", Cdl(offset=(0.1, 0.1, 0.1))),
        ("power 0.7", Cdl(power=(0.7, 0.7, 0.7))),
        ("all three", Cdl((1.2, 1.2, 1.2), (0.1, 0.1, 0.1), (0.7, 0.7, 0.7))),
    ):
        lines.add(value, grade.apply(np.repeat(value[:, None], 3, 1))[:, 0], label)
    axes.plot([0, 1], [0, 1], color="#999999", linewidth=0.8)
    axes.set(xlabel="value in", ylabel="value out", xlim=(0, 1), ylim=(0, 1.02))
    axes.legend(loc="lower right")
    return figure


def balance() -> Figure:
    """What white balance does to a neutral, by the colour temperature of the light."""
    figure, axes = panel(7.0, 3.9)
    kelvin = np.linspace(2500, 10000, 76)
    gamut = known().gamut("BT.709")
    result = np.array([white_balance(gamut, float(t)).apply([1.0, 1.0, 1.0]) for t in kelvin])
    lines = Lines(axes)
    for channel, (name, ink) in enumerate(
        zip("RGB", ("#D55E00", "#009E73", "#0072B2"), strict=True)
    ):
        lines.add(kelvin, result[:, channel], name, color=ink)
    axes.axvline(5600, color="#999999", linewidth=0.8)
    axes.axhline(1, color="#999999", linewidth=0.8)
    axes.set(xlabel="colour temperature of the light, K", ylabel="white through the matrix")
    axes.set(xlim=(2500, 10000), ylim=(0, 3))
    axes.legend(loc="upper right")
    return figure


def viewing() -> Conversion:
    """The demo's viewing conversion."""
    source = Encoding(known().curve("Tarn Log"), known().gamut("Tarn Wide"))
    target = Encoding(known().curve("BT.1886"), known().gamut("BT.709"))
    shoulder = ToneCurve.between(source, target, contrast=1.15, shoulder_start=0.5, toe=0.3)
    return Conversion(source, target, compression=GamutCompression(), tone=shoulder)


def interpolation() -> Figure:
    """The error of a sampled LUT on real colours, by size and interpolation."""
    figure, axes = panel(7.0, 3.9)
    task = viewing()
    exact = task.pipeline()
    patches = chart_patches(task.source, CHART_STOPS).signals
    want = exact.apply(patches)
    sizes = [9, 17, 25, 33, 49, 65]
    lines = Lines(axes)
    luts = [sample(exact, size) for size in sizes]
    for name in ("tetrahedral", "trilinear"):
        error = [
            measure(want, lut.with_interpolation(name).apply(patches), view_of(task.result))
            .spreads()["delta_e_2000"]
            .p95
            for lut in luts
        ]
        lines.add(sizes, error, name, marker="o", markersize=4)
    axes.set(xlabel="nodes along an edge", ylabel="ΔE 2000, 95th percentile", yscale="log")
    axes.set(xticks=sizes, xlim=(7, 67))
    axes.legend(loc="upper right")
    return figure


def false_colour() -> Figure:
    """The default bands, painted on a ramp of the demo camera's log."""
    figure, axes = panel(7.0, 2.7)
    curve, gamut = known().curve("Tarn Log"), known().gamut("Tarn Wide")
    clip = math.log2(curve.clip / MID_GREY)
    bands = default_bands(clip)
    task = FalseColour(curve, gamut, bands)
    stops = np.linspace(-8, clip, 701)
    signal = curve.encode(MID_GREY * 2.0**stops)
    painted = np.clip(task.apply(np.repeat(signal[:, None], 3, 1)), 0, 1)
    codes = np.round(255 * painted).astype(np.uint8)[None]
    axes.imshow(codes, extent=(-8, clip, 0.55, 0.95), aspect="auto", interpolation="nearest")
    axes.plot([-8, clip, clip, -8, -8], [0.55, 0.55, 0.95, 0.95, 0.55], color="#666666", lw=0.8)
    lines = Lines(axes)
    lines.add(stops, 0.5 * signal, "signal", color="#000000")
    axes.annotate("signal, 0 to 100 %", (-7.8, 0.17), color="#333333")
    axes.set(xlabel="scene light, stops from mid grey (18 %)", ylim=(0, 1), xlim=(-8, clip))
    axes.set_yticks([])
    axes.grid(False)
    return figure


def ranges() -> Figure:
    """The signal that a 10-bit code stands for."""
    figure, axes = panel(7.0, 3.6)
    code = np.arange(0, 1024, 3)
    lines = Lines(axes)
    for name in ("full", "legal"):
        lines.add(code, 100 * signal_from_code(code, 10, name), f"{name} range")
    axes.set(xlabel="10-bit code value", ylabel="signal, %", xlim=(0, 1023), ylim=(-10, 112))
    axes.set_xticks([0, 64, 256, 512, 768, 940, 1023])
    axes.legend(loc="upper left")
    return figure


SIDES = (
    # x, what stands there, the light's name, what 1.0 is, what of this project acts there
    (1.3, "camera", "scene light", "1.0 = a perfect white diffuser,\nmid grey 0.18",
     "exposure, white balance, gamut,\nshoulder, sigmoid"),
    (5.0, "file, cable", "signal", "percent, code values,\nfull or legal range",
     "ranges, looks before or after,\nzebra, levels"),
    (8.7, "display", "display light", "1.0 = the display's white,\nor 203 cd/m² (PQ, HLG)",
     "eetf, bt2446-a, bt2446-c,\ngamma-adjust, in cd/m²"),
)  # fmt: skip
WAYS = (
    # from, to, its name, the encodings that define it
    (0, 1, "OETF", "log, ACEScct,\nBT.709, BT.2020,\nBT.2100 HLG and PQ"),
    (1, 2, "EOTF", "BT.1886, sRGB,\ngamma, ST 2084"),
)


def sides() -> Figure:
    """Camera, OETF, signal, EOTF, display; the OOTF over all; and where each name stands."""
    figure = Figure(figsize=(7.6, 3.7), layout="constrained")
    axes = figure.subplots()
    axes.set(xlim=(0, 10), ylim=(0.2, 5.0))
    axes.axis("off")
    box = {"boxstyle": "round,pad=0.45", "facecolor": "white", "linewidth": 1.6}
    for (x, place, name, one, acts), ink in zip(SIDES, (INK[0], INK[4], INK[1]), strict=True):
        axes.text(x, 2.62, name, ha="center", va="center", weight="bold", color=ink,
                  bbox=box | {"edgecolor": ink})  # fmt: skip
        axes.text(x, 3.02, place, ha="center", color=ink)
        axes.text(x, 1.92, one, ha="center", va="top", size=8.2, color="#333333")
        axes.text(x, 1.1, acts, ha="center", va="top", size=8.2, style="italic", color="#333333")
    axes.text(5.0, 0.25, "in italics: what acts on that light, or on the signal", ha="center",
              size=7.6, color="#666666")  # fmt: skip
    arrow = {"arrowstyle": "-|>", "color": "#333333", "linewidth": 1.4}
    for start, end, name, what in WAYS:
        left, right = SIDES[start][0] + 1.0, SIDES[end][0] - (0.65 if end == 1 else 1.05)
        left -= 0.35 if start == 1 else 0
        axes.annotate("", (right, 2.62), (left, 2.62), arrowprops=arrow)
        axes.plot([left, right - 0.2], [2.62] * 2, color="#333333", linewidth=1.4,
                  gid=f"data-{name}")  # fmt: skip
        axes.text((left + right) / 2, 2.74, name, ha="center", weight="bold")
        axes.text((left + right) / 2, 2.48, what, ha="center", va="top", size=8.2,
                  color="#333333")  # fmt: skip
    over = arrow | {"connectionstyle": "arc3,rad=-0.16", "linestyle": "--"}
    axes.annotate("", (8.7, 3.32), (1.3, 3.32), arrowprops=over)
    axes.text(5.0, 4.62, "OOTF", ha="center", weight="bold")
    axes.text(5.0, 4.3, "BT.2100 PQ has one, BT.2100 HLG one for each display (peak, black, "
              "surround);", ha="center", size=8.2)  # fmt: skip
    axes.text(5.0, 4.05, "from log to a display of standard range it is the tone of the LUT",
              ha="center", size=8.2)  # fmt: skip
    return figure


PLOTTED: dict[str, Callable[[], Figure]] = {
    "curves-camera": curves_camera,
    "curves-display": curves_display,
    "gamuts": gamuts,
    "adaptation": adaptation,
    "tone": tone,
    "eetf": eetf,
    "compression": compression,
    "cdl": cdl,
    "white-balance": balance,
    "interpolation": interpolation,
    "false-colour": false_colour,
    "ranges": ranges,
    "sides": sides,
    **plots_hdr.PLOTTED,
}


def write(folder: Path) -> None:
    """Write every plot into `folder` as SVG."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, draw in PLOTTED.items():
        with rc_context(STYLE):
            draw().savefig(folder / f"{name}.svg", metadata={"Date": None, "Creator": "lutbench"})


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else PLOTS)
