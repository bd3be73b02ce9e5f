"""Colour tags: what a file states about its colours.

A LUT changes what the numbers mean. A tag of the source (an ICC profile, a colour space name,
chromaticities, the transfer code of a DPX header) would be wrong for the result, so all are
dropped. The tags of the result come from the user, as the gamut and curve that the LUT gives.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lutbench.errors import LutbenchError, unknown_name

if TYPE_CHECKING:
    from lutbench.model.gamuts import Gamut

# Code points of Recommendation ITU-T H.273 (colour_primaries, transfer_characteristics).
# BT.1886 is the display curve for BT.709, and shares its code point.
PRIMARIES = {"BT.709": 1, "sRGB": 1, "BT.2020": 9, "BT.2100": 9, "P3-D65": 12}
TRANSFERS = {
    "BT.709": 1,
    "BT.1886": 1,
    "linear": 8,
    "sRGB": 13,
    "BT.2020": 14,
    "BT.2100 PQ": 16,
    "BT.2100 HLG": 18,
}

_COLOUR_NAMES = {
    "oiio:colorspace",
    "oiio:gamma",
    "colorinteropid",
    "iccprofile",
    "cicp",
    "chromaticities",
    "whiteluminance",
    "adoptedneutral",
    "renderingtransform",
    "lookmodtransform",
    "acesimagecontainerflag",
    "exif:colorspace",
    "exif:gamma",
    "exif:whitepoint",
    "exif:primarychromaticities",
    "png:gamma",
    "tiff:colorspace",
    "dpx:transfer",
    "dpx:colorimetric",
    "dpx:lowdata",
    "dpx:lowquantity",
    "dpx:highdata",
    "dpx:highquantity",
    "dpx:gamma",
    "dpx:blacklevel",
    "dpx:blackgain",
    "dpx:breakpoint",
    "dpx:whitelevel",
}


@dataclass(frozen=True)
class ColourTags:
    """Gamut and curve by standard short names, or None where not known."""

    gamut: str | None = None
    curve: str | None = None

    def __post_init__(self) -> None:
        for kind, name, known in (
            ("gamut", self.gamut, PRIMARIES),
            ("curve", self.curve, TRANSFERS),
        ):
            if name is None:
                continue
            found = {each.casefold(): each for each in known}.get(name.casefold())
            if found is None:
                error = unknown_name(kind, name, known)
                raise LutbenchError(
                    f"there is no tag for the {kind} {name!r}", accepted=", ".join(known)
                ) from error
            object.__setattr__(self, kind, found)

    @property
    def primaries(self) -> int:
        """The code point for the primaries; 2 stands for not specified."""
        return 2 if self.gamut is None else PRIMARIES[self.gamut]

    @property
    def transfer(self) -> int:
        """The code point for the transfer curve; 2 stands for not specified."""
        return 2 if self.curve is None else TRANSFERS[self.curve]


NO_TAGS = ColourTags()


def gamut_of(primaries: int) -> Gamut:
    """The gamut of a code point of `PRIMARIES`."""
    from lutbench.model.gamuts import BT709, BT2020, P3_D65

    return {1: BT709, 9: BT2020, 12: P3_D65}[primaries]


def is_colour_attribute(name: str) -> bool:
    """Whether a header's attribute describes colour, and so is wrong after a LUT.

    >>> is_colour_attribute("ICCProfile:device_class"), is_colour_attribute("Artist")
    (True, False)
    """
    folded = name.casefold()
    stale = folded.startswith("iccprofile:") or folded.endswith((":iccprofile", ":colormode"))
    return stale or folded in _COLOUR_NAMES


def tag_header(header: Any, format_name: str, tags: ColourTags) -> None:
    """Write `tags` into a header, with the attributes that the format has."""
    if format_name in ("png", "jpeg", "tiff") and (tags.primaries, tags.transfer) == (1, 13):
        header.attribute("oiio:ColorSpace", "srgb_rec709_scene")  # an sRGB chunk, or Exif's tag
    elif format_name == "png":
        header.attribute("oiio:ColorSpace", "unknown")  # or the library would write sRGB
    if format_name in ("png", "jpeg", "tiff") and tags.gamut and tags.curve:
        from lutbench.media.still.icc import profile_of

        profile = profile_of(gamut_of(tags.primaries), tags.curve)
        # A PNG file may not have both an sRGB chunk and a profile.
        if profile and (format_name, tags.primaries, tags.transfer) != ("png", 1, 13):
            header.attribute("ICCProfile", f"uint8[{len(profile)}]", profile)
    if format_name == "png" and (tags.gamut and tags.curve):
        header.attribute("CICP", "int[4]", (tags.primaries, tags.transfer, 0, 1))
    elif format_name == "openexr" and tags.gamut:
        gamut = gamut_of(tags.primaries)
        points = [part for xy in (*gamut.primaries, gamut.white) for part in xy]
        header.attribute("chromaticities", "float[8]", tuple(points))
    elif format_name == "dpx":
        # The library knows the codes of the first edition of SMPTE 268M: BT.709 is among them.
        if tags.transfer in (1, 8):
            name = "ITU-R 709-4" if tags.transfer == 1 else "Linear"
            header.attribute("dpx:Transfer", name)
        if tags.primaries == 1:
            header.attribute("dpx:Colorimetric", "ITU-R 709-4")
