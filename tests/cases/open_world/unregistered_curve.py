"""Encodings that nobody registered: one curve of the registry left out.

Source: the registries of colour-science; every name takes its turn.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from open_world.case import Case, Step, baked
from open_world.ends import Ends, some_ends, some_range
from open_world.spaces import DISPLAY_GAMUTS, decoder, log_names, twins
from open_world.tones import some_tone

NAME = "unregistered curve (left out)"

WAYS = ("gamut only", "clipped", "toned")


def generate(rng: np.random.Generator) -> Case:
    """Gamut only, clipped, or toned; the curve's name and its twins are not there."""
    ends = some_ends(rng)
    curve = str(rng.choice(log_names()))
    return left_out(rng, replace(ends, source_curve=curve), WAYS[int(rng.integers(3))])


def left_out(rng: np.random.Generator, ends: Ends, way: str, **more: int) -> Case:
    """A case whose source curve is taken out of the catalogue."""
    gone = twins(ends.source_curve)
    nameless = frozenset({"source_curve"})
    if way == "gamut only":
        to = str(rng.choice(DISPLAY_GAMUTS))
        legal = some_range(rng, 0.0)
        ends = Ends(ends.source_curve, ends.source_gamut, ends.source_curve, to, legal, legal)
        truth = replace(ends.truth(unnamed=nameless), kind="gamut", target_curve=None)
        middle = []
    elif way == "clipped":
        truth, middle = ends.truth(unnamed=nameless), []
    else:
        truth, middle = ends.toned(unnamed=nameless), [Step("tone", some_tone(rng))]
    truth = replace(truth, source_curve=None)
    steps = [*ends.opening(), ends.conversion(), *middle, *ends.closing()]
    hidden = decoder(ends.source_curve)
    return baked(NAME, rng, truth, steps, without=gone, hidden_curve=hidden, **more)
