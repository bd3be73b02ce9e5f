"""Curves and gamuts of both ends, from colour-science and from the Recommendations.

Registered encodings are taken by looping over the registries, as the catalogue
lists them; what they compute comes from colour-science itself.
"""

from __future__ import annotations

import difflib
import inspect
from functools import cache

import colour
import numpy as np

from lutbench.model.catalogue import open_catalogue
from open_world.case import Array, Function

REFERENCE_WHITE = 203.0
"""cd/m² of HDR reference white: Report ITU-R BT.2408, table 1."""

D65 = (0.3127, 0.3290)

SDR_CURVES = ("BT.1886", "sRGB", "gamma 2.2", "gamma 2.6", "BT.709")
SDR_NAMES = (*SDR_CURVES, "gamma 2.4", "BT.2020", "BT.2020 12-bit")
DISPLAY_GAMUTS = ("BT.709", "BT.2020", "P3-D65")
HDR_CURVES = ("ST 2084", "BT.2100 PQ", "BT.2100 HLG")

PQ_NAMES = ("ST 2084", "BT.2100 PQ")
"""Both name the signal of PQ; they differ in whose light it stands for."""

_COLOURSPACES = {
    "BT.709": "ITU-R BT.709",
    "BT.2020": "ITU-R BT.2020",
    "P3-D65": "P3-D65",
    "DCI-P3": "DCI-P3",
    "ACES AP0": "ACES2065-1",
    "ACES AP1": "ACEScg",
}


@cache
def log_names() -> tuple[str, ...]:
    """The camera and grading encodings of the catalogue that reach 4 stops over grey."""
    return tuple(
        each.name
        for each in open_catalogue(user=False).curves()
        if each.curve is not None
        and not each.unusable
        and (each.curve.family == "log" or each.curve.clip > 30)
        and each.curve.clip > 0.18 * 2**4
        and each.name not in HDR_CURVES
        and "BT.2100" not in each.name
        and "B67" not in each.name
    )


@cache
def gamut_names(wider_than: float = 0.0) -> tuple[str, ...]:
    """The gamuts of the catalogue whose triangle in xy is larger than this."""
    return tuple(
        each.name
        for each in open_catalogue(user=False).gamuts()
        if each.gamut is not None
        and each.name != "XYZ"
        and area(np.array(each.gamut.primaries)) > wider_than
    )


def area(primaries: Array) -> float:
    """The area of the triangle of three primaries in xy."""
    (a, b, c) = primaries
    return 0.5 * abs((b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]))


def belongs_with(curve: str, gamuts: tuple[str, ...]) -> str:
    """The gamut whose name is likest to that of a curve: they mostly belong together."""
    wanted = curve.casefold().replace("log", "gamut")
    return max(
        gamuts, key=lambda name: difflib.SequenceMatcher(None, wanted, name.casefold()).ratio()
    )


def decoder(name: str) -> Function:
    """Light of signal, by colour-science or the formula of the Recommendation."""
    if name in _SDR_DECODE:
        return _SDR_DECODE[name]
    if name == "ST 2084":
        return lambda v: colour.models.eotf_ST2084(np.clip(v, 0, 1)) / REFERENCE_WHITE
    if name == "BT.2100 PQ":
        return lambda v: pq_scene_light(np.clip(v, 0, 1))
    if name == "BT.2100 HLG":
        white = colour.models.oetf_inverse_BT2100_HLG(0.75)
        return lambda v: colour.models.oetf_inverse_BT2100_HLG(np.maximum(v, 0)) / white
    if name in colour.LOG_DECODINGS:
        return lambda v: np.asarray(colour.LOG_DECODINGS[name](v, **_signal(name)), dtype=float)
    return lambda v: np.asarray(colour.OETF_INVERSES[name](v), dtype=float)


def published_decoder(name: str) -> Function:
    """Light of values as colour-science publishes them: legal codes where those are meant."""
    decode = decoder(name)
    return (lambda v: decode((1023 * v - 64) / 876)) if _signal(name) else decode


def encoder(name: str) -> Function:
    """Signal of light, by colour-science or the formula of the Recommendation."""
    if name in _SDR_ENCODE:
        return _SDR_ENCODE[name]
    if name == "ST 2084":
        return lambda x: colour.models.eotf_inverse_ST2084(np.maximum(x, 0) * REFERENCE_WHITE)
    if name == "BT.2100 PQ":
        return lambda x: pq_scene_signal(np.maximum(x, 0))
    if name == "BT.2100 HLG":
        white = colour.models.oetf_inverse_BT2100_HLG(0.75)
        return lambda x: colour.models.oetf_BT2100_HLG(np.maximum(x, 0) * white)
    encode = colour.LOG_ENCODINGS.get(name) or colour.OETFS[name]
    # Signals under 0 are clipped anyway, and some logarithms have none there.
    with np.errstate(all="ignore"):
        least = decoder(name)(np.array(0.0))
    out = {f"out_{key[3:]}": value for key, value in _signal(name).items()}

    def signal(light: Array) -> Array:
        with np.errstate(all="ignore"):  # of branches that are worked out and not taken
            return np.asarray(encode(np.maximum(light, least), **out), dtype=float)

    return signal


