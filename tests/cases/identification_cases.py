"""LUTs with a known inside, built by colour-science's own conversions.

Nothing here calls the model of lutbench: curves, matrices and adaptations are
those of colour-science, tone curves and looks are written out below, so that
what `identify` is tested against comes by another road.
"""

from __future__ import annotations

import inspect
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import colour
import numpy as np

LOOKS = ("cdl", "saturation", "contrast", "split tone", "hue rotation", "selective")
NEGATIVES = ("random smooth", "hue rotation", "posterised", "inverted", "channel swap")
MIN_AREA = 0.8  # of the area of BT.2020 in xy: what counts as a wide gamut


@dataclass(frozen=True)
class Case:
    """What a LUT is made of; `curve` and `gamut` names are colour-science's."""

    kind: str
    source_curve: str
    source_gamut: str
    target_curve: str
    target_gamut: str
    size: int = 33
    source_range: str = "full"
    target_range: str = "full"
    exposure: float = 0.0
    tone: str = "clip"
    adaptation: str = "Bradford"
    look: str = ""
    precision: str = "six decimals"
    clip: bool = True
    seed: int = 0
    parameters: dict[str, Any] = field(default_factory=dict, compare=False)


@cache
def source_curves() -> tuple[str, ...]:
    """Every registered log encoding and OETF that comes back within a 10-bit code."""
    names = []
    for name in (*colour.LOG_ENCODINGS, *colour.OETFS):
        if name in names or not (name in colour.LOG_DECODINGS or name in colour.OETF_INVERSES):
            continue
        signal = np.linspace(0, 1, 257)
        light = decode(name, signal)
        if not np.isfinite(light).all() or (np.diff(light) < 0).any():
            continue
        if (np.diff(light) == 0).sum() > 1 or np.ptp(light) <= 0:
            continue
        if np.abs(encode(name, light) - signal).max() < 1 / 1023:
            names.append(name)
    return tuple(names)


@cache
def camera_curves() -> tuple[str, ...]:
    """The registered curves that hold at least three stops over mid grey."""
    return tuple(name for name in source_curves() if decode(name, np.array(1.0)) > 0.18 * 8)


@cache
def wide_gamuts() -> tuple[str, ...]:
    """Registered colour spaces with a triangle nearly as large as BT.2020's, or larger."""

    def area(name: str) -> float:
        (xr, yr), (xg, yg), (xb, yb) = colour.RGB_COLOURSPACES[name].primaries
        return abs((xg - xr) * (yb - yr) - (xb - xr) * (yg - yr)) / 2

    reference = area("ITU-R BT.2020")
    seen: list[Any] = []
    names = []
    for name, space in colour.RGB_COLOURSPACES.items():
        if name[:1].islower() or "XYZ" in name or area(name) < MIN_AREA * reference:
            continue
        key = np.concatenate([space.primaries.ravel(), space.whitepoint])
        if any(np.abs(key - other).max() < 1e-4 for other in seen):
            continue
        seen.append(key)
        names.append(name)
    return tuple(names)


TARGETS: tuple[tuple[str, str], ...] = (
    ("ITU-R BT.709", "ITU-R BT.709"),
    ("ITU-R BT.1886", "ITU-R BT.709"),
    ("sRGB", "sRGB"),
    ("gamma 2.6", "P3-D65"),
    ("ITU-R BT.1886", "P3-D65"),
    ("ST 2084", "ITU-R BT.2020"),
    ("BT.2100 PQ", "ITU-R BT.2020"),
    ("BT.2100 HLG", "ITU-R BT.2020"),
)


def has_legal_codes(name: str) -> bool:
    """Whether a registered log gives legal codes unless it is told to give the signal."""
    return "out_normalised_code_value" in inspect.signature(colour.LOG_ENCODINGS[name]).parameters


