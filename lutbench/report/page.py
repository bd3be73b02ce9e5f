"""The page of an inspection: one self-contained HTML file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

import lutbench
from lutbench.exposure.reading import GREY
from lutbench.inspection.inspection import Inspection
from lutbench.inspection.registry import all_limits
from lutbench.media.toned import LABEL, for_page, is_hdr
from lutbench.model.signal import CODES_10_BIT, SignalFromRange
from lutbench.report import plots, plots_colour
from lutbench.report.drawing import Figure, figure, picture_uri, svg
from lutbench.report.identification import inside
from lutbench.report.inspection_words import depth_words, fact_rows, scene_words
from lutbench.report.pictures import chart_picture, our_still
from lutbench.report.templates import render
from lutbench.report.words import percent_words, stops_words

if TYPE_CHECKING:
    from lutbench.identification import Identification

PICTURE_PX = 560
"""Width of a picture in pixels: half of a page."""


@dataclass(frozen=True)
class BeforeAfter:
    """A picture before and after, each with its waveform."""

    title: str
    note: str
    before: str
    after: str
    alternative: str
    before_wave: str
    after_wave: str


def page_html(
    found: Inspection,
    *,
    still: str | Path | None = None,
    identification: Identification | None = None,
) -> str:
    """The page as self-contained HTML.

    Parameters
    ----------
    still
        The user's own still, as it was recorded; a built-in one unless given.
    identification
        The result of `lutbench.identify` for the LUT, which gets its own section.
    """
    return render(
        "inspection.html",
        found=found,
        version=lutbench.__version__,
        facts=fact_rows(found),
        tone=_tone(found),
        colour=_colour(found),
        lattice=_lattice(found),
        pairs=_pairs(found, still),
        levels=_levels(found),
        scene=scene_words(found),
        identification=identification,
        inside=inside(identification) if identification is not None else None,
        axis=_axis_rows(found),
        hue=_hue_rows(found),
        limits=_limits(found),
        depth_words=depth_words,
    )


def _tone(found: Inspection) -> list[Figure]:
    grey = f"{100 * found.mid_grey_in:.0f} % in comes out at {100 * found.mid_grey_out:.0f} %"
    figures = [
        figure(
            "tone",
            lambda: plots.tone_plot(found),
            "Signal in to signal out on the grey scale. Shaded: clipped. Dotted: no change.",
            f"Tone curve of the grey scale; {grey}",
        )
    ]
    if found.scene is not None:
        figures.append(
            figure(
                "stops",
                lambda: plots.stops_plot(found),
                f"Stops from mid grey to signal: as recorded in {found.scene.levels.curve.name}, "
                "and after the LUT.",
                "Signal by exposure in stops; " + " ".join(scene_words(found)),
            )
        )
    tint = CODES_10_BIT * found.neutral.tint[0]
    figures.append(
        figure(
            "tint",
            lambda: plots.tint_plot(found),
            f"Tint: the difference of red and blue from green on the grey scale. Shaded: up to "
            f"{found.limits['tint']:g} of a 10-bit code, which does not count as tint.",
            f"Tint of the grey scale: at most {tint:.1f} 10-bit codes",
        )
    )
    return figures


def _colour(found: Inspection) -> list[Figure]:
    if found.subject.lattice is None:
        return []
    known = found.source_curve is not None
    turns = ", ".join(f"{each.hue} {each.turn:+.0f}°" for each in plots_colour.hue_of(found).ramps)
    before = (
        "as the source encodes them"
        if known
        else "as signals of the display itself, since the source is not known"
    )
    return [
        figure(
            "hue",
            lambda: plots_colour.hue_plot(found),
            f"Six ramps of one hue from grey outwards, at the brightness of mid grey ({before}): "
            "dashed before, solid after. Outwards is more saturated; a bent line changes hue. "
            "T and P of Recommendation ITU-R BT.2124.",
            f"Hue and chroma before and after; the largest hue shift of each: {turns}",
        ),
        figure(
            "gamut",
            lambda: plots_colour.gamut_plot(found),
            "Output chromaticities of colours as bright as mid grey, in "
            f"{found.target.gamut.name}.",
            f"CIE xy diagram: the gamut {found.target.gamut.name} and the colours that come out",
        ),
    ]


def _lattice(found: Inspection) -> list[Figure]:
    if found.subject.lattice is None:
        return []
    folds = found.health.folds
    folded = int(folds.cells.sum()) if folds is not None else 0
    fold_text = f"{folded} tetrahedra are folded" if folded else "none is folded"
    return [
        figure(
            "slices",
            lambda: plots_colour.slices_plot(found),
            "Slices of the table, drawn in the colours that come out.",
            "Five slices of the lattice at rising blue, as colours",
        ),
        figure(
            "steps",
            lambda: plots_colour.steps_plot(found),
            "The largest step to a neighbouring node, in 10-bit codes: where it is bright, a small "
            f"change in gives a large change out. Crosses mark folded cells ({fold_text}).",
            f"Map of step widths on five slices; of the tetrahedra {fold_text}",
        ),
    ]


def _pairs(found: Inspection, still: str | Path | None) -> list[BeforeAfter]:
    from lutbench.media.still.pixels import thumbnail
    from lutbench.media.still.still import read_still

    known = found.source_curve is not None
    if still is not None:
        picture = thumbnail(read_still(still), PICTURE_PX)
        note = f"{Path(still).name}, as it was recorded"
    else:
        picture = thumbnail(our_still(found), PICTURE_PX)
        note = _our_note(found)
    chart_note = (
        f"the measured chart, as {found.source_curve.name} records it"
        if known and found.source_curve is not None
        else "the measured chart as a display shows it: a LUT for log makes it too contrasty"
    )
    return [
        _pair(found, "still", "Photograph", note, picture),
        _pair(found, "chart", "Chart", chart_note, chart_picture(found)),
    ]


def _our_note(found: Inspection) -> str:
    from lutbench.report.pictures import gamut_for_pictures

    if found.source_curve is None:
        return (
            "a photograph as a display shows it: a LUT for log makes it too contrasty. "
            "Name the source curve, or give your own still"
        )
    gamut = gamut_for_pictures(found)
    assumed = "" if found.source_gamut is not None else " (assumed)"
    return (
        f"a photograph, its highlights extended to two stops over white, as recorded in "
        f"{found.source_curve.name}, {gamut.name}{assumed}"
    )


def _pair(found: Inspection, key: str, title: str, note: str, picture: NDArray[Any]) -> BeforeAfter:
    after = np.asarray(found.lut.apply(picture), dtype=np.float32)
    signal = SignalFromRange(found.target_range).apply(after)
    photographic = key == "still"
    if is_hdr(found.target):
        note = (
            f"{note}. After: {LABEL}; the waveform is that of the {found.target.curve.name} signal"
        )
    elif found.target_range == "legal":
        note = f"{note}. After: as a monitor set to legal range shows it"
    return BeforeAfter(
        title,
        note,
        picture_uri(picture, photographic=photographic),
        picture_uri(for_page(after, found.seen_as), photographic=photographic),
        f"{title}: {note}",
        svg(plots.waveform_plot(picture), f"{key}-before", f"Waveform of the {key} before"),
        svg(plots.waveform_plot(signal), f"{key}-after", f"Waveform of the {key} after the LUT"),
    )


def _levels(found: Inspection) -> list[dict[str, Any]]:
    return [
        each.to_data()
        | {
            "label": each.label.replace("-", "−"),
            "subject": each.is_subject,
            "grey": each.reflectance == GREY,
            "reflectance_text": percent_words(each.reflectance) if found.scene else "",
            "stops_text": stops_words(each.stops) if found.scene else "",
        }
        for each in found.levels
    ]


def _axis_rows(found: Inspection) -> list[tuple[str, ...]]:
    """At most 65 evenly spaced rows of the neutral axis."""
    axis = found.neutral
    count = len(axis.inputs)
    chosen = np.unique(np.linspace(0, count - 1, min(count, 65)).round().astype(int))
    return [
        (f"{axis.inputs[k]:.5f}", *(f"{value:.6f}" for value in axis.outputs[k])) for k in chosen
    ]


def _hue_rows(found: Inspection) -> list[tuple[str, str, str]]:
    if found.subject.lattice is None:
        return []
    return [
        (each.hue, f"{each.turn:+.1f}°".replace("-", "−"), f"{each.saturation:.2f}")
        for each in plots_colour.hue_of(found).ramps
    ]


def _limits(found: Inspection) -> list[tuple[str, str, str, str]]:
    return [
        (name, f"{found.limits[name]:g}", limit.unit, limit.why)
        for name, limit in all_limits().items()
    ]
