"""A colour on what should be grey."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lutbench.inspection.examined import CHANNELS, Examined
from lutbench.inspection.finding import Finding, FindingKind, Limit
from lutbench.inspection.subject import CODES


class Tint(FindingKind):
    """Grey in comes out with a colour."""

    code = "tint"
    limit = Limit(1.0, "10-bit codes", "the least that a 10-bit signal can carry")
    cure = "tint"
    cured_on_request = True
    seen = "a grey card and white clothes have a colour; a white balance by eye goes wrong"
    advice = "on purpose in a look; else do not judge white balance through it"

    def examine(self, lut: Examined) -> Iterator[Finding]:
        spread, index = lut.subject.neutral.tint
        value = spread * CODES
        if value <= self.limit_for(lut):
            return
        place = lut.on_axis(index)
        high, low = (CHANNELS[int(pick(place.output))] for pick in (np.argmax, np.argmin))
        message = (
            f"grey comes out tinted: {high} is {value:.1f} codes over {low} "
            f"at {100 * place.input[0]:.0f} % in"
        )
        yield self.finding(lut, message, value, place=place)