def decode(name: str, signal: Any) -> Any:
    """Light of a signal by colour-science."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        if name in colour.LOG_DECODINGS:
            ire = {"in_normalised_code_value": False} if has_legal_codes(name) else {}
            return np.asarray(colour.LOG_DECODINGS[name](signal, **ire), dtype=float)
        return np.asarray(colour.oetf_inverse(signal, function=name), dtype=float)


def encode(name: str, light: Any) -> Any:
    """Signal of light by colour-science: scene 1.0 is reference white (203 cd/m², HLG 75 %)."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        if name in colour.LOG_ENCODINGS:
            ire = {"out_normalised_code_value": False} if has_legal_codes(name) else {}
            return np.asarray(colour.LOG_ENCODINGS[name](light, **ire), dtype=float)
        if name == "ITU-R BT.1886":
            return np.asarray(colour.eotf_inverse(np.maximum(light, 0), name), dtype=float)
        if name == "sRGB":
            return np.asarray(colour.eotf_inverse(light, name), dtype=float)
        if name == "ST 2084":
            return np.asarray(colour.eotf_inverse(np.maximum(light, 0) * 203, name), dtype=float)
        if name == "BT.2100 PQ":
            peak = float(colour.models.ootf_inverse_BT2100_PQ(203.0))
            return np.asarray(colour.oetf(np.maximum(light, 0) * peak, "ITU-R BT.2100 PQ"), float)
        if name == "BT.2100 HLG":
            peak = float(colour.oetf_inverse(0.75, "ITU-R BT.2100 HLG"))
            return np.asarray(colour.oetf(np.maximum(light, 0) * peak, "ITU-R BT.2100 HLG"), float)
        if name.startswith("gamma "):
            return np.maximum(light, 0) ** (1 / float(name.split()[1]))
        return np.asarray(colour.oetf(light, function=name), dtype=float)


def shoulder(light: Any, start: float = 0.25, white: float = 8.0) -> Any:
    """Straight to `start`, then a hyperbola that reaches 1 at `white`."""
    over = np.maximum(light - start, 0)
    room, length = 1 - start, white - start
    bend = (length / room - 1) / length
    return np.minimum(light, start) + over / (1 + over * bend)


def sigmoid(light: Any, contrast: float = 1.2) -> Any:
    """A film-like S in log light (Naka and Rushton, 1966), grey to grey."""
    x = np.maximum(light, 0) ** contrast
    grey = 0.18**contrast
    return x / (x + grey * (1 - 0.18) / 0.18)


def clip_of(name: str) -> float:
    """The brightest light that a source curve holds."""
    return float(decode(name, np.array(1.0)))


def toned(light: Any, case: Case) -> Any:
    """The tone curve of a case."""
    if case.tone == "shoulder":
        white = max(clip_of(case.source_curve) * 2**case.exposure, 1.5)
        return np.where(light > 0, shoulder(np.maximum(light, 0), white=white), light)
    if case.tone == "sigmoid":
        return sigmoid(light)
    return light


def compressed(light: Any) -> Any:
    """The open Academy reference gamut compression (ACES 1.3), written out."""
    threshold = np.array([0.815, 0.803, 0.880])
    limit = np.array([1.147, 1.264, 1.312])
    power = 1.2
    scale = (limit - threshold) / (((1 - threshold) / (limit - threshold)) ** -power - 1) ** (
        1 / power
    )
    peak = light.max(axis=-1, keepdims=True)
    distance = np.divide(peak - light, np.abs(peak), out=np.zeros_like(light), where=peak != 0)
    over = np.maximum(distance - threshold, 0) / scale
    bent = threshold + scale * over / (1 + over**power) ** (1 / power)
    return peak - np.where(distance < threshold, distance, bent) * np.abs(peak)


LUMA = np.array([0.2126, 0.7152, 0.0722])


