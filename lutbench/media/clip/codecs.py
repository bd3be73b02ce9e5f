"""The codecs that clips can be written in, as far as the build of FFmpeg has them."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lutbench.errors import LutbenchError, MissingExtraError
from lutbench.media.names import CLIP_SUFFIXES

if TYPE_CHECKING:
    from lutbench.media.clip.coding import ClipCoding


@dataclass(frozen=True)
class Codec:
    """One way to write a clip."""

    encoder: str
    """FFmpeg's name of the encoder."""
    forms: dict[tuple[int, str], str]
    """The pixel formats by (bits, chroma), the usual one first."""
    options: dict[str, str] = field(default_factory=dict)
    """Options of the encoder; `by_depth` has further ones."""
    by_depth: dict[int, dict[str, str]] = field(default_factory=dict)
    alpha: dict[tuple[int, str], str] = field(default_factory=dict)
    """The pixel formats with alpha, by (bits, chroma)."""
    only_709: bool = False
    """Whether the stream can only be tagged with the Y'CbCr matrix of BT.709."""
    quality: bool = False
    """Whether the encoder takes a constant rate factor."""

    def options_for(self, bits: int, quality: int | None) -> dict[str, str]:
        """The encoder's options."""
        chosen = self.options | self.by_depth.get(bits, {})
        return chosen if quality is None else chosen | {"crf": str(quality)}


def _planar(*depths: int) -> dict[tuple[int, str], str]:
    return {
        (bits, chroma): f"yuv{chroma}p" + ("" if bits == 8 else f"{bits}le")
        for bits in depths
        for chroma in ("420", "422", "444")
    }


CODECS: dict[str, Codec] = {
    "prores": Codec("prores", {(10, "422"): "yuv422p10le"}, {"profile": "3"}),
    "prores4444": Codec(
        "prores",
        {(10, "444"): "yuv444p10le"},
        {"profile": "4"},
        alpha={(10, "444"): "yuva444p10le"},
    ),
    "dnxhr": Codec(
        "dnxhd",
        {(10, "422"): "yuv422p10le", (8, "422"): "yuv422p"},
        by_depth={10: {"profile": "dnxhr_hqx"}, 8: {"profile": "dnxhr_hq"}},
        only_709=True,
    ),
    "dnxhr444": Codec(
        "dnxhd", {(10, "444"): "yuv444p10le"}, {"profile": "dnxhr_444"}, only_709=True
    ),
    "h264": Codec("libx264", _planar(8, 10), {"crf": "14"}, quality=True),
    "h265": Codec(
        "libx265",
        {(10, "420"): "yuv420p10le", **_planar(10, 8, 12)},
        {"crf": "16", "x265-params": "log-level=error"},
        quality=True,
    ),
    "ffv1": Codec(
        "ffv1",
        _planar(8, 10, 12),
        {"level": "3", "slicecrc": "1", "slices": "16"},
        alpha={
            (bits, chroma): f"yuva{chroma}p{bits}le"
            for bits in (10, 12)
            for chroma in ("422", "444")
        },
    ),
}


@dataclass(frozen=True)
class Choice:
    """A codec with the chosen depth and chroma."""

    name: str
    codec: Codec
    bits: int
    chroma: str
    form: str


def choose(
    target: Path, name: str | None, bits: int | None, chroma: str | None, source: ClipCoding
) -> Choice:
    """The codec for a file name and the user's options.

    By default, depth and chroma are the usual ones of the codec; ``ffv1``, which is lossless,
    takes those of the source.

    Raises LutbenchError when the suffix, the codec or the combination is not supported.
    """
    suffix = target.suffix.lower()
    if suffix not in CLIP_SUFFIXES:
        raise LutbenchError(
            f"{target.suffix!r} is not a suffix of clips",
            where=target,
            accepted=", ".join(CLIP_SUFFIXES),
        )
    name = CLIP_SUFFIXES[suffix] if name is None else name.lower()
    if name not in CODECS:
        raise LutbenchError(f"no codec is named {name!r}", accepted=", ".join(CODECS))
    codec = CODECS[name]
    if not has_encoder(codec.encoder):
        there = [each for each, other in CODECS.items() if has_encoder(other.encoder)]
        raise LutbenchError(
            f"this build of FFmpeg has no encoder for {name}", accepted=", ".join(there)
        )
    wanted = (bits, chroma)
    if name == "ffv1":
        nearest = min((each for each, _ in codec.forms), key=lambda depth: abs(depth - source.bits))
        wanted = (bits or nearest, chroma or source.chroma)
    possible = [
        key for key in codec.forms if wanted[0] in (None, key[0]) and wanted[1] in (None, key[1])
    ]
    if not possible:
        combinations = ", ".join(f"{depth} bit {form}" for depth, form in codec.forms)
        asked = " ".join(filter(None, (f"{bits} bit" if bits else "", chroma or "")))
        raise LutbenchError(f"{name} cannot hold {asked}", accepted=combinations)
    key = possible[0]
    form = codec.alpha.get(key, codec.forms[key]) if source.alpha else codec.forms[key]
    return Choice(name, codec, key[0], key[1], form)


def has_encoder(name: str) -> bool:
    """Whether this build of FFmpeg has an encoder."""
    av = load_av()
    try:
        av.Codec(name, "w")
    except av.codec.codec.UnknownCodecError:
        return False
    return True


def load_av() -> Any:
    """PyAV; MissingExtraError where it is not installed."""
    try:
        import av
    except ImportError as error:
        raise MissingExtraError("av", "clips", "reading and writing clips") from error
    return av
