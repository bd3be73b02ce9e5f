"""The proof sheet: the same pictures through the LUT for the set and through the files for post."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import lutbench
from lutbench import files
from lutbench.measure.delta_e import DELTA_E_NAMES, size_word
from lutbench.media import subjects
from lutbench.media.still.pixels import thumbnail
from lutbench.media.still.still import read_still
from lutbench.media.toned import LABEL, for_page, is_hdr
from lutbench.recipes.post import Apart, PostLut, apart
from lutbench.report.drawing import picture_uri
from lutbench.report.templates import render

WIDTH_PX = 420
"""Width of a picture on the sheet in pixels: three fit side by side."""

MAGNIFIED = 20
"""Factor by which a difference is magnified: one 10-bit code is then 2 % of white."""


@dataclass(frozen=True)
class Proof:
    """One picture through both, with the difference and its figures."""

    name: str
    on_set: str
    in_post: str
    difference: str
    figures: Apart

    @property
    def verdict(self) -> str:
        """The size of the difference in words."""
        usual, most = (size_word(each) for each in (self.figures.delta_e.mean, self.worst))
        return f"{usual} overall, {most} at worst" if usual != most else most

    @property
    def worst(self) -> float:
        """The 99th percentile of the difference over the pixels."""
        return self.figures.delta_e.p99


@dataclass(frozen=True)
class ProvedLut:
    """A LUT with its proofs; `look` holds CDL and conversion against the whole CLF."""

    lut: PostLut
    proofs: tuple[Proof, ...]
    look: Apart | None
    toned: str

    @property
    def measure(self) -> str:
        """The name of the measure of difference."""
        return DELTA_E_NAMES[self.proofs[0].figures.measure]


def write_proof(
    luts: Sequence[PostLut],
    path: Path,
    recipe: str,
    *,
    still: str | Path | None = None,
    force: bool = False,
) -> list[ProvedLut]:
    """Write the sheet to `path`, and return its proofs; `recipe` is the recipe's digest.

    Raises LutbenchError when the still cannot be read, or the file exists and `force` is not set.
    """
    proved = [prove(each, still) for each in luts]
    text = render(
        "proof.html",
        luts=proved,
        recipe=recipe,
        magnified=MAGNIFIED,
        version=lutbench.__version__,
    )
    files.write_text(path, text, force=force)
    return proved


def prove(lut: PostLut, still: str | Path | None = None) -> ProvedLut:
    """The pictures of a LUT through both: a photograph and the chart, or the user's still."""
    source = lut.task.source
    if still is not None:
        pictures = [(Path(still).name, thumbnail(read_still(still), WIDTH_PX))]
    else:
        photograph = subjects.recorded(subjects.photograph_light(), source)
        pictures = [("photograph", photograph), ("24-patch chart", subjects.chart_picture(source))]
    on_set, in_post, look = lut.set_transform, lut.post_transform, lut.look_transform
    proofs = []
    for name, picture in pictures:
        values = np.asarray(picture, dtype=np.float64).reshape(-1, 3)
        figures = apart(on_set, in_post, values, lut.task)
        shown = [np.asarray(each.apply(picture), dtype=np.float64) for each in (on_set, in_post)]
        difference = np.clip(0.5 + MAGNIFIED * (shown[0] - shown[1]), 0, 1)
        uris = [_uri(for_page(each, lut.task.result)) for each in shown]
        proofs.append(Proof(name, uris[0], uris[1], _uri(difference), figures))
    values = np.concatenate([np.asarray(p, np.float64).reshape(-1, 3) for _, p in pictures])
    chained = None if look is None else apart(look, in_post, values, lut.task)
    return ProvedLut(lut, tuple(proofs), chained, LABEL if is_hdr(lut.task.result) else "")


def _uri(picture: NDArray[Any]) -> str:
    return picture_uri(picture, photographic=True)
