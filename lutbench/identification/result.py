"""The result of an identification: the answer, its candidates and its confidence."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from lutbench.identification.hypothesis import Forecast, Hypothesis
from lutbench.identification.samples import Samples
from lutbench.model.transforms import Array
from lutbench.results import PlainData, Result

if TYPE_CHECKING:
    from lutbench.identification.claims import Claim
    from lutbench.identification.measured import Measured

Kind = Literal["identity", "curve", "gamut", "combined", "unknown"]
Confidence = Literal["high", "medium", "low", "none"]
Word = Literal["sure", "likely", "a guess", "not told"]

SCHEMA = 1
"""The version of the JSON that `to_data` gives."""

LIKELY = 0.9
"""The probability from which the name of a part counts as likely."""

GUESS = 0.5
"""The probability above which it is given as a guess: it is right more often than not."""

WORDS: dict[Confidence, Word] = {
    "high": "sure",
    "medium": "likely",
    "low": "not told",
    "none": "not told",
}
"""What the confidence in the whole says of a part that has no probability of its own."""

WHATS = ("curve", "gamut", "range")
"""What either end has."""


def word_of(probability: float) -> Word:
    """What a probability is called.

    >>> word_of(0.95), word_of(0.7), word_of(0.5)
    ('likely', 'a guess', 'not told')
    """
    if probability >= LIKELY:
        return "likely"
    return "a guess" if probability > GUESS else "not told"


@dataclass(frozen=True)
class Side:
    """One end of a candidate; None where the LUT does not show it."""

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
class SameAs(PlainData):
    """Other names that the LUT cannot distinguish from those of the candidate."""

    source_curve: tuple[str, ...] = ()
    source_gamut: tuple[str, ...] = ()
    target_curve: tuple[str, ...] = ()
    target_gamut: tuple[str, ...] = ()


@dataclass(frozen=True)
class MedianErrors(PlainData):
    """Statistics of an error over the nodes."""

    median: float
    p95: float

    @classmethod
    def of(cls, errors: Array) -> MedianErrors:
        """Of errors at nodes."""
        return cls(float(np.median(errors)), float(np.percentile(errors, 95)))


@dataclass(frozen=True)
class Candidate:
    """One possible answer. Errors are in 10-bit codes of full scale, over the nodes in gamut."""

    source: Side
    target: Side
    exposure_stops: float
    error_median: float
    error_p95: float
    same_as: SameAs
    confidence: Confidence
    adaptation: str | None
    exposures: dict[str, float] = field(default_factory=dict)
    """The exposure by other names of the same encoding, which scale light differently."""
    hypothesis: Hypothesis | None = field(default=None, repr=False, compare=False)
    others: tuple[Hypothesis, ...] = field(default=(), repr=False, compare=False)
    """The other encodings that `same_as` names."""
    hidden: tuple[str, ...] = ()
    """The parts for which other names explain the LUT as well: any of ``source curve``, ``source
    gamut``, ``source range``, ``target curve``, ``target gamut``, ``target range``."""
    probabilities: dict[str, float] = field(default_factory=dict)
    """The probability of the name of each part, against other names and against no name."""
    certainty: dict[str, Word] = field(default_factory=dict)
    """What the name of each part is: ``sure``, ``likely``, ``a guess``, or ``not told`` where it
    is only the nearest. Empty for candidates after the first."""

    @property
    def not_told(self) -> tuple[str, ...]:
        """The parts whose names say nothing."""
        untold = (part for part, word in self.certainty.items() if word == "not told")
        return tuple(dict.fromkeys((*self.hidden, *untold)))

    @property
    def guesses(self) -> tuple[str, ...]:
        """The parts whose names are guesses: right more often than not, but not likely."""
        return tuple(part for part, word in self.certainty.items() if word == "a guess")

    def name_of(self, part: str) -> str | None:
        """The name of a part, such as ``source curve``."""
        end, _, what = part.partition(" ")
        found: str | None = getattr(getattr(self, end), what)
        return found

    def weighed(self) -> Candidate:
        """The candidate with what the name of each part is."""
        # A part that is not weighed is as good as the whole. Where nothing is weighed, it is the
        # hidden parts alone that make the confidence low.
        only_hidden = self.confidence == "low" and self.hidden and not self.probabilities
        rest = "likely" if only_hidden else WORDS[self.confidence]
        named = (f"{end} {what}" for end in ("source", "target") for what in WHATS)
        words = {
            part: word_of(self.probabilities[part]) if part in self.probabilities else rest
            for part in named
            if self.name_of(part)
        }
        untold = [part for part in self.hidden if part in words]
        if words.get("source curve") == "not told" and words.get("source range") == "a guess":
            # A range is guessed only with its curve: alone it is of no use, and wrong more often.
            untold.append("source range")
        return replace(self, certainty=words | dict.fromkeys(untold, "not told"))

    def to_data(self) -> dict[str, Any]:
        """Plain data, with more than the command promises."""
        return {
            "source": self.source.to_data(),
            "target": self.target.to_data(),
            "exposure_stops": self.exposure_stops,
            "error": MedianErrors(self.error_median, self.error_p95).to_data(),
            "same_as": self.same_as.to_data(),
            "confidence": self.confidence,
            "adaptation": self.adaptation,
            "exposure_in_scale_of": self.exposures,
            "not_told": list(self.not_told),
            "probabilities": {
                part.replace(" ", "_"): round(value, 4)
                for part, value in self.probabilities.items()
            },
            "certainty": {part.replace(" ", "_"): word for part, word in self.certainty.items()},
        }


@dataclass(frozen=True)
class Tone(PlainData):
    """The tone curve of the grey scale, from source light to output signal.

    Stops are from mid grey of the source; signals are those of the target's range.

    Parameters
    ----------
    plain
        Whether it is the target's curve (apart from a look); else an unnamed tone curve.
    grey_signal, grey_code
        Where mid grey lands; the code is the 10-bit code in the target's range.
    signal_per_stop
        Signal gained per stop around mid grey: the mean over half a stop to either side.
    contrast
        The slope at mid grey of log light out against log light in, light out
        seen through the target's curve; None where that is not known.
    roll_off_stops
        The stops above which a stop gains less than 95 % of the steepest one;
        None where the recording ends first, or the curve only clips.
    white_stops
        Where the highest signal, `white_signal`, is reached; None where the
        recording ends first.
    black_signal
        The signal of no light.
    curve
        The tabulated curve: pairs of source light and signal, both rising.
    """

    KEYS = (
        *("plain", "grey_signal", "grey_percent", "grey_code_10bit=grey_code", "signal_per_stop"),
        *("contrast", "roll_off_stops", "white_stops", "white_signal", "black_signal", "curve"),
    )

    plain: bool
    """Whether the tone is that of the target's curve alone."""
    grey_signal: float
    grey_code: int
    signal_per_stop: float
    contrast: float | None
    roll_off_stops: float | None
    white_stops: float | None
    white_signal: float
    black_signal: float
    curve: tuple[tuple[float, float], ...] = ()
    """Pairs of light and signal."""

    @property
    def grey_percent(self) -> float:
        """Where mid grey lands, in percent of signal."""
        return 100 * self.grey_signal


