"""What all plots share: colours that follow the page's theme, axes, and inline SVG.

A plot is drawn with placeholder colours, which become CSS variables in the SVG, so that one
drawing serves the light page, the dark page and print. Text stays text: it uses the page's
font and can be read aloud and searched.
"""

from __future__ import annotations

import base64
import io
import re
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass, fields
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Palette:
    """The colours of a plot; data colours after Okabe and Ito, safe for colour-blind viewers."""

    ink: str = "#1d2126"
    faint: str = "#5d6671"
    line: str = "#c9ced4"
    ground: str = "#ffffff"
    red: str = "#c04a00"
    green: str = "#00795a"
    blue: str = "#0067a3"
    accent: str = "#0067a3"
    second: str = "#b3612f"
    mark: str = "#8c4a73"

    @property
    def rgb(self) -> tuple[str, str, str]:
        """The colours of the three channels."""
        return self.red, self.green, self.blue


PAPER = Palette()
# Placeholder colours that are used for nothing else: they become CSS variables.
THEMED = Palette(*(f"#0{index}0e0{index}" for index in range(len(fields(Palette)))))
_VARIABLES = {getattr(THEMED, each.name): f"var(--{each.name})" for each in fields(Palette)}

FONT = {"font.family": "DejaVu Sans", "font.size": 9.0}


def new_figure(width: float, height: float) -> Any:
    """An empty figure of a size in inches, with a transparent background."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    figure.patch.set_alpha(0)
    return figure


def add_axes(figure: Any, position: Any = 111, palette: Palette = THEMED, **options: Any) -> Any:
    """Plain axes: no box, a faint grid, small ticks."""
    axes = figure.add_subplot(position, **options)
    axes.patch.set_alpha(0)
    for name, spine in axes.spines.items():
        spine.set_visible(name in ("left", "bottom"))
        spine.set_color(palette.line)
    axes.tick_params(colors=palette.faint, labelcolor=palette.faint, labelsize=8, length=3)
    axes.grid(True, color=palette.line, linewidth=0.5)
    axes.set_axisbelow(True)
    for label in (axes.xaxis.label, axes.yaxis.label, axes.title):
        label.set_color(palette.faint)
        label.set_fontsize(8.5)
    return axes


def legend_above(axes: Any) -> None:
    """The names of the lines in a row over the axes, where they cover nothing."""
    axes.legend(
        frameon=False,
        ncols=3,
        loc="lower right",
        bbox_to_anchor=(1, 1),
        borderaxespad=0,
        labelcolor=THEMED.ink,
    )


def svg(figure: Any, key: str, alternative: str) -> str:
    """The figure as inline SVG; `key` is unique on the page, `alternative` describes the figure."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    text = io.StringIO()
    settings = {**FONT, "svg.fonttype": "none", "svg.hashsalt": "lutbench", "path.simplify": True}
    with mpl.rc_context(settings), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")
        FigureCanvasSVG(figure)
        figure.savefig(text, format="svg", transparent=True, metadata={"Date": None})
    return _inline(text.getvalue(), key, alternative)


def _inline(text: str, key: str, alternative: str) -> str:
    """The <svg> element without what only a file needs, with ids unique on the page."""
    body = text[text.index("<svg") :]
    for unwanted in (r"<metadata>.*?</metadata>", r"<!--.*?-->", r"<style.*?</style>"):
        body = re.sub(unwanted, "", body, flags=re.DOTALL)
    body = _renamed(body, key)
    body = re.sub(r'(<svg[^>]*?) (?:width|height)="[^"]*"', r"\1", body, count=1)
    body = re.sub(r'(<svg[^>]*?) (?:width|height)="[^"]*"', r"\1", body, count=1)
    # The font of the page; the sizes do not change.
    body = re.sub(r"font-family: [^;\"]*", "font-family: var(--font)", body)
    body = re.sub(r"(\d+\.\d{2})\d+", r"\1", body)
    body = re.sub(r"\s*\n\s*", " ", body)
    for colour, variable in _VARIABLES.items():
        body = body.replace(colour, variable)
    name = escape(alternative, quote=True)
    return body.replace("<svg", f'<svg role="img" aria-label="{name}"', 1).strip()


def _renamed(body: str, key: str) -> str:
    """`body` with its ids numbered in order: those of matplotlib differ from run to run."""
    numbers: dict[str, int] = {}

    def number(found: re.Match[str]) -> str:
        return f"{found[1]}{key}-{numbers.setdefault(found[2], len(numbers))}"

    return re.sub(r'(\bid="|url\(#|href="#)([^")]+)', number, body)


def png(figure: Any, *, dpi: int = 100) -> bytes:
    """The figure as the bytes of a PNG file."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    data = io.BytesIO()
    with mpl.rc_context(FONT), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")
        FigureCanvasAgg(figure)
        # The usual entry holds matplotlib's version, which would change the bytes at each update.
        figure.savefig(
            data, format="png", dpi=dpi, facecolor=PAPER.ground, metadata={"Software": None}
        )
    return data.getvalue()


def picture_uri(pixels: NDArray[Any], *, photographic: bool = False) -> str:
    """A picture of signal values, shape (height, width, 3), as a data URI of a PNG or JPEG."""
    from lutbench.media.still.still import Still, write_still

    codes = np.rint(np.clip(np.nan_to_num(np.asarray(pixels, np.float64)), 0, 1) * 255)
    suffix, kind = (".jpg", "jpeg") if photographic else (".png", "png")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"picture{suffix}"
        write_still(Still(codes.astype(np.uint8), ("R", "G", "B"), "8"), path, depth="8")
        data = path.read_bytes()
    return f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"


def plain_text(text: str) -> str:
    """Text for a plot: on one line, and not taken for mathematics."""
    return " ".join(text.split()).replace("$", r"\$")


@dataclass(frozen=True)
class Figure:
    """A drawing with its caption and its text alternative; `html` is safe HTML."""

    html: str
    caption: str


def figure(key: str, draw: Callable[[], Any], caption: str, alternative: str) -> Figure:
    """The figure that `draw` makes; `key` is unique on the page."""
    return Figure(svg(draw(), key, alternative), caption)