def with_look(rgb: Any, look: str, parameters: dict[str, Any]) -> Any:
    """A look on the encoded picture."""
    p = parameters
    luma = (rgb @ LUMA)[..., None]
    if look == "cdl":
        held = np.clip(rgb * p["slope"] + p["offset"], 0, 1) ** p["power"]
        luma = (held @ LUMA)[..., None]
        return np.clip(luma + p["saturation"] * (held - luma), 0, 1)
    if look == "saturation":
        return luma + p["saturation"] * (rgb - luma)
    if look == "contrast":
        x = np.clip(rgb, 0, 1)
        return x + p["amount"] * x * (1 - x) * (2 * x - 1)
    if look == "split tone":
        y = np.clip(luma, 0, 1)
        return rgb + p["amount"] * (
            y**2 * np.array([1, 0, -1]) + (1 - y) ** 2 * y * 3 * np.array([-0.6, 0, 1])
        )
    if look == "hue rotation":
        angle = np.deg2rad(p["degrees"])
        cb, cr = rgb[..., 2:] - luma, rgb[..., :1] - luma
        blue = luma + cb * np.cos(angle) - cr * np.sin(angle)
        red = luma + cb * np.sin(angle) + cr * np.cos(angle)
        green = (luma - LUMA[0] * red - LUMA[2] * blue) / LUMA[1]
        return np.concatenate([red, green, blue], axis=-1)
    if look == "selective":
        hue = np.arctan2(
            np.sqrt(3) * (rgb[..., 1:2] - rgb[..., 2:]),
            2 * rgb[..., :1] - rgb[..., 1:2] - rgb[..., 2:],
        )
        near = np.exp(-((np.angle(np.exp(1j * (hue - p["hue"]))) / 0.7) ** 2))
        return luma + (1 + p["amount"] * near) * (rgb - luma)
    raise ValueError(look)


def look_parameters(look: str, rng: np.random.Generator) -> dict[str, Any]:
    """Parameters of a look that an eye sees and that is no caricature."""
    sign = rng.choice([-1, 1])
    if look == "cdl":
        return {
            "slope": 1 + rng.uniform(-0.08, 0.08, 3),
            "offset": rng.uniform(-0.02, 0.02, 3),
            "power": 1 + rng.uniform(-0.12, 0.12, 3),
            "saturation": 1 + sign * rng.uniform(0.05, 0.3),
        }
    if look == "saturation":
        return {"saturation": 1 + sign * rng.uniform(0.08, 0.35)}
    if look == "contrast":
        return {"amount": sign * rng.uniform(0.2, 0.6)}
    if look == "split tone":
        return {"amount": sign * rng.uniform(0.03, 0.08)}
    if look == "hue rotation":
        return {"degrees": sign * rng.uniform(4, 12)}
    return {"amount": sign * rng.uniform(0.15, 0.4), "hue": rng.uniform(-np.pi, np.pi)}


def ranged_in(x: Any, name: str) -> Any:
    """Full-scale values into signal."""
    return (x * 1023 - 64) / 876 if name == "legal" else x


def ranged_out(y: Any, name: str) -> Any:
    """Signal into full-scale values."""
    return (y * 876 + 64) / 1023 if name == "legal" else y


def gamut_matrix(case: Case) -> Any:
    """The matrix of a case by colour-science."""
    return colour.matrix_RGB_to_RGB(
        colour.RGB_COLOURSPACES[case.source_gamut],
        colour.RGB_COLOURSPACES[case.target_gamut],
        None if case.adaptation == "none" else case.adaptation,
    )


def converted(x: Any, case: Case) -> Any:
    """The transform of a case on full-scale values."""
    light = decode(case.source_curve, ranged_in(x, case.source_range)) * 2.0**case.exposure
    if case.kind in ("gamut", "combined"):
        light = light @ gamut_matrix(case).T
    if "compress" in case.tone:
        light = compressed(light)
    target = case.source_curve if case.kind == "gamut" else case.target_curve
    signal = encode(target, toned(light, case))
    signal = np.nan_to_num(signal, nan=0.0, posinf=1.0, neginf=0.0)
    if case.clip:
        signal = np.clip(signal, 0, 1)
    if case.look:
        signal = with_look(signal, case.look, case.parameters)
        if case.clip:
            signal = np.clip(signal, 0, 1)
    return ranged_out(signal, case.target_range)


def lattice(size: int) -> Any:
    """Nodes of a lattice over 0..1, indexed [r, g, b, channel]."""
    axis = np.linspace(0, 1, size)
    return np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)


