"""Tone mappers: one a file, by name in `registry`."""

from lutbench.model.tone.base import ToneMapper
from lutbench.model.tone.eetf import Eetf
from lutbench.model.tone.registry import register, tone_mapper, tone_names
from lutbench.model.tone.shoulder import ToneCurve, ToneCurveInverse

__all__ = [
    "Eetf",
    "ToneCurve",
    "ToneCurveInverse",
    "ToneMapper",
    "register",
    "tone_mapper",
    "tone_names",
]
