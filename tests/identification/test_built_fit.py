"""Fits of a description's parameters: derivatives, and steps that descriptions share."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import ClassVar

import numpy as np
import pytest
from scipy.optimize import approx_fprime

import lutbench
from lutbench.identification.built.nodes import MOST_COLOURS, GivenUp, Nodes, Work, together
from lutbench.identification.built.parts import (
    COMPRESSION,
    EXPOSURE,
    MAPPING,
    Part,
    cdl,
    put,
    saturation,
    tone,
)
from lutbench.identification.built.solve import Fit, error_of, least_error, solved
from lutbench.identification.samples import samples_of
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.grade import Exposure
from lutbench.model.transforms import Array, Pipeline, Transform


def task() -> Conversion:
    known = Catalogue()
    source = Encoding(known.curve("ACEScct"), known.gamut("ACEScg"))
    return Conversion(source, Encoding(known.curve("BT.1886"), known.gamut("BT.709")))


def nodes(most: int = MOST_COLOURS) -> Nodes:
    lut = lutbench.build(
        "ACEScct", "BT.1886", source_gamut="ACEScg", target_gamut="BT.709", size=17
    )
    # Between the ends nothing is clipped, so that every error has a slope.
    inputs = np.random.default_rng(5).uniform(0.4, 0.5, (40, 1)) + np.zeros(3)
    inputs += np.random.default_rng(6).uniform(-0.01, 0.01, (40, 3))
    return Nodes(inputs, lut.apply(inputs), samples_of(lut), Work(most))


@pytest.mark.parametrize(
    "parts",
    [
        (EXPOSURE,),
        (EXPOSURE, tone("shoulder"), cdl("after")),
        (cdl("before"),),
        (cdl("light"), COMPRESSION),
        (EXPOSURE, tone("sigmoid")),
    ],
    ids=lambda parts: ", ".join(each.name for each in parts),
)
def test_slopes_are_those_of_scipy(parts: tuple[Part, ...]) -> None:
    fit = Fit(task(), parts, nodes())
    begin = np.concatenate([part.begin for part in parts])
    # Within their limits, and where no parameter is at a value that leaves a step out.
    values = np.clip(begin + 0.003, None, fit.high - 0.01)
    wanted = approx_fprime(values, fit.misses, 1e-6)
    # Both are differences to one side: they are off by half the step times the curvature.
    size = np.abs(wanted).max()
    assert size > 1
    assert np.abs(fit.slopes(values) - wanted).max() < 1e-3 * size


@dataclass(frozen=True)
class Counted(Transform):
    """An exposure that counts how often it is applied."""

    stops: float
    calls: list[int] = field(default_factory=list, compare=False)
    kind: ClassVar[str] = "counted"

    def _apply(self, rgb: Array) -> Array:
        self.calls.append(len(rgb))
        return Exposure(self.stops)._apply(rgb)


def test_a_step_that_several_pipelines_have_is_applied_once() -> None:
    first, last = Counted(1.0), Counted(-1.0)
    moved = [Counted(0.1 * k) for k in range(4)]
    rgb = np.random.default_rng(1).uniform(0, 1, (7, 3))
    pipelines = [(first, each, last) for each in moved] + [(first,), ()]
    given = together(pipelines, rgb)
    assert first.calls == [7]
    assert last.calls == [28]
    assert [each.calls for each in moved] == [[7]] * 4
    for steps, values in zip(pipelines, given, strict=True):
        assert np.allclose(values, Pipeline(steps).apply(rgb), rtol=1e-15)


def test_a_fit_computes_what_it_knows_only_once() -> None:
    some = nodes()
    fit = Fit(task(), (EXPOSURE, cdl("after")), some)
    values = np.concatenate([EXPOSURE.begin, cdl("after").begin])
    first = fit.slopes(values)
    done = some.work.colours
    assert done == 40 * (1 + 11)
    assert fit.slopes(values.copy()) is first
    fit.misses(values)
    assert some.work.colours == done


def test_what_was_fitted_is_not_fitted_again_but_counts_as_the_same_work() -> None:
    some = nodes()
    first = solved(task(), (EXPOSURE,), some)
    later = replace(some, work=Work(MOST_COLOURS))
    assert solved(task(), (EXPOSURE,), later) is first
    assert later.work.colours == some.work.colours > 0
    assert solved(task(), (EXPOSURE,), later, np.array([0.5])) is not first
    with pytest.raises(GivenUp):
        solved(task(), (EXPOSURE,), replace(some, work=Work(some.work.colours - 1)))


def test_a_search_ends_after_so_many_colours() -> None:
    fit = Fit(task(), (cdl("before"),), nodes(most=200))
    with pytest.raises(GivenUp):
        fit.slopes(cdl("before").begin)


ONE_PART = [COMPRESSION, EXPOSURE, MAPPING, saturation("light"), saturation("after")]


@pytest.mark.parametrize("part", ONE_PART, ids=lambda part: part.name)
def test_no_parameters_leave_less_than_is_told_and_a_source_far_off_is_not_fitted(
    part: Part,
) -> None:
    known = Catalogue()
    inputs = np.random.default_rng(8).uniform(0.1, 0.6, (60, 3))
    right = put(task(), (part,), np.array(part.low) * 0.7 + np.array(part.high) * 0.3)
    assert right is not None
    some = replace(nodes(), inputs=inputs, outputs=right.pipeline().apply(inputs))
    wrong = replace(task(), source=Encoding(known.curve("Cineon"), known.gamut("BT.2020")))
    least = least_error(Fit(wrong, (part,), some), 1.0)
    assert least > 1
    # The errors of the same description, at values over all of its limits.
    values = np.random.default_rng(9).uniform(part.low, part.high, (200, len(part.low)))
    values = np.concatenate([values, [part.low, part.high, part.start]])
    assert least <= min(error_of(put(wrong, (part,), each), some) for each in values)
    # Nine descriptions say so, or two settings of each of three parameters.
    before = some.work.colours
    assert solved(wrong, (part,), some).error == least
    assert some.work.colours - before <= 9 * len(inputs)
    # The right source comes within reach.
    assert least_error(Fit(task(), (part,), some), 1.0) < 0.1


def test_what_greys_do_not_show_of_a_tone_is_not_free_on_them() -> None:
    some = nodes()
    greys = np.repeat(np.linspace(0.2, 0.6, 40)[:, None], 3, axis=1)
    fit = Fit(task(), (EXPOSURE, tone("sigmoid")), replace(some, inputs=greys, outputs=greys))
    fit.keep_visible(np.array([v for part in fit.parts for v in part.start]))
    # Exposure, contrast, toe and shoulder: inset, turn and outset keep greys as they are.
    assert len(fit.free) == 4
