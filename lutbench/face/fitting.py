"""Functions that make a LUT from pictures: `learn`, `capture`, `match`."""

from __future__ import annotations

import math
import os
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lutbench.errors import LutbenchError
from lutbench.face import arguments
from lutbench.face.arguments import Picture
from lutbench.given import NOT_AN_ARRAY
from lutbench.model.catalogue import Catalogue
from lutbench.model.encoding import Encoding
from lutbench.tables.lut import USUAL_SIZE

if TYPE_CHECKING:
    from lutbench.fitting.match_report import CameraMatch
    from lutbench.fitting.pair import PairFit
    from lutbench.fitting.patches import PatchFit

FITTED = (2, 65)
"""Smallest and largest size of a LUT fitted to pictures: a picture holds too little for more."""


def learn(
    before: Picture,
    after: Picture,
    *,
    size: int = USUAL_SIZE,
    smoothness: float | None = None,
    title: str = "",
) -> PairFit:
    """The LUT between a still and the same still graded.

    Parameters
    ----------
    before, after
        The same still, pixel for pixel: paths, or arrays (height, width, 3).
    size
        Nodes along an edge, 2 to 65.
    smoothness
        Weight of smoothness against closeness to the data, over 0 to 1; unless given, the
        value that predicts parts held out of the fit best.
    title
        The title of the LUT.

    Returns
    -------
    PairFit
        `lut`, what it covers, and its error on parts held out of the fit.

    Raises
    ------
    LutbenchError
        When a file cannot be read, or the two are not the same still.
    """
    from lutbench.fitting.pair import fit_pair

    names = [str(each) for each in (before, after) if isinstance(each, str | os.PathLike)]
    return fit_pair(
        arguments.picture(before, "before"),
        arguments.picture(after, "after"),
        arguments.whole(size, "size", *FITTED),
        smoothness=_smoothness(smoothness),
        title=arguments.text(title, "title"),
        where=", ".join(names),
    )


def capture(
    picture: Picture, *, size: int = USUAL_SIZE, smoothness: float | None = None, title: str = ""
) -> PatchFit:
    """The LUT of a device, from the chart that came back from it.

    Parameters
    ----------
    picture
        The chart of ``lutbench chart`` as it came back: a path, or an array.
    size
        Nodes along an edge, 2 to 65.
    smoothness
        Weight of smoothness against closeness to the data, over 0 to 1; unless given, the
        value that predicts patches held out of the fit best.
    title
        The title of the LUT.

    Returns
    -------
    PatchFit
        `lut`, and its error on patches held out of the fit.

    Raises
    ------
    LutbenchError
        When the picture shows no such chart, or not the whole of it.
    """
    from lutbench.fitting.patches import fit_patches
    from lutbench.media.chart.picture import read_chart

    name = str(picture) if isinstance(picture, str | os.PathLike) else "the picture"
    reading = read_chart(arguments.picture(picture, "picture"), name)
    return fit_patches(
        reading.inputs,
        reading.outputs,
        arguments.whole(size, "size", *FITTED),
        uncertainty=math.hypot(reading.uncertainty / 255, 12**-0.5 / 255),
        smoothness=_smoothness(smoothness),
        title=arguments.text(title, "title"),
    )


def match(
    source: ArrayLike | str | os.PathLike[str],
    target: ArrayLike | str | os.PathLike[str],
    source_encoding: Encoding | str,
    target_encoding: Encoding | str,
    *,
    residual: bool = False,
    catalogue: Catalogue | None = None,
) -> CameraMatch:
    """The transform that matches one camera to another, from a chart that both recorded.

    Parameters
    ----------
    source, target
        Signal of the same patches: arrays (patches, 3), or CSV files with the columns
        name, R, G, B.
    source_encoding, target_encoding
        The encodings that the two cameras record, as an `Encoding` or as "CURVE, GAMUT".
    residual
        Also fit a smooth residual after the matrix.
    catalogue
        Where names are looked up; `open_catalogue()` unless given.

    Returns
    -------
    CameraMatch
        Exposure, white balance, matrix, the error of each patch in ΔE 2000, and `lut(size)`.

    Raises
    ------
    LutbenchError
        When there are too few patches, or the two sides are not of one chart.
    """
    from lutbench.fitting.camera_match import match_cameras

    before, after = (
        arguments.encoding(end, catalogue, what)
        for end, what in (
            (source_encoding, "source_encoding"),
            (target_encoding, "target_encoding"),
        )
    )
    (names, first), (_, second) = _patches(source, "source"), _patches(target, "target")
    if len(first) != len(second):
        raise LutbenchError(
            f"{len(first)} patches on one side, {len(second)} on the other", accepted="one chart"
        )
    flag = arguments.flag(residual, "residual")
    return match_cameras(first, second, before, after, names=names, residual=flag)


def _patches(value: Any, what: str) -> tuple[tuple[str, ...], NDArray[np.float64]]:
    if isinstance(value, str | os.PathLike):
        from lutbench.media.chart.patches import read_patch_table

        table = read_patch_table(os.fspath(value))
        return table.names, table.signal
    try:
        found = np.asarray(value, dtype=np.float64)
    except NOT_AN_ARRAY:
        found = np.empty(0)
    if found.ndim != 2 or found.shape[1] != 3 or not np.isfinite(found).all():
        raise LutbenchError(
            "are not patches", where=what, accepted="an array (patches, 3), a CSV file"
        )
    return (), found


def _smoothness(value: Any) -> float | None:
    return None if value is None else arguments.real(value, "smoothness", 1e-12, 1.0)
