"""Every tone mapper with every way of gamut and every target: greys, folds, mid grey.

Mid grey: docs/maths/tone.md and sigmoid.md say that scene light 0.18 comes to light 0.18 of
the target, so to 48.9 % of BT.1886 (0.18^(1/2.4), Recommendation ITU-R BT.1886), 38 % of PQ
and of HLG (Report ITU-R BT.2408, table 1). The table of docs/maths/hdr-conversions.md says
where 26 cd/m² (38 % of PQ, HDR mid grey after BT.2408) comes through mappers of display light.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from importlib import import_module
from itertools import product
from typing import Any

import colour
import numpy as np
import pytest
from bt2446_by_steps import method_a

from lutbench.model.catalogue import open_catalogue
from lutbench.model.conversion import Conversion
from lutbench.model.gamut_map import GamutMapping
from lutbench.model.gamuts import conversion
from lutbench.model.tone import tone_names
from lutbench.recipes.make import quick_job
from lutbench.recipes.settings import GAMUT_METHODS, Settings

MODEL = "lutbench.model"
KNOWN = open_catalogue(user=False)
GREY = 26.0
SCENE_TARGETS = {
    ("BT.1886", "BT.709"): 0.489,
    ("gamma 2.6", "P3-D65"): 0.517,
    ("BT.2100 PQ", "BT.2020"): 0.38,
    ("BT.2100 HLG", "BT.2020"): 0.38,
}
CARRIED = ("", " on=largest", " on=largest blend=1", " on=luminance", " on=intensity")
SCENE_TONES = ("clip", "sigmoid", *(f"shoulder{on}" for on in CARRIED))


def adjusted(light: float, source: float, target: float) -> float:
    """HLG's system gammas by Recommendation ITU-R BT.2100-2, table 5, notes 5e and 5f."""

    def gamma(peak: float) -> float:
        if 400 <= peak <= 2000:
            return 1.2 + 0.42 * float(np.log10(peak / 1000))
        return float(1.2 * 1.111 ** np.log2(peak / 1000))

    return float(target * (light / source) ** (gamma(target) / gamma(source)))


# Where cd/m² of a grey come, for a source and a target peak. EETF: below its knee they stay.
DISPLAY_TONES: dict[str, Callable[[float, float, float], float]] = {
    **{f"eetf{on}": lambda light, source, target: light for on in CARRIED},
    "bt2446-a": lambda light, source, target: method_a([light] * 3, source, target)[1],
    "bt2446-c": lambda light, source, target: 0.83802 * light * target / 100,
    "gamma-adjust": adjusted,
}
DISPLAY_TARGETS = (
    ("BT.1886", "BT.709", 203.0),
    ("BT.1886", "P3-D65", 150.0),
    ("ST 2084", "P3-D65", 400.0),
    ("BT.2100 HLG", "BT.2020", 400.0),
)
NEAR = 1e-7
"""A step of signal: shorter than kinks of a curve lie from a random point."""

TURNED = -1e-6
"""The determinant of a step that is flat, by rounding: 1e-16 / 1e-7 in each of its entries."""


def task_of(
    tone: str, way: str, source: tuple[str, str], target: tuple[str, str], **more: Any
) -> Conversion:
    settings = Settings(
        source_curve=source[0],
        source_gamut=source[1],
        target_curve=target[0],
        target_gamut=target[1],
        tone=tone,
        gamut=way,
        **more,
    )
    task = quick_job(settings, KNOWN).task
    assert isinstance(task, Conversion)
    return task


def greys_of(task: Conversion) -> np.ndarray:  # type: ignore[type-arg]
    """The grey scale through a conversion; it stays grey and rises."""
    ramp = np.repeat(np.linspace(0, 1, 257)[:, None], 3, axis=1)
    shown = task.pipeline().apply(ramp)
    # Matrices of published primaries carry white to white to the last digits; a steep toe
    # makes a thousand times that of it, and ICtCp's matrices are rounded to 4096ths.
    assert np.ptp(shown, axis=1).max() < 1e-10
    assert (np.diff(shown[:, 1]) >= -1e-10).all()
    return shown


