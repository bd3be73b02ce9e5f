"""A still with its pixels at the depth of its file, and applying a transform to it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lutbench.errors import FormatError, LutbenchError
from lutbench.tables.pixels import apply_pixels
from lutbench.tables.programs import TYPES, can_apply

if TYPE_CHECKING:
    from lutbench.model.transforms import Transform

_BLOCK_PIXELS = 1 << 18
"""Pixels that are processed at a time: 3 MiB of float32, which fits a usual cache."""


@dataclass(frozen=True, eq=False, repr=False)
class Still:
    """A picture at the depth of its file.

    Parameters
    ----------
    pixels
        Shape (height, width, channels). Integers are code values: 0..255, 0..1023, 0..4095 or
        0..65535 by `depth`; float16 and float32 are as in the file.
    channels
        The names of the channels on the last axis.
    depth
        ``"8"``, ``"10"``, ``"12"``, ``"16"``, ``"half"`` or ``"float"``.
    format
        The format of the file that it was read from; empty for another still.
    premultiplied
        Whether the colours are multiplied by alpha, where there is one (OpenEXR, and TIFF
        where its header says so).
    header
        The header of the file, as the image library gives it.
    modified
        When the file was modified, in seconds since 1970.
    """

    pixels: NDArray[Any]
    channels: tuple[str, ...]
    depth: str
    format: str = ""
    premultiplied: bool = False
    header: Any = field(default=None)
    modified: float = 0.0

    @property
    def width(self) -> int:
        """The number of pixels in a line."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """The number of lines."""
        return int(self.pixels.shape[0])

    @property
    def full_scale(self) -> float:
        """The code value that stands for signal 1.0: 2^n − 1, and 1 for float."""
        return 1.0 if self.depth in ("half", "float") else float(2 ** int(self.depth) - 1)

    @property
    def metadata(self) -> dict[str, Any]:
        """The attributes of the header by name."""
        if self.header is None:
            return {}
        found = {}
        for each in self.header.extra_attribs:
            with suppress(UnicodeDecodeError):  # a text that is not valid
                found[each.name] = each.value
        return found

    def colour_indices(self) -> tuple[int, int, int]:
        """The indices of R, G and B among the channels."""
        found = colour_indices_of(self.channels)
        if found is None:
            raise no_colours(self.channels, "")
        return found

    def alpha_index(self) -> int | None:
        """The index of the alpha in the layer of R, G and B, or None."""
        folded = [name.casefold() for name in self.channels]
        found = colour_indices_of(self.channels)
        name = (folded[found[0]][:-1] if found else "") + "a"
        return folded.index(name) if name in folded else None

    def signal(self) -> NDArray[np.float32]:
        """R G B as float32 signal values, shape (height, width, 3): 1.0 is `full_scale`."""
        r, g, b = self.colour_indices()
        rgb = self.pixels[..., [r, g, b]].astype(np.float32)
        if self.full_scale != 1.0:
            rgb /= np.float32(self.full_scale)
        return rgb

    def __repr__(self) -> str:
        names = " ".join(self.channels)
        return f"Still({self.width}×{self.height}, {names}, depth={self.depth})"


def apply_to_still(transform: Transform, still: Still) -> Still:
    """Put R G B of a still through a transform, block by block, in place.

    Premultiplied colours are divided by alpha before and multiplied after, so that soft edges
    keep their colour; where alpha is 0 they are put through unchanged. Integers are rounded to
    nearest and clipped to the range of codes.

    Returns
    -------
    Still
        The same still with its pixels changed, since a copy would double the memory.
    """
    view = _kernel_view(still)
    if view is not None and can_apply(transform):
        bits = None if still.full_scale == 1.0 else int(still.depth)
        apply_pixels(transform, view, bits=bits, out=view)
        return still
    alpha = still.alpha_index() if still.premultiplied else None
    scale = np.float32(still.full_scale)
    for rows in _blocks(still):
        with np.errstate(over="ignore", invalid="ignore"):  # NaN and infinity are kept
            _apply_to_rows(transform, still, rows, alpha, scale)
    return still


def _apply_to_rows(
    transform: Transform, still: Still, rows: NDArray[Any], alpha: int | None, scale: np.float32
) -> None:
    rgb = _block_signal(rows, still, scale)
    if alpha is not None:
        cover = rows[..., alpha : alpha + 1].astype(np.float32) / scale
        cover = np.where(cover == 0, np.float32(1), cover)
        rgb /= cover
    rgb = through(transform, rgb)
    if alpha is not None:
        rgb = rgb * cover
    codes = rgb if scale == 1.0 else rounded(rgb, float(scale))
    rows[..., _places(still)] = codes


def through(transform: Transform, rgb: NDArray[np.float32]) -> NDArray[np.float32]:
    """R G B through a transform; in place and in one pass where the kernels support it."""
    if can_apply(transform):
        return apply_pixels(transform, rgb, out=rgb)
    return np.asarray(transform.apply(rgb), dtype=np.float32)


def colour_indices_of(channels: Sequence[str]) -> tuple[int, int, int] | None:
    """The indices of R, G, B; without such names, those of the only layer that has all three."""
    folded = [name.casefold() for name in channels]
    layers = {name[:-1] for name in folded if name.endswith("r")}
    full = [
        layer for layer in layers if all(layer + c in folded for c in "rgb") and layer[-1:] in ".:"
    ]
    if all(c in folded for c in "rgb"):
        full = [""]
    if len(full) != 1:
        return None
    r, g, b = (folded.index(full[0] + c) for c in "rgb")
    return r, g, b


def no_colours(channels: Sequence[str], path: str | Path) -> LutbenchError:
    """The error for channels without R, G, B."""
    names = ", ".join(channels[:12]) + (", …" if len(channels) > 12 else "")
    return FormatError(
        f"the channels are {names}",
        where=path,
        accepted="R, G, B in one layer, or one grey channel",
    )


def rounded(signal: NDArray[np.float32], scale: float) -> NDArray[Any]:
    """Signal as code values: rounded to nearest, clipped to the range, NaN as 0."""
    with np.errstate(over="ignore", invalid="ignore"):  # infinity becomes the highest code
        codes = np.rint(signal * np.float32(scale))
    codes = np.nan_to_num(codes, nan=0.0, posinf=scale, neginf=0.0)
    kind = np.uint8 if scale == 255 else np.uint16
    return np.asarray(np.clip(codes, 0, scale), dtype=kind)


def triangular(noise: np.random.Generator, shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Triangular noise of -1 to 1 code, with which rounding causes neither steps nor a bias.

    Dither of two codes peak to peak: S. P. Lipshitz, R. A. Wannamaker and J. Vanderkooy,
    Quantization and Dither, J. Audio Eng. Soc. 40 (1992), from memory.
    """
    first, second = (noise.random(shape, dtype=np.float32) for _ in range(2))
    return first - second