@dataclass(frozen=True)
class FittedCdl(PlainData):
    """The ASC CDL that explains a look, on the output signal, and the remaining error."""

    KEYS = ("slope", "offset", "power", "saturation", "error", "delta_e_2000")

    slope: tuple[float, float, float]
    offset: tuple[float, float, float]
    power: tuple[float, float, float]
    saturation: float
    error: MedianErrors
    """10-bit codes."""
    delta_e_2000: MedianErrors

    @property
    def words(self) -> str:
        """Its ten numbers on one line."""
        parts = {"slope": self.slope, "offset": self.offset, "power": self.power}
        numbers = ", ".join(
            f"{name} {' '.join(f'{value:.3f}' for value in values)}"
            for name, values in parts.items()
        )
        return f"{numbers}, saturation {self.saturation:.3f}".replace("-", "−")


@dataclass(frozen=True)
class HueChange(PlainData):
    """What a look does to colours of one hue: medians over some nodes."""

    KEYS = (
        *("hue", "turned_degrees=turned", "saturation", "luma_percent=luma"),
        *("delta_e_2000=delta_e", "nodes"),
    )

    hue: str
    turned: float
    """On the vectorscope, anticlockwise positive."""
    saturation: float
    """A ratio."""
    luma: float
    delta_e: float
    nodes: int


