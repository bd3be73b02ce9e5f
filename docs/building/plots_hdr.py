"""The plots of HDR, hue and gamut mapping."""

from __future__ import annotations

from typing import Any

import numpy as np
from drawn import Lines, panel
from matplotlib.figure import Figure

from lutbench.display.calibration import calibrate
from lutbench.display.check import check_display
from lutbench.display.fit import fit_display
from lutbench.display.measurements import Measurements
from lutbench.display.patches import patch_set
from lutbench.display.target import target_for
from lutbench.measure.views import MID_GREY_NAME, views_apart
from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.base import MID_GREY
from lutbench.model.curves.hdr import hlg_system_gamma, ictcp_from_bt2020
from lutbench.model.curves.video import Bt1886
from lutbench.model.gamut_map import HUE_ROWS, KNEE, edge_by_hue, limited
from lutbench.model.gamuts import BT709, BT2020, P3_D65, Gamut
from lutbench.model.light import Display
from lutbench.model.tone.bt2446 import Bt2446A, Bt2446C
from lutbench.model.tone.carrier import CARRIERS
from lutbench.model.tone.eetf import Eetf
from lutbench.model.tone.gamma_adjust import GammaAdjust
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.tone.sigmoid import Sigmoid


def gamut_map() -> Figure:
    """The edges of gamuts by hue, and chroma before and after a mapping."""
    figure, (upper, lower) = panel(7.0, 6.8, rows=2)
    hue = np.arange(0, HUE_ROWS + 1, 6)
    edges = Lines(upper)
    edges.add(hue * 360 / HUE_ROWS, edge_by_hue(BT2020, outer=True)[hue], "BT.2020")
    edges.add(hue * 360 / HUE_ROWS, edge_by_hue(P3_D65)[hue], "P3-D65, as mapped to")
    edges.add(hue * 360 / HUE_ROWS, edge_by_hue(BT709)[hue], "BT.709, as mapped to")
    upper.set(xlabel="hue in Oklab, degrees", ylabel="chroma / lightness")
    upper.set(xlim=(0, 360), xticks=range(0, 361, 60), ylim=(0, 1.1))
    upper.legend(loc="upper left", ncols=3, fontsize=9)
    x = np.linspace(0, 2, 101)
    curves = Lines(lower)
    for most in (1.2, 1.5, 2.0):
        inside = x <= most
        curves.add(x[inside], limited(x[inside], KNEE, np.full(inside.sum(), most)), f"{most:g}")
    lower.plot([0, 1.1], [0, 1.1], color="#999999", linewidth=0.8)
    lower.axhline(1, color="#999999", linewidth=0.8)
    lower.set(xlabel="chroma before (the gamut's edge is 1)", ylabel="chroma after")
    lower.set(xlim=(0, 2), ylim=(0, 1.12))
    lower.legend(title="BT.2020's edge at", loc="lower right")
    return figure


def sigmoid() -> Figure:
    """The log sigmoid on greys, and on pure red by its inset."""
    figure, (upper, lower) = panel(7.0, 7.0, rows=2)
    stops = np.linspace(-10, 6.5, 166)
    light = np.repeat(MID_GREY * 2.0 ** stops[:, None], 3, 1)
    lines = Lines(upper)
    for label, view in (
        ("contrast 1.25, powers 1.5", Sigmoid()),
        ("contrast 1.6", Sigmoid(contrast=1.6)),
        ("shoulder 4", Sigmoid(shoulder=4.0)),
        ("toe 0.8", Sigmoid(toe=0.8)),
    ):
        lines.add(stops, 100 * view.apply(light)[:, 0] ** (1 / 2.4), label)
    upper.set(xlabel="light, stops from mid grey", ylabel="BT.1886 signal, %")
    upper.set(xlim=(-10, 6.5), ylim=(0, 102))
    upper.legend(loc="upper left")
    lines = Lines(lower)
    red = light * [1.0, 0.02, 0.02]
    for share in (0.0, 0.1, 0.2, 0.4):
        view = Sigmoid(inset_red=share, inset_green=share, inset_blue=share)
        shown = np.clip(view.apply(red), 0, None)
        lines.add(
            stops, 100 * shown.min(axis=1) / np.maximum(shown.max(axis=1), 1e-9), f"inset {share:g}"
        )
    lower.set(xlabel="brightest channel of a red light, stops from mid grey")
    lower.set(ylabel="smallest channel / largest channel, %", xlim=(-10, 6.5), ylim=(0, 102))
    lower.legend(loc="upper left")
    return figure