def _signal(name: str) -> dict[str, bool]:
    """What makes a registered log take the signal (IRE / 100), where it takes legal codes else."""
    key = "in_normalised_code_value"
    decode = colour.LOG_DECODINGS.get(name)
    return {key: False} if decode and key in inspect.signature(decode).parameters else {}


def _power(exponent: float) -> Function:
    return lambda x: np.maximum(x, 0) ** exponent


def _bt709(light: Array) -> Array:
    """Recommendation ITU-R BT.709-6, item 1.2."""
    return np.where(light < 0.018, 4.5 * light, 1.099 * np.maximum(light, 0.018) ** 0.45 - 0.099)


def _bt709_light(signal: Array) -> Array:
    upper = ((np.maximum(signal, 0.081) + 0.099) / 1.099) ** (1 / 0.45)
    return np.where(signal < 0.081, signal / 4.5, upper)


_SDR_ENCODE: dict[str, Function] = {
    "BT.1886": _power(1 / 2.4),
    "gamma 2.2": _power(1 / 2.2),
    "gamma 2.6": _power(1 / 2.6),
    "sRGB": lambda x: colour.models.eotf_inverse_sRGB(np.maximum(x, 0)),
    "BT.709": _bt709,
    "linear": lambda x: x,
}
_SDR_DECODE: dict[str, Function] = {
    "BT.1886": _power(2.4),
    "gamma 2.2": _power(2.2),
    "gamma 2.6": _power(2.6),
    "sRGB": lambda v: colour.models.eotf_sRGB(np.maximum(v, 0)),
    "BT.709": _bt709_light,
    "linear": lambda v: v,
}


def _ootf_709(e: Array) -> Array:
    """The reference OOTF of PQ: Recommendation ITU-R BT.2100-2, table 4."""
    video = np.where(e <= 0.0003024, 267.84 * e, 1.099 * (59.5208 * e) ** 0.45 - 0.099)
    return 100 * np.maximum(video, 0) ** 2.4


@cache
def _pq_scene_white() -> float:
    video = (REFERENCE_WHITE / 100) ** (1 / 2.4)
    return float(((video + 0.099) / 1.099) ** (1 / 0.45) / 59.5208)


def pq_scene_signal(light: Array) -> Array:
    """The OETF of PQ for scene light with 1.0 at HDR reference white."""
    return np.asarray(colour.models.eotf_inverse_ST2084(_ootf_709(light * _pq_scene_white())))


def pq_scene_light(signal: Array) -> Array:
    """Scene light of a PQ signal, 1.0 at HDR reference white."""
    video = (colour.models.eotf_ST2084(signal) / 100) ** (1 / 2.4)
    upper = ((np.maximum(video, 0.081) + 0.099) / 1.099) ** (1 / 0.45) / 59.5208
    e = np.where(video <= 267.84 * 0.0003024, video / 267.84, upper)
    return e / _pq_scene_white()


def primaries_of(name: str) -> tuple[Array, Array]:
    """Primaries (3, 2) and white (2,) in xy, as colour-science has them."""
    space = colour.RGB_COLOURSPACES[_COLOURSPACES.get(name, name)]
    return np.array(space.primaries, dtype=float), np.array(space.whitepoint, dtype=float)


def to_xyz(primaries: Array, white: Array) -> Array:
    """The matrix of R G B to XYZ: SMPTE RP 177, by colour-science."""
    return np.asarray(colour.normalised_primary_matrix(primaries, white))


def gamut_matrix(source: tuple[Array, Array], target: tuple[Array, Array]) -> Array:
    """From linear R G B to linear R G B, adapted by Bradford where the whites differ."""
    adapt = np.eye(3)
    if not np.allclose(source[1], target[1], atol=1e-9):
        adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
            colour.xy_to_XYZ(source[1]), colour.xy_to_XYZ(target[1]), transform="Bradford"
        )
    return np.asarray(np.linalg.inv(to_xyz(*target)) @ adapt @ to_xyz(*source))


def luminance_weights(name: str) -> Array:
    """The share of R, G and B in luminance."""
    return to_xyz(*primaries_of(name))[1]


SAME_FUNCTION = 2.5e-4
"""Signals nearer than this (a quarter of a 10-bit code) are those of one curve."""


@cache
def _signals(name: str) -> Array:
    """A fingerprint of a curve that does not depend on its scale of light."""
    curve = open_catalogue(user=False).curve(name)
    light = curve.decode(np.array([0.6]))[0] * 2.0 ** np.linspace(-9, 0.5, 40)
    return np.asarray(curve.encode(light))


def same_curve(first: str, second: str) -> bool:
    """Whether two names stand for one function of signal, up to the scale of light.

    >>> same_curve("BT.1886", "gamma 2.4"), same_curve("BT.1886", "sRGB")
    (True, False)
    """
    return bool(np.abs(_signals(first) - _signals(second)).max() < SAME_FUNCTION)


@cache
def twins(name: str) -> frozenset[str]:
    """A curve's name and those of every other that is the same function."""
    return frozenset(
        each.name
        for each in open_catalogue(user=False).curves()
        if each.curve is not None and not each.unusable and same_curve(name, each.name)
    )
