"""The neutral axis of a noisy or a small LUT, told by all nodes: each says what light comes to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lutbench.identification.forms.fits import FreeFit
from lutbench.identification.forms.nodes import lights_of
from lutbench.identification.ground import rising_run
from lutbench.identification.samples import CODES, Samples
from lutbench.model.pchip import Pchip
from lutbench.model.transforms import Array

FAR = 6.0
"""Misses of more than so many times the noise say nothing of it."""

HELD = 1.0
"""Nodes that the neutral axis itself counts as, beside the colours that fall on it."""

FINE = 33
"""Places along an axis, at least: the curve between nodes of a small LUT is told by colours."""


def averaged_axis(fit: FreeFit) -> Samples:
    """The samples of a fit with the noise of their neutral axis averaged out.

    With the source and the matrix of the fit each channel of each node falls somewhere on the
    axis; what these miss by there moves it, by least squares between its nodes.
    """
    samples, form = fit.samples, fit.form
    run = rising_run(samples)
    if run is None or form.look or form.display or form.norm:
        return samples
    lights = lights_of(fit.ground, [fit.source])
    light = lights.nodes[0] @ fit.matrix.T
    if form.compression is not None:
        light = form.compression.apply(light)
    inputs, neutral = samples.neutral_in[run], samples.neutral[run]
    places = np.interp(light, lights.table[0], fit.ground.grid)
    back = np.linalg.inv(fit.mixing)
    before, outputs = neutral @ back.T, fit.ground.outputs @ back.T
    times = max(1, -(-FINE // len(samples.neutral_in)))
    fine = np.interp(
        np.arange(times * (len(inputs) - 1) + 1) / times, np.arange(len(inputs)), inputs
    )
    far = FAR * max(samples.noise, fit.error)
    moved = [_told(inputs, before[:, c], fine, places[:, c], outputs[:, c], far) for c in range(3)]
    axis = np.maximum.accumulate(np.stack(moved, axis=1) @ fit.mixing.T, axis=0)
    ends = slice(None, run.start), slice(run.stop, None)
    return replace(
        samples,
        neutral_in=np.concatenate([samples.neutral_in[ends[0]], fine, samples.neutral_in[ends[1]]]),
        neutral=np.concatenate([samples.neutral[ends[0]], axis, samples.neutral[ends[1]]]),
    )


def _told(
    inputs: Array, axis: Array, fine: Array, places: Array, outputs: Array, far: float
) -> Array:
    """An axis at fine places: as a smooth curve gives it, moved for what lies there."""
    inside = (places > inputs[0]) & (places < inputs[-1])
    places, outputs = places[inside], outputs[inside]
    smooth = Pchip(inputs, np.maximum.accumulate(axis) + 1e-9 * np.arange(len(axis)))
    miss = outputs - smooth(places)
    near = np.abs(miss) * CODES < far
    places, miss = places[near], miss[near]
    cell = np.clip(np.searchsorted(fine, places) - 1, 0, len(fine) - 2)
    part = (places - fine[cell]) / (fine[cell + 1] - fine[cell])
    hats = np.zeros((len(places), len(fine)))
    rows = np.arange(len(places))
    hats[rows, cell], hats[rows, cell + 1] = 1 - part, part
    normal = hats.T @ hats + HELD * np.eye(len(fine))
    return np.asarray(smooth(fine) + np.linalg.solve(normal, hats.T @ miss))
