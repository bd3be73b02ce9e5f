"""LUTs made elsewhere by somebody who had not seen the search: grades, filters, other norms.

Formulas are of published papers, Recommendations and textbooks, named at each; where a
number is usual and not published it says common practice.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import replace

import colour
import numpy as np
from open_world.case import (
    Array,
    Case,
    Function,
    Step,
    Truth,
    baked,
    cube_text,
    lattice,
    run,
    some_decimals,
)
from open_world.ends import (
    FREE_MATRIX,
    ONE_CURVE,
    Ends,
    exposed,
    some_ends,
    some_range,
    some_source,
)
from open_world.saturation_in_light import saturation
from open_world.spaces import (
    REFERENCE_WHITE,
    SDR_NAMES,
    decoder,
    encoder,
    luminance_weights,
    primaries_of,
    to_xyz,
)
from open_world.tones import some_tone
from scipy.interpolate import RegularGridInterpolator

Rng = np.random.Generator
LUMA = np.array([0.2126, 0.7152, 0.0722])
DISPLAY_ONLY = Truth(
    source_curve=SDR_NAMES,
    target_curve=SDR_NAMES,
    source_range="full",
    target_range="full",
    look=True,
    unnamed=frozenset({"source_gamut", "target_gamut"}),
)
"""Any display curve is right, as long as no camera's is claimed; no gamut is converted."""
FREE_CDL = "a CDL next to a log curve takes in its slope and offset: other logs fit within a code"
"""Fitted: another camera's log with another CDL is mostly within 0.01 to 0.6 codes (95 %)."""
FREE_POWER = "a power on the display signal joins the target's power: only their product shows"


def case(family: str, seed: int) -> Case:
    """The case of a family with a seed."""
    return FAMILIES[family](np.random.default_rng([zlib.crc32(family.encode()), seed]))


def clip01(rgb: Array) -> Array:
    return np.clip(rgb, 0, 1)


def norm_tone(rng: Rng) -> Case:
    """Tone on a norm of the channels, which are scaled alike.

    Common practice of raw development: mean, Euclid's norm over sqrt(3), or the power norm
    sum(x^3) / sum(x^2).
    """
    ends = some_ends(rng)
    tone, way = some_tone(rng), int(rng.integers(3))

    def apply(rgb: Array) -> Array:
        x = np.maximum(rgb, 0)
        size = (
            x.mean(axis=-1),
            np.sqrt((x * x).sum(axis=-1) / 3),
            (x**3).sum(axis=-1) / np.maximum((x * x).sum(axis=-1), 1e-12),
        )[way]
        size = np.maximum(size, 1e-7)[..., None]
        return rgb * tone(size) / size

    steps = [*ends.opening(), ends.conversion(), Step("tone", apply), *ends.closing()]
    return baked("tone on a norm of the channels", rng, ends.toned(look=None), steps)


def _cdl(rng: Rng, spread: float = 0.08, offset: float = 0.02) -> Function:
    """ASC CDL 1.2: slope, offset, power, then saturation; numbers of common practice."""
    slope = rng.uniform(1 - spread, 1 + spread) + rng.uniform(-spread / 3, spread / 3, 3)
    shift = rng.uniform(-offset, offset) + rng.uniform(-offset / 2, offset / 2, 3)
    power = rng.uniform(1 - spread, 1 + spread) + rng.uniform(-spread / 3, spread / 3, 3)
    amount = rng.uniform(0.8, 1.2)
    saturated = saturation(amount, LUMA)
    return lambda rgb: clip01(saturated(clip01(rgb * slope + shift) ** power))


def cdl_in_log(rng: Rng) -> Case:
    """CDL on the camera's signal, then the viewing conversion with a tone curve or none."""
    ends = some_ends(rng)
    opening = ends.opening()
    tone = [Step("tone", some_tone(rng))] if rng.random() < 0.7 else []
    steps = [
        *opening[:-1],
        Step("look", _cdl(rng)),
        opening[-1],
        ends.conversion(),
        *tone,
        *ends.closing(),
    ]
    truth = (ends.toned if tone else ends.truth)(look=True)
    truth = truth.without(FREE_CDL, "source_curve", "source_range")
    return baked("CDL in log before the view", rng, truth, steps)


