"""What identification gives: the answer, its candidates, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from lutbench.analysis.identify.hypothesis import Forecast, Hypothesis
from lutbench.analysis.identify.samples import Samples
from lutbench.model.transforms import plain

SCHEMA = 1

Kind = Literal["identity", "curve", "gamut", "combined", "unknown"]
Confidence = Literal["high", "medium", "low", "none"]


@dataclass(frozen=True)
class Side:
    """One end of a candidate; None where nothing can tell."""

    curve: str | None
    gamut: str | None
    range: str
    rendering: str | None = None
    """PQ only: ``scene`` light (with the reference OOTF) or ``display`` light."""

    def to_data(self) -> dict[str, Any]:
        """Plain data; `rendering` only where it means something."""
        data = {"curve": self.curve, "gamut": self.gamut, "range": self.range}
        return data | ({"rendering": self.rendering} if self.rendering else {})


@dataclass(frozen=True)
class SameAs:
    """Names that this LUT cannot tell from those given."""

    source_curve: tuple[str, ...] = ()
    source_gamut: tuple[str, ...] = ()
    target_curve: tuple[str, ...] = ()
    target_gamut: tuple[str, ...] = ()

    def to_data(self) -> dict[str, list[str]]:
        """Plain data."""
        return {
            "source_curve": list(self.source_curve),
            "source_gamut": list(self.source_gamut),
            "target_curve": list(self.target_curve),
            "target_gamut": list(self.target_gamut),
        }


@dataclass(frozen=True)
class Candidate:
    """An answer. Errors are in 10-bit codes of full scale, over the nodes in gamut."""

    source: Side
    target: Side
    exposure_stops: float
    error_median: float
    error_p95: float
    same_as: SameAs
    confidence: Confidence
    adaptation: str | None
    exposures: dict[str, float] = field(default_factory=dict)
    """The exposure in the scale of other names of one encoding, by name."""
    hypothesis: Hypothesis | None = field(default=None, repr=False, compare=False)

    def to_data(self) -> dict[str, Any]:
        """Plain data by the contract of the command, and more."""
        return {
            "source": self.source.to_data(),
            "target": self.target.to_data(),
            "exposure_stops": self.exposure_stops,
            "error": {"median": self.error_median, "p95": self.error_p95},
            "same_as": self.same_as.to_data(),
            "confidence": self.confidence,
            "adaptation": self.adaptation,
            "exposure_in_scale_of": self.exposures,
        }


@dataclass(frozen=True)
class Tone:
    """The tone curve between source light and target light, where it is not plain.

    Stops are from mid grey of the source. `curve` is the tabulated curve:
    pairs of light in (after exposure) and signal out.
    """

    grey_signal: float
    contrast: float
    roll_off_stops: float | None
    white_stops: float | None
    curve: tuple[tuple[float, float], ...] = ()

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "grey_signal": self.grey_signal,
            "contrast": self.contrast,
            "roll_off_stops": self.roll_off_stops,
            "white_stops": self.white_stops,
            "curve": plain(self.curve),
        }


@dataclass(frozen=True)
class Look:
    """What is left when the conversion is taken out, as ΔE 2000 over the nodes in gamut.

    `cdl` holds the parameters of the ASC CDL that explains it, where one does.
    """

    present: bool
    median: float
    p95: float
    max: float
    cdl: dict[str, Any] | None = None
    saturation: float | None = None
    description: tuple[str, ...] = ()

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "present": self.present,
            "delta_e_2000": {"median": self.median, "p95": self.p95, "max": self.max},
            "cdl": plain(self.cdl),
            "saturation": self.saturation,
            "description": list(self.description),
        }


@dataclass(frozen=True)
class Identification:
    """What is inside a LUT.

    Parameters
    ----------
    kind
        ``identity``, ``curve``, ``gamut``, ``combined``; ``unknown`` where no
        candidate explains the LUT.
    candidates
        Best first.
    look
        What the best candidate leaves over.
    explanation
        Two or three plain sentences.
    notes
        What cannot be told apart, and what would settle it.
    """

    kind: Kind
    confidence: Confidence
    candidates: tuple[Candidate, ...]
    look: Look
    tone: Tone | None = None
    explanation: str = ""
    notes: tuple[str, ...] = ()
    samples: Samples | None = field(default=None, repr=False, compare=False)
    forecast: Forecast | None = field(default=None, repr=False, compare=False)

    @property
    def best(self) -> Candidate | None:
        """The first candidate."""
        return self.candidates[0] if self.candidates else None

    def to_data(self) -> dict[str, Any]:
        """Plain data by the contract of the command, and more."""
        return {
            "schema": SCHEMA,
            "kind": self.kind,
            "confidence": self.confidence,
            "explanation": self.explanation,
            "candidates": [each.to_data() for each in self.candidates],
            "look": self.look.to_data(),
            "tone": self.tone.to_data() if self.tone else None,
            "notes": list(self.notes),
        }