def uncut(task: Conversion, signal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[type-arg]
    """The result, and where no step cuts anything off or draws it onto an edge."""
    tone = task.tone
    mapper = None if tone is None else tone.within(task.result.gamut)
    whole = (task.source.curve.decode(signal) >= 0).all(axis=-1)
    rgb = signal
    for step in replace(task, clamp=False).pipeline().steps:
        if isinstance(step, GamutMapping):
            whole &= (conversion(step.gamut, step.reach).apply(rgb) >= 0).all(axis=-1)
        if step == mapper and tone is not None and hasattr(tone, "source_peak"):
            whole &= rgb.max(axis=-1) <= tone.source_peak
            whole &= (rgb.min(axis=-1) >= 0) | (not tone.per_channel)
        rgb = step.apply(rgb)
        if step == mapper and hasattr(tone, "ceiling"):
            whole &= rgb.max(axis=-1) < (1 - 1e-6) * tone.ceiling
    return rgb, whole & ((rgb >= 0) & (rgb <= 1)).all(axis=-1)


def least_turn(task: Conversion, top: float, count: int = 1000) -> float:
    """The least Jacobian determinant of the exact transform at random signals up to `top`,
    where nothing is cut off; enough of them must be so."""
    signal = np.random.default_rng(9).uniform(0.03, top, (count, 3))
    columns, whole = [], np.ones(count, dtype=bool)
    for c in range(3):
        step = NEAR * np.eye(3)[c]
        (above, fits), (below, fit_too) = uncut(task, signal + step), uncut(task, signal - step)
        columns.append((above - below) / (2 * NEAR))
        whole &= fits & fit_too
    assert whole.mean() > 0.05
    return float(np.linalg.det(np.stack(columns, axis=-1))[whole].min())


@pytest.mark.parametrize("target", SCENE_TARGETS, ids=lambda each: each[0])
@pytest.mark.parametrize(("tone", "way"), list(product(SCENE_TONES, GAMUT_METHODS)))
def test_scene_light(tone: str, way: str, target: tuple[str, str]) -> None:
    task = task_of(tone, way, ("ACEScct", "BT.2020"), target)
    greys_of(task)
    grey = KNOWN.curve("ACEScct").encode(0.18)
    assert task.pipeline().apply([grey] * 3) == pytest.approx([SCENE_TARGETS[target]] * 3, abs=3e-3)
    linear = task_of(tone, way, ("BT.709", "BT.2020"), target)
    assert least_turn(linear, 0.98) > TURNED


@pytest.mark.parametrize("target", DISPLAY_TARGETS, ids=lambda each: f"{each[0]} {each[1]}")
@pytest.mark.parametrize(("tone", "way"), list(product(DISPLAY_TONES, GAMUT_METHODS)))
def test_display_light(tone: str, way: str, target: tuple[str, str, float]) -> None:
    curve, gamut, peak = target
    ends = ("ST 2084", "BT.2020"), (curve, gamut)
    task = task_of(tone, way, *ends, source_display_peak=1000.0, target_display_peak=peak)
    greys_of(task)
    signal = colour.models.eotf_inverse_ST2084([GREY] * 3)
    shown = task.result.to_light("display").apply(task.pipeline().apply(signal))
    light = (task.result.white_luminance or peak) * shown
    wanted = DISPLAY_TONES[tone](GREY, 1000.0, peak)
    # HLG's constants have eight digits, ICtCp's matrices four.
    assert light == pytest.approx([wanted] * 3, rel=1e-4)
    assert least_turn(task, 0.75) > TURNED


@pytest.mark.parametrize("way", GAMUT_METHODS)
@pytest.mark.parametrize("target", ["ST 2084", "BT.2100 HLG"])
@pytest.mark.parametrize("tone", ["bt2446-a-up", "gamma-adjust"])
def test_sdr_to_hdr(tone: str, target: str, way: str) -> None:
    ends = ("BT.1886", "BT.709"), (target, "BT.2020")
    task = task_of(tone, way, *ends, target_display_peak=1000.0)
    greys_of(task)
    grey = 18 ** (1 / 2.4) / 100 ** (1 / 2.4)
    shown = task.result.to_light("display").apply(task.pipeline().apply([grey] * 3))
    # Method A's way up: Y'' = 255·0.18^(1/2.4) = 124.8, E = 1.2038; gamma: 100 to 203 cd/m².
    level = 255 * 0.18 ** (1 / 2.4)
    power = 2.8305e-6 * level**2 - 7.4622e-4 * level + 1.2528
    wanted = {
        "bt2446-a-up": 1000 * (level**power / 1000) ** 2.4,
        "gamma-adjust": adjusted(18.0, 100.0, 203.0),
    }
    assert 203 * shown == pytest.approx([wanted[tone]] * 3, rel=1e-4)
    assert least_turn(task, 0.95) > TURNED


def test_every_tone_is_in_the_check() -> None:
    checked = {each.split()[0] for each in (*SCENE_TONES, *DISPLAY_TONES)}
    assert checked | {"bt2446-a-up"} == set(tone_names())


def tinted(old: Callable[..., Any]) -> Callable[..., Any]:
    """The same with green a thousandth brighter."""
    return lambda self, rgb: old(self, rgb) * np.array([1.0, 1.001, 1.0])


def turned_back(old: Callable[..., Any]) -> Callable[..., Any]:
    """Chroma that falls again beyond the knee."""
    return lambda x, knee, most: np.where(x <= knee, x, np.maximum(1.3 * knee - 0.3 * x, 0.05))


SCENE_LOG, DISPLAY_PQ = next(iter(SCENE_TARGETS)), DISPLAY_TARGETS[2]


@pytest.mark.parametrize(
    ("module", "holder", "name", "broken", "check"),
    [
        ("gamut_map", "GamutMapping", "_apply", tinted, ("shoulder", "map", SCENE_LOG)),
        ("compression", "GamutCompression", "_apply", tinted, ("clip", "compress", SCENE_LOG)),
        ("gamut_map", "", "limited", turned_back, ("clip", "map", SCENE_LOG)),
        (
            "tone.shoulder",
            "ToneCurve",
            "curve",
            lambda old: lambda self, light: old(self, 1.03 * light),
            ("shoulder on=largest", "clip", SCENE_LOG),
        ),
        (
            "tone.eetf",
            "Eetf",
            "curve",
            lambda old: lambda self, light: 1.001 * old(self, light),
            ("eetf on=luminance", "map", DISPLAY_PQ),
        ),
    ],
)
def test_the_check_fails_on_what_is_broken(
    module: str,
    holder: str,
    name: str,
    broken: Callable[..., Any],
    check: tuple[Any, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A tint, a fold, a grey that is elsewhere: each is noticed."""
    run = test_display_light if len(check[2]) == 3 else test_scene_light
    run(*check)
    place: Any = import_module(f"{MODEL}.{module}")
    place = getattr(place, holder) if holder else place
    monkeypatch.setattr(place, name, broken(getattr(place, name)))
    with pytest.raises(AssertionError):
        run(*check)