def build(case: Case) -> Any:
    """The table of a case, shape (n, n, n, 3), indexed [r, g, b, channel]."""
    rng = np.random.default_rng(case.seed)
    table = converted(lattice(case.size), case)
    if case.precision == "10 bit":
        return np.round(table * 1023) / 1023
    if case.precision == "noise":
        table = table + rng.uniform(-1, 1, table.shape) / 1023
        return np.round(np.clip(table, 0, 1) if case.clip else table, 6)
    return np.round(table, 6)


def random_case(seed: int, *, look: bool = False, size: int | None = None) -> Case:
    """A case drawn at random."""
    rng = np.random.default_rng(seed)
    kind = rng.choice(["combined", "curve", "gamut"], p=[0.6, 0.2, 0.2])
    target_curve, target_gamut = TARGETS[rng.integers(len(TARGETS))]
    source_curve = str(rng.choice(camera_curves()))
    source_gamut = str(rng.choice(wide_gamuts()))
    if kind == "gamut" and rng.random() < 0.5:
        target_gamut = str(rng.choice([g for g in wide_gamuts() if g != source_gamut]))
    name = str(rng.choice(LOOKS)) if look else ""
    case = Case(
        kind=str(kind),
        source_curve=source_curve,
        source_gamut=source_gamut,
        target_curve=target_curve,
        target_gamut=target_gamut,
        size=size or int(rng.choice([17, 33, 33, 65])),
        source_range=str(rng.choice(["full", "legal"], p=[0.7, 0.3])),
        target_range=str(rng.choice(["full", "legal"], p=[0.7, 0.3])),
        exposure=float(rng.choice([0, 0, 0, -1, -0.5, 0.5, 1, 1.3])),
        tone=str(rng.choice(["clip", "shoulder", "sigmoid", "compress"], p=[0.5, 0.3, 0.1, 0.1])),
        adaptation=str(rng.choice(["Bradford", "CAT02", "CAT16"], p=[0.8, 0.1, 0.1])),
        look=name,
        precision=str(rng.choice(["six decimals", "10 bit", "noise"], p=[0.7, 0.15, 0.15])),
        clip=bool(rng.random() < 0.85),
        seed=seed,
        parameters=look_parameters(name, rng) if name else {},
    )
    if kind != "curve" and np.abs(gamut_matrix(case) - np.eye(3)).max() < 1e-3:
        # Two names of one set of primaries: nothing is converted.
        if kind == "gamut":
            others = [name for name in wide_gamuts() if name != source_gamut]
            case = replace(case, target_gamut=others[seed % len(others)])
        else:
            kind = "curve"
            case = replace(case, kind="curve")
    if kind == "gamut":
        # A gamut conversion leaves tone and the curve as they were.
        case = replace(case, tone="clip", target_curve=case.source_curve, exposure=0.0)
    if kind == "curve":
        gamut = case.source_gamut
        case = replace(case, target_gamut=gamut, tone=case.tone.replace("compress", "clip"))
    return case


def negative(name: str, size: int, seed: int) -> Any:
    """A table that is not a colour conversion."""
    rng = np.random.default_rng(seed)
    x = lattice(size)
    if name == "random smooth":
        from scipy.ndimage import zoom

        coarse = rng.uniform(0, 1, (4, 4, 4, 3))
        return np.round(np.clip(zoom(coarse, (size / 4, size / 4, size / 4, 1), order=1), 0, 1), 6)
    if name == "hue rotation":
        return np.round(np.clip(with_look(x, name, {"degrees": rng.uniform(40, 160)}), 0, 1), 6)
    if name == "posterised":
        steps = int(rng.integers(3, 8))
        return np.round(np.round(x * steps) / steps, 6)
    if name == "inverted":
        return np.round(1 - x, 6)
    if name == "channel swap":
        return np.round(x[..., [1, 2, 0]] ** rng.uniform(0.7, 1.4), 6)
    raise ValueError(name)


Builder = Callable[[Case], Any]
