"""The page of a display check: one self-contained HTML file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from lutbench import files
from lutbench.display.check import DisplayCheck
from lutbench.model.curves.video import Srgb
from lutbench.model.gamuts import BT709
from lutbench.report.drawing import svg
from lutbench.report.plots_display import (
    balance_plot,
    colours_plot,
    differences_plot,
    tracking_plot,
)
from lutbench.report.templates import render


def write_display_page(
    found: DisplayCheck, name: str, path: str | Path, *, force: bool = False
) -> None:
    """Write the page to `path`; `name` is that of the readings.

    Raises
    ------
    LutbenchError
        When the file exists and `force` is not set.
    """
    files.write_text(path, display_html(found, name), force=force)


def display_html(found: DisplayCheck, name: str) -> str:
    """The page as self-contained HTML."""
    return render(
        "display.html",
        readings=name,
        found=found,
        spreads=found.spreads(),
        tracking=svg(tracking_plot(found), "tracking", "Luminance and gamma of the greys"),
        balance=svg(balance_plot(found), "balance", "Red, green and blue of the greys"),
        colours=svg(colours_plot(found), "colours", "Target colours and colours read, in u'v'"),
        differences=svg(differences_plot(found), "differences", "Share of patches under each ΔE"),
        patches=_patches(found),
    )


def _patches(found: DisplayCheck) -> list[dict[str, Any]]:
    """All patches, those with the largest error first."""
    order = np.argsort(-found.delta_e_2000, kind="stable")
    return [
        {
            "name": found.readings.names[k],
            "signal": " ".join(f"{100 * v:.0f}" for v in found.readings.signal[k]),
            "wanted": _swatch(found.wanted[k] / found.target.peak),
            "read": _swatch(found.readings.xyz[k] / found.target.peak),
            "luminance": float(found.readings.xyz[k, 1]),
            "luminance_wanted": float(found.wanted[k, 1]),
            "delta_e_2000": float(found.delta_e_2000[k]),
            "delta_e_itp": float(found.delta_e_itp[k]),
        }
        for k in order
    ]


def _swatch(xyz: Any) -> str:
    """The nearest sRGB colour of XYZ, white at 1."""
    light = np.clip(np.linalg.solve(BT709.to_xyz, xyz), 0, 1)
    return "#" + "".join(f"{round(255 * float(v)):02x}" for v in Srgb().encode(light))