def lift_gamma_gain(rng: Rng) -> Case:
    """Lift, gamma and gain by channel on the display signal: common practice of grading.

    (gain * (x + lift * (1 - x)))^(1 / gamma).
    """
    ends = some_ends(rng)
    lift = rng.uniform(-0.01, 0.03) + rng.uniform(-0.015, 0.015, 3)
    gamma = rng.uniform(0.88, 1.15) + rng.uniform(-0.05, 0.05, 3)
    gain = rng.uniform(0.92, 1.04) + rng.uniform(-0.04, 0.04, 3)

    def apply(rgb: Array) -> Array:
        x = clip01(rgb)
        return np.maximum(gain * (x + lift * (1 - x)), 0) ** (1 / gamma)

    toned = rng.random() < 0.7
    tone = [Step("tone", some_tone(rng))] if toned else []
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing([Step("look", apply)])]
    truth = ends.toned(look=True)
    if not toned:
        truth = ends.truth(look=True).without(FREE_POWER, "target_curve")
    return baked("lift, gamma, gain after the view", rng, truth, steps)


def white_balance(rng: Rng) -> Case:
    """White balance in camera light: gains on the channels, or CAT02 between daylights.

    CIE 15 (daylight locus) and CIECAM02's transform, by colour-science.
    """
    ends = some_ends(rng)
    if rng.random() < 0.5:
        gains = np.array([rng.uniform(0.75, 1.35), 1.0, rng.uniform(0.75, 1.35)])
        matrix = np.diag(gains)
    else:
        xy = colour.temperature.CCT_to_xy_CIE_D(float(rng.uniform(4500, 9500)))
        space = primaries_of(ends.source_gamut)
        adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
            colour.xy_to_XYZ(xy), colour.xy_to_XYZ(space[1]), transform="CAT02"
        )
        matrix = np.linalg.inv(to_xyz(*space)) @ adapt @ to_xyz(*space)
    tone = [Step("tone", some_tone(rng))] if rng.random() < 0.6 else []
    steps = [
        *ends.opening(),
        Step("white balance", lambda rgb: rgb @ matrix.T),
        ends.conversion(),
        *tone,
        *ends.closing(),
    ]
    truth = (ends.toned if tone else ends.truth)(look=None)
    return baked("white balance in camera light", rng, truth, steps)


def soft_clip(rng: Rng) -> Case:
    """Two to four stops under or over, and an exponential soft clip by channel.

    x up to t, then t + (1 - t)(1 - exp(-(x - t) / (1 - t))): common practice of rendering.
    """
    ends = some_ends(rng)
    stops = float(rng.choice([-1, 1]) * rng.choice([2, 2.5, 3, 4]))
    t = rng.uniform(0.5, 0.85)

    def apply(x: Array) -> Array:
        return np.where(x > t, t + (1 - t) * (1 - np.exp(-(np.maximum(x, t) - t) / (1 - t))), x)

    steps = [
        *ends.opening(),
        exposed(stops),
        ends.conversion(),
        Step("tone", apply),
        *ends.closing(),
    ]
    # Most of the light is as the target's curve has it: both can be told.
    truth = ends.truth(look=None, exposure=stops)
    return baked("exposed by stops, soft clip", rng, truth, steps)


def corners(rng: Rng) -> Case:
    """The six coloured corners of the cube are moved, six tetrahedra lead there.

    Tetrahedral interpolation (Kasson and others, 1995) between eight corners, black and white
    kept: common practice of grading.
    """
    ends = some_ends(rng)
    moved = rng.uniform(-0.12, 0.12, (2, 2, 2, 3))
    moved[0, 0, 0] = moved[1, 1, 1] = 0
    at = np.stack(np.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij"), axis=-1) + moved

    def apply(rgb: Array) -> Array:
        x = clip01(rgb)
        order = np.argsort(-x, axis=-1, kind="stable")
        value = np.take_along_axis(x, order, axis=-1)
        out = np.zeros_like(x)
        corner = np.zeros(x.shape, dtype=int)
        last = np.ones(len(x))
        for step in range(3):
            now = value[:, step]
            out += (last - now)[:, None] * at[tuple(corner.T)]
            corner = corner.copy()
            corner[np.arange(len(x)), order[:, step]] = 1
            last = now
        return out + last[:, None] * at[1, 1, 1]

    tone = [Step("tone", some_tone(rng))] if rng.random() < 0.7 else []
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing([Step("look", apply)])]
    truth = (ends.toned if tone else ends.truth)(look=True)
    return baked("corners of the cube moved", rng, truth, steps)


