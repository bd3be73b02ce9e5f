"""Further LUTs made elsewhere, kept apart from those of `open_world`: a check of its rates.

Formulas are of published papers and Reports, named at each; where a number is usual and
not published it says common practice. Written after the search, and not looked at by it.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable

import colour
import numpy as np
from open_world.case import Array, Case, Function, Step, baked
from open_world.ends import FREE_TONE, Ends, exposed, some_ends
from open_world.hlg_to_sdr import HLG_WHITE, WEIGHTS
from open_world.spaces import (
    REFERENCE_WHITE,
    gamut_matrix,
    luminance_weights,
    primaries_of,
    to_xyz,
)
from open_world.tones import photoreceptor, sigmoid_in_stops, some_tone

Rng = np.random.Generator


def case(family: str, seed: int) -> Case:
    """The case of a family with a seed."""
    return FAMILIES[family](np.random.default_rng([zlib.crc32(family.encode()), seed]))


def working_gamut(rng: Rng) -> Case:
    """Tone per channel in AP1, then to the display: the order of the open Academy rendering."""
    ends = some_ends(rng)
    working = primaries_of("ACES AP1")
    there = gamut_matrix(primaries_of(ends.source_gamut), working)
    back = gamut_matrix(working, primaries_of(ends.target_gamut))
    tone = (sigmoid_in_stops, photoreceptor)[int(rng.integers(2))](rng)
    steps = [
        *ends.opening(),
        Step("to the working gamut", lambda rgb: rgb @ there.T),
        Step("tone", tone),
        Step("to the display", lambda rgb: rgb @ back.T),
        *ends.closing(),
    ]
    return baked("tone in a working gamut", rng, ends.toned(look=None), steps)


def adaptive_logarithmic(rng: Rng) -> Case:
    """ "Adaptive logarithmic mapping for displaying high contrast scenes", 2003, equation 4."""
    ends = some_ends(rng)
    bias, most = rng.uniform(0.7, 0.95), rng.uniform(6, 30)
    power = np.log(bias) / np.log(0.5)
    weights = luminance_weights(ends.target_gamut)

    def apply(rgb: Array) -> Array:
        y = np.maximum(rgb @ weights, 1e-9)[..., None]
        base = np.log(2 + 8 * np.minimum(y / most, 1) ** power)
        shown = np.log1p(y) / base * np.log(10) / np.log1p(most)
        return rgb * shown / y

    steps = [*ends.opening(), ends.conversion(), Step("tone", apply), *ends.closing()]
    return baked("adaptive logarithm of luminance", rng, ends.toned(look=None), steps)


def _toe_line_shoulder(rng: Rng) -> Function:
    """Toe, straight line and shoulder, weighed together.

    "Practical HDR and wide colour techniques" (a course of 2017), the curve by its parameters:
    peak 1, contrast a, start m of the line, its length l, toe c.
    """
    a, m, length, c = rng.uniform(0.9, 1.2), rng.uniform(0.18, 0.26), 0.4, rng.uniform(1.1, 1.5)
    gain = rng.uniform(0.9, 1.2)
    l0 = (1 - m) * length / a
    s0, s1 = m + l0, m + a * l0
    c2 = a / (1 - s1)

    def smooth(x: Array, low: float, high: float) -> Array:
        t = np.clip((x - low) / (high - low), 0, 1)
        return t * t * (3 - 2 * t)

    def curve(x: Array) -> Array:
        x = np.maximum(x * gain, 0)
        toe = m * (x / m) ** c
        line = m + a * (x - m)
        shoulder = 1 - (1 - s1) * np.exp(-c2 * (x - s0))
        first, last = 1 - smooth(x, 0, m), (x > s0).astype(float)
        return toe * first + line * (1 - first - last) + shoulder * last

    return curve


def toe_line_shoulder(rng: Rng) -> Case:
    """Toe, line and shoulder on each channel."""
    ends = some_ends(rng)
    steps = [
        *ends.opening(),
        ends.conversion(),
        Step("tone", _toe_line_shoulder(rng)),
        *ends.closing(),
    ]
    return baked("toe, line and shoulder", rng, ends.toned(), steps)


def other_adaptation(rng: Rng) -> Case:
    """A source with another white than the display, adapted by CAT16 (or CAT02); nothing else."""
    ends = some_ends(rng)
    ends = Ends(
        ends.source_curve,
        "ACES AP0" if rng.random() < 0.5 else "ACES AP1",
        ends.target_curve,
        ends.target_gamut,
        ends.source_range,
        ends.target_range,
    )
    source, target = primaries_of(ends.source_gamut), primaries_of(ends.target_gamut)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(source[1]),
        colour.xy_to_XYZ(target[1]),
        transform=str(rng.choice(["CAT16", "CAT02"])),
    )
    array = np.linalg.inv(to_xyz(*target)) @ adapt @ to_xyz(*source)
    steps = [*ends.opening(), Step("gamut", lambda rgb: rgb @ array.T), *ends.closing()]
    return baked("another white, another adaptation", rng, ends.truth(), steps)


def printed(rng: Rng) -> Case:
    """Printing density, dyes that overlap, an S curve for each layer: film printing in the large.

    The order is that of "Digital motion picture film systems"; overlaps and curves are usual
    sizes, common practice.
    """
    ends = some_ends(rng)
    overlap = rng.uniform(0.0, 0.08, (3, 3))
    np.fill_diagonal(overlap, 1 - overlap.sum(axis=1) + np.diag(overlap))
    slopes, lights = rng.uniform(1.9, 2.4, 3), rng.uniform(-0.04, 0.04, 3)

    def apply(rgb: Array) -> Array:
        density = -np.log10(np.maximum(rgb, 1e-4) / 0.18) @ overlap.T
        shown = 1 / (1 + np.exp(slopes * (density + lights) * 1.6 + 1.6))
        return shown * 1.1

    steps = [*ends.opening(), ends.conversion(), Step("tone", apply), *ends.closing()]
    return baked("printed with dyes that overlap", rng, ends.toned(look=None), steps)


def lightness(rng: Rng) -> Case:
    """Tone on the lightness of Oklab (published 2020), colour differences kept or scaled."""
    ends = some_ends(rng)
    tone = some_tone(rng)
    to, back = to_xyz(*primaries_of(ends.source_gamut)), to_xyz(*primaries_of(ends.target_gamut))
    scaled = rng.random() < 0.5

    def apply(rgb: Array) -> Array:
        lab = np.asarray(colour.XYZ_to_Oklab(np.maximum(rgb, 0) @ to.T))
        before = np.maximum(lab[..., :1], 1e-6)
        after = np.cbrt(tone(before**3))
        chroma = lab[..., 1:] * (after / before if scaled else 1.0)
        xyz = np.asarray(colour.Oklab_to_XYZ(np.concatenate([after, chroma], axis=-1)))
        return xyz @ np.linalg.inv(back).T

    steps = [*ends.opening(), Step("tone", apply), *ends.closing()]
    return baked("tone on lightness", rng, ends.toned(look=None), steps)


def silver(rng: Rng) -> Case:
    """Luma laid over the picture, as silver left in a print does: common practice."""
    ends = some_ends(rng)
    share = rng.uniform(0.2, 0.6)
    weights = np.array([0.2126, 0.7152, 0.0722])

    def apply(rgb: Array) -> Array:
        base = np.clip(rgb, 0, 1)
        luma = (base @ weights)[..., None]
        over = np.where(base < 0.5, 2 * base * luma, 1 - 2 * (1 - base) * (1 - luma))
        return (1 - share) * base + share * over

    steps = [*ends.opening(), ends.conversion(), *ends.closing([Step("look", apply)])]
    truth = ends.truth(look=True).without(FREE_TONE, "target_curve")
    return baked("silver kept", rng, truth.without(FREE_TONE, "exposure"), steps)


def video_knee(rng: Rng) -> Case:
    """The knee of a video camera on the signal of BT.709: a slope from 80 or 85 % up; practice."""
    ends = some_ends(rng)
    ends = Ends(
        ends.source_curve,
        ends.source_gamut,
        "BT.709",
        "BT.709",
        ends.source_range,
        ends.target_range,
    )
    at, slope = rng.uniform(0.75, 0.88), rng.uniform(0.1, 0.3)
    stops = round(float(rng.uniform(-0.5, 0.5)), 2)

    def apply(v: Array) -> Array:
        return np.where(v > at, at + slope * (v - at), v)

    steps = [
        *ends.opening(),
        exposed(stops),
        ends.conversion(),
        *ends.closing([Step("tone", apply)]),
    ]
    return baked("the knee of a video camera", rng, ends.toned(look=None), steps)


def into_pq(rng: Rng) -> Case:
    """Standard range into PQ, display light, white at 203 cd/m²: Report ITU-R BT.2408, 5.1."""
    legal = "legal" if rng.random() < 0.3 else "full"
    ends = Ends("BT.1886", "BT.709", "ST 2084", "BT.2020", legal, legal)
    steps = [*ends.opening(), ends.conversion(), *ends.closing()]
    return baked("standard range into PQ", rng, ends.truth(), steps)


def into_hlg(rng: Rng) -> Case:
    """Standard range into HLG, display light of 1000 cd/m²: Report ITU-R BT.2408, 5.1.

    The gamma adjustment of that Report is left out; the OOTF of BT.2100 is undone.
    """
    legal = "legal" if rng.random() < 0.3 else "full"
    ends = Ends("BT.1886", "BT.709", "BT.2100 HLG", "BT.2020", legal, legal)

    def undone(light: Array) -> Array:
        display = np.maximum(light, 0) * REFERENCE_WHITE / 1000
        y = np.maximum(display @ WEIGHTS, 1e-9)[..., None]
        return display * y ** (1 / 1.2 - 1) / HLG_WHITE

    steps = [*ends.opening(), ends.conversion(), Step("ootf", undone), *ends.closing()]
    return baked("standard range into HLG", rng, ends.truth(look=None), steps)


FAMILIES: dict[str, Callable[[Rng], Case]] = {
    "adaptive logarithm of luminance": adaptive_logarithmic,
    "another white, another adaptation": other_adaptation,
    "printed with dyes that overlap": printed,
    "silver kept": silver,
    "standard range into HLG": into_hlg,
    "standard range into PQ": into_pq,
    "the knee of a video camera": video_knee,
    "toe, line and shoulder": toe_line_shoulder,
    "tone in a working gamut": working_gamut,
    "tone on lightness": lightness,
}