@dataclass(frozen=True)
class ToneChange(PlainData):
    """What a look does to a part of the grey scale, as differences of CIELAB L*, a*, b*."""

    part: str
    lightness: float
    a: float
    b: float


@dataclass(frozen=True)
class LookSize(PlainData):
    """ΔE 2000 over the nodes in gamut."""

    median: float
    p95: float
    max: float


@dataclass(frozen=True)
class Look(PlainData):
    """What remains of the LUT without the conversion, as ΔE 2000 over the nodes in gamut.

    Parameters
    ----------
    cdl
        The ASC CDL that explains it, where one does.
    saturation, contrast
        Ratios over all hues and around mid grey; None where the LUT does not show them.
    strong_saturation
        The ratio over strong colours, which are rare in pictures.
    hues, tones
        Its changes, hue by hue and along the grey scale.
    description
        The same in words: tone first, then saturation, then hues.
    """

    KEYS = (
        *("present", "delta_e_2000", "cdl", "saturation", "strong_saturation", "contrast"),
        *("hues", "tones", "description"),
    )

    present: bool
    median: float
    p95: float
    max: float
    cdl: FittedCdl | None = None
    saturation: float | None = None
    """A ratio, over all hues."""
    strong_saturation: float | None = None
    contrast: float | None = None
    """A ratio, about mid grey."""
    hues: tuple[HueChange, ...] = ()
    tones: tuple[ToneChange, ...] = ()
    description: tuple[str, ...] = ()

    @property
    def delta_e_2000(self) -> LookSize:
        """Its size."""
        return LookSize(self.median, self.p95, self.max)


@dataclass(frozen=True, repr=False)
class Identification(Result):
    """What is inside a LUT.

    Parameters
    ----------
    kind
        ``identity``, ``curve``, ``gamut``, ``combined``; ``unknown`` where no
        candidate explains the LUT.
    candidates
        Best first.
    look
        What the best candidate does not explain.
    explanation
        Two or three plain sentences.
    notes
        What the LUT leaves open, and what would decide it.
    """

    kind: Kind
    confidence: Confidence
    candidates: tuple[Candidate, ...]
    look: Look
    tone: Tone | None = None
    explanation: str = ""
    notes: tuple[str, ...] = ()
    measured: Measured | None = field(default=None, compare=False)
    """Parts without a name, as measured; None where names explain the LUT as well."""
    claims: tuple[Claim, ...] = ()
    """What the file says about itself, and whether the table agrees."""
    samples: Samples | None = field(default=None, repr=False, compare=False)
    forecast: Forecast | None = field(default=None, repr=False, compare=False)

    @property
    def best(self) -> Candidate | None:
        """The first candidate."""
        return self.candidates[0] if self.candidates else None

    @property
    def is_described(self) -> bool:
        """Whether tone and look mean something: they are measured beside the best candidate, which
        may explain nothing."""
        return self.best is None or self.measured is not None or self.confidence != "none"

    def to_data(self) -> dict[str, Any]:
        """Plain data, with more than the command promises."""
        return {
            "schema": SCHEMA,
            "kind": self.kind,
            "confidence": self.confidence,
            "explanation": self.explanation,
            "candidates": [each.to_data() for each in self.candidates],
            "look": self.look.to_data(),
            "tone": self.tone.to_data() if self.tone else None,
            "measured": self.measured.to_data() if self.measured else None,
            "claims": [each.to_data() for each in self.claims],
            "notes": list(self.notes),
        }