def bt2446() -> Figure:
    """Methods A and C of BT.2446 beside the EETF of BT.2390, on greys."""
    figure, axes = panel(7.0, 4.0)
    light = np.geomspace(1, 1000, 161)
    grey = np.repeat(light[:, None], 3, 1)
    lines = Lines(axes)
    signals = (
        ("method A", Bt2446A().apply(grey)[:, 0]),
        ("method C", Bt2446C().apply(grey)[:, 0]),
        ("EETF of BT.2390", Eetf(1000.0, 100.0).apply(grey)[:, 0]),
    )
    for label, shown in signals:
        lines.add(light, 100 * (shown / 100) ** (1 / 2.4), label)
    axes.axvline(203, color="#999999", linewidth=0.8)
    axes.axhline(100, color="#999999", linewidth=0.8)
    axes.annotate("203", (203, 2), xytext=(3, 2), textcoords="offset points", color="#555555")
    axes.set(xlabel="HDR light, cd/m²", ylabel="SDR signal, %", xscale="log")
    ticks = [1, 3, 10, 30, 100, 300, 1000]
    axes.set_xticks(ticks, map(str, ticks))
    axes.set(xlim=(1, 1000), ylim=(0, 130))
    axes.legend(loc="upper left", ncols=3)
    return figure


def carriers() -> Figure:
    """How far an EETF turns hues of bright saturated light, by what it acts on."""
    figure, axes = panel(7.0, 4.0)
    steps = np.linspace(0, 1, 13)[:-1]
    corners = np.array([[1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 1, 1], [0, 0, 1], [1, 0, 1]])
    ends = zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ring = np.concatenate([a + steps[:, None] * (b - a) for a, b in ends])
    light = 1000 * ring**2
    before = ictcp_from_bt2020(light)
    hue = np.degrees(np.arctan2(before[:, 2], before[:, 1]))
    order = np.argsort(hue)
    lines = Lines(axes)
    for on in CARRIERS:
        after = ictcp_from_bt2020(Eetf(1000.0, 203.0, on=on).apply(light))
        turned = np.degrees(np.arctan2(after[:, 2], after[:, 1])) - hue
        lines.add(hue[order], ((turned + 180) % 360 - 180)[order], on)
    axes.axhline(0, color="#999999", linewidth=0.8)
    axes.set(xlabel="hue in ICtCp, degrees", ylabel="change of hue, degrees")
    axes.set(xlim=(-180, 180), xticks=range(-180, 181, 60), ylim=(-42, 60))
    axes.legend(loc="upper left", ncols=4)
    return figure


def hdr_conversions() -> Figure:
    """SDR in HDR by each way of BT.2408, and HLG's system gamma by the display's peak."""
    known = open_catalogue(user=False)
    hlg = Encoding(known.curve("BT.2100 HLG"), BT2020, display=Display(1000.0))
    ends = {name: Encoding(known.curve(name), BT2020) for name in ("BT.1886", "BT.709")}
    pq = {name: Encoding(known.curve(name), BT2020) for name in ("ST 2084", "BT.2100 PQ")}
    figure, (upper, lower) = panel(7.0, 7.2, rows=2)
    signal = np.linspace(0.05, 1, 96)
    grey = np.repeat(signal[:, None], 3, 1)
    lines = Lines(upper)
    for label, task in (
        ("display-referred", Conversion(ends["BT.1886"], pq["ST 2084"])),
        (
            "the same, gamma adjusted",
            Conversion(ends["BT.1886"], pq["ST 2084"], tone=GammaAdjust()),
        ),
        ("scene-referred, PQ", Conversion(ends["BT.709"], pq["BT.2100 PQ"])),
        ("scene-referred, HLG on 1000 cd/m²", Conversion(ends["BT.709"], hlg)),
    ):
        light = task.result.to_light("display").apply(task.pipeline().apply(grey))
        lines.add(100 * signal, 203 * light[:, 1], label)
    upper.axhline(203, color="#999999", linewidth=0.8)
    upper.set(xlabel="SDR signal, %", ylabel="HDR light, cd/m²", xlim=(5, 100), yscale="log")
    upper.set(ylim=(0.1, 300))
    marks = [0.1, 1, 10, 100, 203]
    upper.set_yticks(marks, [f"{each:g}" for each in marks])
    upper.minorticks_off()
    upper.legend(loc="lower right")
    peaks = np.geomspace(100, 4000, 81)
    gammas = Lines(lower)
    for surround in (5.0, 20.0, 100.0):
        gammas.add(peaks, [hlg_system_gamma(p, surround) for p in peaks], f"{surround:g} cd/m²")
    lower.set(xlabel="display's peak, cd/m²", ylabel="system gamma of HLG", xscale="log")
    ticks = [100, 203, 400, 1000, 2000, 4000]
    lower.set_xticks(ticks, map(str, ticks))
    lower.minorticks_off()
    lower.set(xlim=(100, 4000))
    lower.legend(title="surround", loc="upper left")
    return figure