def _kernel_view(still: Still) -> NDArray[Any] | None:
    """R G B as a view that the kernels can change in place, or None."""
    first, second, third = still.colour_indices()
    if still.pixels.dtype.name not in TYPES or (second, third) != (first + 1, first + 2):
        return None
    if still.premultiplied and still.alpha_index() is not None:
        return None
    view: NDArray[Any] = still.pixels[..., first : first + 3]
    return view if view.flags.writeable else None


def _blocks(still: Still) -> Iterator[NDArray[Any]]:
    rows = max(1, _BLOCK_PIXELS // max(1, still.width))
    for start in range(0, still.height, rows):
        yield still.pixels[start : start + rows]


def _block_signal(rows: NDArray[Any], still: Still, scale: np.float32) -> NDArray[np.float32]:
    rgb = rows[..., _places(still)].astype(np.float32)
    if scale != 1.0:
        rgb /= scale
    return rgb


def _places(still: Still) -> slice | list[int]:
    """The indices of R, G, B; where they come first, as a slice, which is much faster."""
    indices = still.colour_indices()
    return slice(0, 3) if indices == (0, 1, 2) else list(indices)


def thumbnail(still: Still, width: int) -> NDArray[np.float32]:
    """R G B of a still as signal values, scaled down to `width` pixels at most.

    Pixels are averaged over their area as signal. A sheet puts this small picture through the
    LUT, not the large one; at that size the results differ only at hard edges.

    Returns
    -------
    ndarray
        Shape (height, width, 3), float32.
    """
    return shrunk(still.signal(), width)


def shrunk(picture: NDArray[np.float32], width: int) -> NDArray[np.float32]:
    """A signal picture (height, width, 3), scaled down as `thumbnail` does."""
    height, full_width = picture.shape[:2]
    small = min(width, full_width)
    lines = max(1, round(height * small / full_width))
    if (lines, small) == (height, full_width):
        return picture
    import OpenImageIO as oiio

    buffer = oiio.ImageBuf(np.ascontiguousarray(picture))
    resized = oiio.ImageBufAlgo.resize(
        buffer, filtername="box", roi=oiio.ROI(0, small, 0, lines, 0, 1, 0, 3), nthreads=1
    )
    return np.asarray(resized.get_pixels(oiio.FLOAT), dtype=np.float32)