def filtered(rng: Rng) -> Case:
    """A viewing filter on the displayed picture: colour vision, or the night.

    Machado and others, 2009, on linear light of the display (by colour-science); or gains on
    the signal that take blue away, common practice.
    """
    ends = some_ends(rng, gamuts=("BT.709",))
    toned = rng.random() < 0.6
    tone = [Step("tone", some_tone(rng))] if toned else []
    truth = (ends.toned if toned else ends.truth)(look=True)
    if rng.random() < 0.5:
        kind = str(rng.choice(["Protanomaly", "Deuteranomaly", "Tritanomaly"]))
        matrix = colour.matrix_cvd_Machado2009(kind, float(rng.choice([0.4, 0.6, 0.8, 1.0])))
        encode, decode = encoder(ends.target_curve), decoder(ends.target_curve)
        look = lambda v: encode(clip01(decode(clip01(v)) @ matrix.T))  # noqa: E731
        truth = truth.without(FREE_MATRIX, "source_gamut", "target_gamut")
    else:
        gains = np.array([1.0, rng.uniform(0.75, 0.95), rng.uniform(0.45, 0.8)])
        look = lambda v: clip01(v) * gains  # noqa: E731
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing([Step("look", look)])]
    return baked("a viewing filter after the view", rng, truth, steps)


def chroma(rng: Rng) -> Case:
    """Chroma scaled in Oklab, IPT or CIELAB on the displayed picture (by colour-science)."""
    ends = some_ends(rng)
    amount = rng.uniform(0.6, 0.9) if rng.random() < 0.5 else rng.uniform(1.1, 1.4)
    space = int(rng.integers(3))
    there = to_xyz(*primaries_of(ends.target_gamut))
    back = np.linalg.inv(there)
    encode, decode = encoder(ends.target_curve), decoder(ends.target_curve)
    scale = np.array([1, amount, amount])

    def apply(v: Array) -> Array:
        xyz = decode(clip01(v)) @ there.T
        if space == 0:
            xyz = colour.Oklab_to_XYZ(colour.XYZ_to_Oklab(xyz) * scale)
        elif space == 1:
            xyz = colour.IPT_to_XYZ(colour.XYZ_to_IPT(xyz) * scale)
        else:
            white = primaries_of(ends.target_gamut)[1]
            xyz = colour.Lab_to_XYZ(colour.XYZ_to_Lab(xyz, white) * scale, white)
        return encode(clip01(np.asarray(xyz) @ back.T))

    tone = [Step("tone", some_tone(rng))] if rng.random() < 0.6 else []
    steps = [*ends.opening(), ends.conversion(), *tone, *ends.closing([Step("look", apply)])]
    truth = (ends.toned if tone else ends.truth)(look=True)
    return baked("chroma scaled after the view", rng, truth, steps)


