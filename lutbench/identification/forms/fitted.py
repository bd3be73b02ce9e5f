"""The free fits of a LUT: each form is fitted once, when it is first needed."""

from __future__ import annotations

from functools import cached_property

from lutbench.identification.forms.fits import Form, FreeFit, Glances, fits_of
from lutbench.identification.forms.named import hypotheses_of
from lutbench.identification.forms.nodes import Ground, Lit, Source, ground_of
from lutbench.identification.hypothesis import forecast
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.samples import Samples
from lutbench.identification.verdict import Finalist
from lutbench.model.curves.hdr import HlgScene, HlgSystemGamma

LEAST_FLOOR = 0.05
"""10-bit codes, root mean square, of error between the nodes of the neutral axis, at least."""


PEAKS = (400.0, 600.0, 1000.0, 2000.0)
"""Peaks in cd/m² of displays that show HLG: Recommendation BT.2100 gives its gamma for 400 to
2000, and 1000 as the nominal one."""


class Fitted:
    """The nodes that fits look at, the sources that are tried, and the fits of each form."""

    def __init__(self, samples: Samples, knowledge: Knowledge) -> None:
        self.samples, self.knowledge = samples, knowledge
        self._kept: dict[Form, list[FreeFit]] = {}
        self._named: dict[int, list[Finalist]] = {}

    @cached_property
    def ground(self) -> Ground | None:
        """None where nothing can be fitted."""
        return None if self.samples.one_d else ground_of(self.samples)

    @cached_property
    def floor(self) -> float:
        """The uncertainty of misses in codes: noise, and the neutral axis between its nodes."""
        known_to = 0.0 if self.ground is None else self.ground.known_to
        return max(self.samples.noise, LEAST_FLOOR, known_to)

    @cached_property
    def sources(self) -> list[Source]:
        """Every end; those of HLG also as shown on a display."""
        plain = [Source(end) for end in self.knowledge.sources]
        shown = [
            Source(each.end, HlgSystemGamma(peak))
            for peak in PEAKS
            for each in plain
            if isinstance(each.end.curve.curve, HlgScene)
        ]
        return plain + shown

    @cached_property
    def lit(self) -> Lit | None:
        """The nodes with the light of every source; None where nothing can be fitted."""
        return None if self.ground is None else Lit.of(self.ground, self.sources)

    @cached_property
    def glances(self) -> Glances:
        """What forms leave on a few of the nodes; only where there are any."""
        assert self.lit is not None
        return Glances(self.lit)

    def __contains__(self, form: Form) -> bool:
        """Whether a form has been fitted."""
        return form in self._kept

    def of(self, form: Form) -> list[FreeFit]:
        """The best sources of a form, best first."""
        if self.lit is None:
            return []
        if form not in self._kept:
            self._kept[form] = fits_of(form, self.lit, self.samples, self.floor)
        return self._kept[form]

    def named(self, fit: FreeFit) -> list[Finalist]:
        """Finalists with the likeliest names of a fit.

        Error and nats are those with the curve left free: its names are judged by their cost.
        """
        if id(fit) not in self._named:
            few = self.samples.few
            self._named[id(fit)] = [
                Finalist(h, forecast(h, few), named.error, cost, named.nats)
                for h, cost, named in hypotheses_of(fit, self.knowledge)
            ]
        return self._named[id(fit)]