def views() -> Figure:
    """The two views of the page: luminance on greys, and differences by patch."""
    known = open_catalogue(user=False)
    source = Encoding(known.curve("ACEScct"), known.gamut("ACEScg"))
    sdr, hdr = (
        Conversion(source, target, tone=ToneCurve.between(source, target, **tone))
        for target, tone in (
            (
                Encoding(known.curve("BT.1886"), BT709),
                {"grey_out": 0.1266, "contrast": 1.3, "shoulder_start": 1.2},
            ),
            (Encoding(known.curve("BT.2100 PQ"), BT2020), {"shoulder_start": 1.0}),
        )
    )
    figure, (upper, lower) = panel(7.0, 7.2, rows=2)
    stops = np.linspace(-6, 6, 121)
    grey = source.curve.encode(np.repeat(MID_GREY * 2.0 ** stops[:, None], 3, 1))
    lines = Lines(upper)
    for label, task in (("SDR, white at 203 cd/m²", sdr), ("HDR", hdr)):
        light = task.result.to_light("display").apply(task.pipeline().apply(grey))
        lines.add(stops, 203 * light[:, 1], label)
    upper.axvline(0, color="#999999", linewidth=0.8)
    upper.set(xlabel="light, stops from mid grey", ylabel="cd/m²", yscale="log", xlim=(-6, 6))
    marks = [0.1, 1, 10, 26, 100, 203, 1000]
    upper.set_yticks(marks, [f"{each:g}" for each in marks])
    upper.minorticks_off()
    upper.legend(loc="upper left")
    apart = views_apart(sdr, hdr)
    order = np.argsort(apart.delta_e_itp)
    patches = Lines(lower)
    patches.add(np.arange(len(order)), apart.delta_e_itp[order], "patch", marker="o")
    for name in (MID_GREY_NAME, "dark skin", "light skin"):
        at = apart.names.index(name)
        place = int(np.flatnonzero(order == at)[0])
        lower.annotate(
            name,
            (place, apart.delta_e_itp[at]),
            xytext=(-8, 110 - 10 * place),
            textcoords="offset points",
            arrowprops={"arrowstyle": "-", "color": "#777777"},
        )
    lower.set(
        xlabel="mid grey and the chart's patches, in order", ylabel="ΔE ITP between the views"
    )
    lower.set(xlim=(-0.5, len(order) - 0.5), ylim=(0, None), xticks=[])
    return figure


def display_model() -> Figure:
    """An invented panel with an S curve: gamma and ΔE 2000 before and after its calibration."""
    patches, noise = patch_set("usual"), np.random.default_rng(4)
    white = np.array([0.302, 0.322])
    own = Gamut("panel", ((0.652, 0.325), (0.285, 0.632), (0.150, 0.055)), tuple(white.tolist()))

    def shown(signal: Any) -> Any:
        bent = np.clip(signal, 0, 1) ** 1.6
        light = bent + 0.35 * bent * (1 - bent) * (2 * bent - 1)
        return 320 * light @ own.to_xyz.T + 0.2 * own.to_xyz.sum(axis=1)

    read = shown(patches.signal) * (1 + 0.003 * noise.standard_normal((len(patches.names), 3)))
    fit = fit_display(Measurements(patches.names, patches.signal, read))
    target = target_for(fit.model, Bt1886(), BT709)
    lut = calibrate(fit.model, target).lut
    figure, (upper, lower) = panel(7.0, 7.2, rows=2)
    gammas, spread = Lines(upper), Lines(lower)
    for label, signal in (("before", patches.signal), ("after", lut.apply(patches.signal))):
        found = check_display(
            Measurements(patches.names, patches.signal, shown(signal)),
            Bt1886(),
            BT709,
            None if label == "before" else target.peak,
        )
        steps = [each for each in found.greys if each.gamma is not None]
        gammas.add([100 * s.level for s in steps], [s.gamma for s in steps], label)
        ordered = np.sort(found.delta_e_2000)
        spread.add(np.linspace(0, 100, len(ordered)), ordered, label)
    wanted = [s.gamma_wanted for s in steps]
    gammas.add([100 * s.level for s in steps], wanted, "BT.1886 into this black", lw=1.0)
    upper.set(xlabel="signal of a grey, %", ylabel="gamma", xlim=(0, 100))
    upper.legend(loc="best")
    lower.set(xlabel="share of the patches, %", ylabel="largest ΔE 2000", xlim=(0, 100))
    lower.set(ylim=(0, None))
    lower.legend(loc="upper left")
    return figure


PLOTTED = {
    "gamut-map": gamut_map,
    "sigmoid": sigmoid,
    "bt2446": bt2446,
    "carriers": carriers,
    "hdr-conversions": hdr_conversions,
    "views": views,
    "display-model": display_model,
}