def pq_view(rng: Rng) -> Case:
    """A log source on a PQ display of 1000 cd/m², white at 203 (Report ITU-R BT.2408).

    Light over a knee rolls off to the peak by the Hermite-free rational k + (p-k)·d/(d+p-k):
    common practice. By channel, or by the largest of them. BT.2020, or P3 primaries.
    """
    ends = some_ends(rng)
    shown = "BT.2020" if rng.random() < 0.6 else "P3-D65"
    legal = some_range(rng)
    ends = Ends(ends.source_curve, ends.source_gamut, "ST 2084", shown, ends.source_range, legal)
    peak, knee = 1000.0, rng.uniform(300, 700)
    largest = rng.random() < 0.5

    def rolled(nits: Array) -> Array:
        over = np.maximum(nits - knee, 0)
        return np.where(nits > knee, knee + (peak - knee) * over / (over + peak - knee), nits)

    def apply(rgb: Array) -> Array:
        nits = rgb * REFERENCE_WHITE
        if not largest:
            return rolled(nits) / REFERENCE_WHITE
        top = np.maximum(nits.max(axis=-1, keepdims=True), 1e-6)
        return rgb * rolled(top) / top

    steps = [*ends.opening(), ends.conversion(), Step("tone", apply), *ends.closing()]
    truth = ends.truth(look=None)
    if ends.source_gamut == shown:
        truth = replace(truth, kind="curve" if not largest else None)
        truth = truth.without(ONE_CURVE, "source_gamut", "target_gamut")
    return baked("PQ view of 1000 cd/m2, rolled off", rng, truth, steps)


def log_cdl_log(rng: Rng) -> Case:
    """One camera's log to another's, graded by a CDL on the first signal (or on the second)."""
    source, target = some_source(rng), some_source(rng)
    while target[0] == source[0] or target[1] == source[1]:
        target = some_source(rng, together=0.3)
    ends = Ends(*source, *target, some_range(rng, 0.1), some_range(rng, 0.1))
    look = Step("look", _cdl(rng, 0.05, 0.015))
    opening = ends.opening()
    truth = ends.truth(look=True)
    if rng.random() < 0.5:
        steps = [*opening[:-1], look, opening[-1], ends.conversion(), *ends.closing()]
        truth = truth.without(FREE_CDL, "source_curve", "source_range")
    else:
        steps = [*opening, ends.conversion(), *ends.closing([look])]
        truth = truth.without(FREE_CDL, "target_curve")
    return baked("log to log, a CDL with it", rng, truth, steps)


def _through(table: Array, size: int) -> Function:
    """A baked 3D LUT with red fastest, read by trilinear interpolation."""
    axis = np.linspace(0, 1, size)
    cube = table.reshape(size, size, size, 3)
    look_up = RegularGridInterpolator((axis, axis, axis), cube)
    return lambda rgb: look_up(clip01(rgb)[:, ::-1])


def two_tables(rng: Rng) -> Case:
    """A viewing LUT, baked, then a LUT from that display to another: in one file of another size.

    Recommendation ITU-R BT.1886, SMPTE RP 431-2 (gamma 2.6), the sRGB of IEC 61966-2-1.
    """
    curve, gamut = some_source(rng)
    first = Ends(curve, gamut, "BT.1886", "BT.709", some_range(rng), "full")
    last, shown = [
        ("gamma 2.6", "P3-D65"),
        ("sRGB", "BT.709"),
        ("gamma 2.2", "BT.709"),
        ("gamma 2.6", "DCI-P3"),
        ("BT.1886", "BT.2020"),
    ][int(rng.integers(5))]
    second = Ends("BT.1886", "BT.709", last, shown)
    toned = rng.random() < 0.6
    tone = [Step("tone", some_tone(rng))] if toned else []
    sizes = (33, 33, 65, 32)
    one = sizes[int(rng.integers(4))]
    two = sizes[int(rng.integers(4))]
    rows = run([*first.opening(), first.conversion(), *tone, *first.closing()], lattice(one))
    again = run([*second.opening(), second.conversion(), *second.closing()], lattice(two))
    size = int(rng.choice([17, 33, 33, 48, 64]))
    out = _through(np.round(again, 6), two)(_through(np.round(rows, 6), one)(lattice(size)))
    whole = Ends(curve, gamut, last, shown, first.source_range, "full")
    truth = (whole.toned if toned else whole.truth)(look=None)
    name = "two tables in one"
    return Case(name, cube_text(out, size, some_decimals(rng)), truth)


