"""The page of a display check: one self-contained HTML file."""

from __future__ import annotations

from typing import Any

import numpy as np

from lutbench.display.check import DisplayCheck, GreyStep
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import BT709
from lutbench.report.drawing import svg
from lutbench.report.plots_display import (
    balance_plot,
    colours_plot,
    differences_plot,
    gamma_plot,
    luminance_plot,
)
from lutbench.report.templates import render
from lutbench.report.words import SPREAD_WORDS

SPREAD_HEADS = ["patches", *(f"{measure} {SPREAD_WORDS[name]}" for measure in ("ΔE 2000", "ΔE ITP")
                             for name in ("mean", "p95", "max"))]  # fmt: skip
GREY_HEADS = ["signal, %", "cd/m²", "target cd/m²", "gamma", "target gamma",
              "x", "y", "R", "G", "B", "ΔE 2000", "ΔE ITP"]  # fmt: skip
PATCH_HEADS = ["patch", "target, read", "signal, %", "cd/m²", "target cd/m²", "ΔE 2000", "ΔE ITP"]

SHOWN_PATCHES = 60
"""Patches in the open table, those with the largest error: so the page prints on four sheets."""


def display_html(found: DisplayCheck, name: str) -> str:
    """The page as self-contained HTML."""
    return render(
        "display.html",
        readings=name,
        found=found,
        overall=found.spreads["all"]["delta_e_2000"],
        spread_heads=SPREAD_HEADS,
        spread_rows=_spread_rows(found),
        grey_heads=GREY_HEADS,
        grey_rows=[_grey_row(step) for step in found.greys],
        patch_heads=PATCH_HEADS,
        patch_rows=_patch_rows(found),
        shown=SHOWN_PATCHES,
        grey_plots=[
            svg(luminance_plot(found), "luminance", "Luminance of the greys"),
            svg(gamma_plot(found), "gamma", "Gamma of the greys"),
            svg(balance_plot(found), "balance", "Red, green and blue of the greys"),
        ],
        colour_plots=[
            svg(colours_plot(found), "colours", "Target colours and colours read, in u'v'"),
            svg(differences_plot(found), "differences", "Share of patches under each ΔE"),
        ],
    )


def _spread_rows(found: DisplayCheck) -> list[list[str]]:
    return [
        [name, *(f"{value:.2f}" for measure in ("delta_e_2000", "delta_e_itp")
                 for value in (each[measure].mean, each[measure].p95, each[measure].max))]
        for name, each in found.spreads.items()
    ]  # fmt: skip


def _grey_row(step: GreyStep) -> list[str]:
    gammas = ("–" if each is None else f"{each:.2f}" for each in (step.gamma, step.gamma_wanted))
    return [
        f"{100 * step.level:.1f}",
        f"{step.luminance:.4g}",
        f"{step.wanted:.4g}",
        *gammas,
        *(f"{value:.4f}" for value in step.xy),
        *(f"{value:.3f}" for value in step.balance),
        f"{step.delta_e_2000:.2f}",
        f"{step.delta_e_itp:.2f}",
    ]


def _patch_rows(found: DisplayCheck) -> list[list[str | tuple[str, str]]]:
    """All patches, those with the largest error first."""
    order = np.argsort(-found.delta_e_2000, kind="stable")
    peak = found.target.peak
    return [
        [
            found.readings.names[k],
            (_swatch(found.wanted[k] / peak), _swatch(found.readings.xyz[k] / peak)),
            " ".join(f"{100 * v:.0f}" for v in found.readings.signal[k]),
            f"{found.readings.xyz[k, 1]:.4g}",
            f"{found.wanted[k, 1]:.4g}",
            f"{found.delta_e_2000[k]:.2f}",
            f"{found.delta_e_itp[k]:.2f}",
        ]
        for k in order
    ]


def _swatch(xyz: Any) -> str:
    """The nearest sRGB colour of XYZ, white at 1."""
    light = np.clip(np.linalg.solve(BT709.to_xyz, xyz), 0, 1)
    return "#" + "".join(f"{round(255 * float(v)):02x}" for v in Srgb().encode(light))
