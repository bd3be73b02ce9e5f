"""Both ends of a conversion: what the source and the target are, and their steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from open_world.case import Array, Step, Truth
from open_world.spaces import (
    DISPLAY_GAMUTS,
    PQ_NAMES,
    SDR_CURVES,
    belongs_with,
    decoder,
    encoder,
    gamut_matrix,
    gamut_names,
    log_names,
    primaries_of,
)

FREE_TONE = "a tone curve of its own takes in the target curve: only their product shows"
FREE_EXPOSURE = "a tone curve of its own takes in the exposure"
FREE_MATRIX = "a matrix of its own takes in the gamut: only their product shows"
ONE_CURVE = "channels do not mix: only the product of source and target curve shows"

WIDE = 0.13
"""Triangles in xy over this are wider than BT.709's (0.112)."""


@dataclass(frozen=True)
class Ends:
    """Source and target of a LUT, by names of the catalogue."""

    source_curve: str
    source_gamut: str
    target_curve: str
    target_gamut: str
    source_range: str = "full"
    target_range: str = "full"
    source_bits: int = 10
    target_bits: int = 10

    def opening(self) -> list[Step]:
        """Range and curve of the source: from the LUT's input to scene light."""
        return [
            *_signal_steps(self.source_range, self.source_bits),
            Step("source curve", decoder(self.source_curve)),
        ]

    @property
    def matrix(self) -> Array:
        """From linear R G B of the source to that of the target."""
        return gamut_matrix(primaries_of(self.source_gamut), primaries_of(self.target_gamut))

    def conversion(self) -> Step:
        """The step from gamut to gamut."""
        array = self.matrix
        return Step("gamut", lambda rgb: rgb @ array.T)

    def closing(self, after: Sequence[Step] = ()) -> list[Step]:
        """Curve and range of the target, with steps on the signal between them."""
        return [
            Step("target curve", encoder(self.target_curve)),
            *after,
            Step("clip", lambda rgb: np.clip(rgb, 0, 1)),
            *_range_steps(self.target_range, self.target_bits),
        ]

    def truth(self, **more: object) -> Truth:
        """The truth of a conversion between these ends."""
        known = Truth(
            kind="combined",
            source_curve=either_pq(self.source_curve),
            source_gamut=self.source_gamut,
            source_range=self.source_range,
            target_curve=either_pq(self.target_curve),
            target_gamut=self.target_gamut,
            target_range=self.target_range,
            look=False,
        )
        return replace(known, **more)  # type: ignore[arg-type]

    def toned(self, **more: object) -> Truth:
        """The truth where a tone curve of its own hides the target curve and the exposure."""
        return (
            self.truth(**more).without(FREE_TONE, "target_curve").without(FREE_EXPOSURE, "exposure")
        )


def either_pq(name: str) -> str | tuple[str, ...]:
    """The names that are right for a curve's signal."""
    return PQ_NAMES if name in PQ_NAMES else name


def some_range(rng: np.random.Generator, legal: float = 0.2) -> str:
    """Full or legal, the latter with this chance."""
    return "legal" if rng.random() < legal else "full"


def some_source(rng: np.random.Generator, together: float = 0.6) -> tuple[str, str]:
    """A log encoding and a gamut, mostly of names that belong together."""
    curve = str(rng.choice(log_names()))
    wide = gamut_names(WIDE)
    return curve, belongs_with(curve, wide) if rng.random() < together else str(rng.choice(wide))


def some_ends(
    rng: np.random.Generator,
    *,
    targets: Sequence[str] = SDR_CURVES,
    gamuts: Sequence[str] = DISPLAY_GAMUTS,
    legal: float = 0.2,
) -> Ends:
    """Ends of a viewing LUT: a log source, a display target."""
    curve, gamut = some_source(rng)
    target = str(rng.choice(targets))
    shown = "BT.2020" if target not in SDR_CURVES else str(rng.choice(gamuts, p=_shares(gamuts)))
    return Ends(curve, gamut, target, shown, some_range(rng, legal), some_range(rng, legal))


def _shares(gamuts: Sequence[str]) -> Array:
    """The first is the usual one."""
    share = np.ones(len(gamuts))
    share[0] = max(len(gamuts), 2)
    return share / share.sum()


def exposed(stops: float) -> Step:
    """Light raised by stops."""
    return Step("exposure", lambda rgb: rgb * 2.0**stops)


def _signal_steps(name: str, bits: int) -> list[Step]:
    if name == "full":
        return []
    low, high = legal_codes(bits)
    return [Step("source range", lambda rgb: (rgb - low) / (high - low))]


def _range_steps(name: str, bits: int) -> list[Step]:
    if name == "full":
        return []
    low, high = legal_codes(bits)
    return [Step("target range", lambda rgb: low + rgb * (high - low))]


def legal_codes(bits: int) -> tuple[float, float]:
    """Black and white of the legal range over full scale: Recommendation ITU-R BT.2100, table 9."""
    scale = 2 ** (bits - 8)
    return 16 * scale / (2**bits - 1), 235 * scale / (2**bits - 1)