def to_luminance(rng: Rng) -> Case:
    """Colours outside the display are drawn towards their luminance until they are inside.

    Clipping towards the grey of the same lightness: Morovic and Luo, 2001 (a survey of gamut
    mapping), in linear light.
    """
    ends = some_ends(rng)
    weights = luminance_weights(ends.target_gamut)
    tone = [Step("tone", some_tone(rng))] if rng.random() < 0.5 else []

    def apply(rgb: Array) -> Array:
        y = np.clip(rgb @ weights, 0, 1)[..., None]
        away = rgb - y
        with np.errstate(all="ignore"):
            room = np.where(away > 0, (1 - y) / away, np.where(away < 0, -y / away, np.inf))
        share = np.minimum(room.min(axis=-1, keepdims=True), 1)
        return y + share * away

    steps = [*ends.opening(), ends.conversion(), *tone, Step("clip", apply), *ends.closing()]
    truth = (ends.toned if tone else ends.truth)(look=None)
    return baked("clipped towards luminance", rng, truth, steps)


def faded_print(rng: Rng) -> Case:
    """A faded print, on display values: nothing of a camera.

    Signal to density, dyes that overlap, each faded by its own share, base stained: Hunt, "The
    reproduction of colour", on fading; numbers of common practice.
    """
    curve = str(rng.choice(["sRGB", "BT.1886", "gamma 2.2"]))
    encode, decode = encoder(curve), decoder(curve)
    overlap = rng.uniform(0.0, 0.12, (3, 3))
    np.fill_diagonal(overlap, 1.0)
    faded, stain = rng.uniform(0.55, 0.95, 3), rng.uniform(0.0, 0.08, 3)

    def apply(v: Array) -> Array:
        density = -np.log10(np.maximum(decode(clip01(v)), 10**-2.2))
        left = (density * faded) @ overlap.T / overlap.sum(axis=1) + stain
        return encode(10**-left)

    steps = [Step("look", apply), Step("clip", clip01)]
    return baked("faded print on display values", rng, DISPLAY_ONLY, steps)


def two_hues(rng: Rng) -> Case:
    """Hues drawn towards an axis of orange and teal, on display values: nothing of a camera.

    In the opponent plane of the signal (YCbCr of BT.709) the other axis is made smaller, shadows
    go to teal and lights to orange, an S lies over it: common practice of grading.
    """
    kb, kr = 2 * (1 - 0.0722), 2 * (1 - 0.2126)
    angle, share = np.deg2rad(rng.uniform(105, 130)), rng.uniform(0.3, 0.7)
    axis = np.array([np.cos(angle), np.sin(angle)])
    tint, strength = rng.uniform(0.01, 0.04), rng.uniform(0.0, 0.6)

    def apply(v: Array) -> Array:
        x = clip01(v)
        x = x + strength * (x * x * (3 - 2 * x) - x)
        y = x @ LUMA
        plane = np.stack([(x[:, 2] - y) / kb, (x[:, 0] - y) / kr], axis=-1)
        along = (plane @ axis)[:, None] * axis
        plane = along + share * (plane - along) - tint * np.cos(np.pi * y)[:, None] * axis
        red, blue = y + kr * plane[:, 1], y + kb * plane[:, 0]
        green = (y - 0.2126 * red - 0.0722 * blue) / 0.7152
        return np.stack([red, green, blue], axis=-1)

    steps = [Step("look", apply), Step("clip", clip01)]
    return baked("orange and teal on display values", rng, DISPLAY_ONLY, steps)


FAMILIES: dict[str, Callable[[Rng], Case]] = {
    "tone on a norm of the channels": norm_tone,
    "CDL in log before the view": cdl_in_log,
    "lift, gamma, gain after the view": lift_gamma_gain,
    "white balance in camera light": white_balance,
    "exposed by stops, soft clip": soft_clip,
    "corners of the cube moved": corners,
    "a viewing filter after the view": filtered,
    "chroma scaled after the view": chroma,
    "PQ view of 1000 cd/m2, rolled off": pq_view,
    "log to log, a CDL with it": log_cdl_log,
    "two tables in one": two_tables,
    "clipped towards luminance": to_luminance,
    "faded print on display values": faded_print,
    "orange and teal on display values": two_hues,
}
