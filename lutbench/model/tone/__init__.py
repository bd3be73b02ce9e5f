"""Tone mappers: one a file, by name in `registry`."""

from lutbench.model.tone.base import ToneMapper
from lutbench.model.tone.eetf import Eetf
from lutbench.model.tone.registry import register, tone_mapper, tone_names
from lutbench.model.tone.shoulder import ToneCurve, ToneCurveInverse
from lutbench.model.tone.sigmoid import Sigmoid

__all__ = [
    "Eetf",
    "Sigmoid",
    "ToneCurve",
    "ToneCurveInverse",
    "ToneMapper",
    "register",
    "tone_mapper",
    "tone_names",
]
