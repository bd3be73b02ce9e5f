"""ICC profiles for display colours: a matrix and a curve.

They follow ICC.1:2022 (ISO 15076-1), version 4, class monitor. The same colours give the same
bytes, since the profile has a fixed date.
"""

from __future__ import annotations

import struct

import numpy as np

from lutbench.model.gamuts import Gamut, adaptation_matrix
from lutbench.model.transforms import Array

D50 = (0.9642, 1.0, 0.8249)
"""XYZ of the white of the profile connection space: ICC.1:2022, 7.2.16."""

# Parameters g a b c d of a parametric curve, type 3: (aX + b)^g from d up, else cX.
# BT.709 and BT.1886 have the same curve here: a display with BT.1886 shows BT.709 signals.
CURVES: dict[str, tuple[float, ...]] = {
    "linear": (1.0,),
    "BT.1886": (2.4,),
    "BT.709": (2.4,),
    "sRGB": (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045),
}


def profile_of(gamut: Gamut, curve: str) -> bytes | None:
    """The profile for `gamut` and the display curve `curve`; None where it cannot hold the curve.

    >>> from lutbench.model.gamuts import BT709
    >>> profile = profile_of(BT709, "BT.1886")
    >>> profile[36:40], len(profile)
    (b'acsp', 504)
    """
    if curve not in CURVES:
        return None
    x, y, z = D50
    white = (x / (x + y + z), y / (x + y + z))
    adapted = adaptation_matrix(gamut.white, white)
    red, green, blue = (adapted @ gamut.to_xyz).T
    shape = _parametric(CURVES[curve])
    tags = {
        b"desc": _text(f"{gamut.name}, {curve}"),
        b"cprt": _text("No copyright"),
        b"wtpt": _xyz(np.array(D50)),
        b"chad": b"sf32" + bytes(4) + _fixed(adapted.ravel()),
        b"rXYZ": _xyz(red),
        b"gXYZ": _xyz(green),
        b"bXYZ": _xyz(blue),
        b"rTRC": shape,
        b"gTRC": shape,
        b"bTRC": shape,
    }
    return _assembled(tags)


def _assembled(tags: dict[bytes, bytes]) -> bytes:
    """Header, tag table and tag data; equal data is stored once."""
    begin = 128 + 4 + 12 * len(tags)
    places: dict[bytes, int] = {}
    body = b""
    for data in tags.values():
        if data not in places:
            places[data] = begin + len(body)
            body += data + bytes(-len(data) % 4)
    table = struct.pack(">I", len(tags)) + b"".join(
        struct.pack(">4sII", name, places[data], len(data)) for name, data in tags.items()
    )
    header = struct.pack(
        ">I4sI4s4s4s6H4s4sI4s4sQI12s4s16s28s",
        begin + len(body),
        bytes(4),  # preferred module
        0x04400000,  # version 4.4
        b"mntr",
        b"RGB ",
        b"XYZ ",
        *(2000, 1, 1, 0, 0, 0),  # a date is required
        b"acsp",
        bytes(4),
        0,
        bytes(4),
        bytes(4),
        0,
        1,  # media-relative colorimetric
        _fixed(np.array(D50)),
        bytes(4),
        bytes(16),
        bytes(28),
    )
    return header + table + body


def _fixed(values: Array) -> bytes:
    """s15Fixed16Number."""
    return np.rint(values * 65536).astype(">i4").tobytes()


def _xyz(values: Array) -> bytes:
    return b"XYZ " + bytes(4) + _fixed(values)


def _text(words: str) -> bytes:
    """multiLocalizedUnicodeType with one record."""
    text = words.encode("utf-16-be")
    return b"mluc" + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, len(text), 28) + text


def _parametric(parameters: tuple[float, ...]) -> bytes:
    kind = 0 if len(parameters) == 1 else 3
    return b"para" + struct.pack(">IHH", 0, kind, 0) + _fixed(np.array(parameters))
