"""The answer in plain words."""

from __future__ import annotations

from dataclasses import replace

from lutbench.analysis.identify.result import Candidate, Identification


def explained(result: Identification) -> Identification:
    """The identification with its explanation and notes written."""
    return replace(result, explanation=_explanation(result), notes=tuple(_notes(result)))


def _explanation(result: Identification) -> str:
    if result.kind == "identity":
        return "Changes nothing: every value comes out as it went in."
    if result.best is None:
        return "No candidate explains this LUT: it fits no conversion between known encodings."
    best = result.best
    parts = [_expects(best), _does(result, best)]
    if abs(best.exposure_stops) >= 0.02:
        more = "brighter" if best.exposure_stops > 0 else "darker"
        parts.append(f"Makes the picture {abs(best.exposure_stops):.2f} stops {more}.")
    if result.look.present:
        parts.append(f"Adds a look (ΔE 2000 {result.look.median:.1f} in the middle).")
    return " ".join(parts)


def _expects(best: Candidate) -> str:
    gamut = f" in {best.source.gamut}" if best.source.gamut else ""
    return f"Expects {best.source.curve}{gamut}, {best.source.range} range."


def _does(result: Identification, best: Candidate) -> str:
    target = best.target
    if result.kind == "gamut":
        return f"Converts the gamut to {target.gamut} and leaves the curve as it was."
    if result.kind == "curve":
        return f"Converts tone to {target.curve}, {target.range} range; leaves the gamut as it was."
    return f"Converts tone and gamut to {target.curve} in {target.gamut}, {target.range} range."


def _notes(result: Identification) -> list[str]:
    return list(result.notes)
