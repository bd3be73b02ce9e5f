"""The answer in a few sentences."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lutbench.identification.common import EXACT, STOPS
from lutbench.identification.hypothesis import Hypothesis
from lutbench.identification.lookwords import described
from lutbench.identification.notes import NAMED, notes_of
from lutbench.identification.result import Candidate, Identification, Look, Tone, word_of
from lutbench.identification.tone import tone_of
from lutbench.model.parameter import Parameter, parameters

FAR_CODES = 20.0
"""Median error in 10-bit codes above which, with a strong look, the LUT counts as unexplained."""

FAR_DELTA_E = 10.0
"""Median look in ΔE 2000 above which, with such an error, the LUT counts as unexplained."""

SMALL_DELTA_E = 3.0
"""ΔE 2000 at the 95th percentile below which what remains is small: seen side by side only."""

CURVE_ONLY = "Each channel depends on that channel alone, so the gamut is not converted."


def explained(result: Identification) -> Identification:
    """The identification with its tone, its explanation and its notes."""
    best, samples = result.best, result.samples
    hypothesis = best.hypothesis if best is not None else None
    if hypothesis is not None and samples is not None and result.kind != "gamut":
        result = replace(result, tone=tone_of(hypothesis, samples, dense=not result.look.present))
    return replace(result, explanation=_explanation(result), notes=notes_of(result))


def _explanation(result: Identification) -> str:
    if result.kind == "identity" and result.look.present:
        return f"Converts nothing: input and output have the same encoding. {_look(result.look)}"
    if result.kind == "identity":
        return "Changes nothing: every output value equals its input value."
    if result.best is None:
        return " ".join(
            [
                "No candidate explains this LUT: it fits no conversion between known encodings.",
                *([CURVE_ONLY] if result.kind == "curve" else []),
                *_taken_as_look(result.look),
            ]
        )
    best = result.best
    if result.measured is not None and result.measured.curve is not None:
        words = result.measured.words
        other = best.source.curve != result.measured.curve.nearest
        if other and "source curve" in best.guesses:
            guess = f"{best.source.curve} ({_as_guess(best, 'source curve')})"
            words = f"Unless it expects {guess}, it {words[0].lower()}{words[1:]}"
        return " ".join([words, *_other_parts(result, best)])
    if word_of(best.probabilities.get("source curve", 1.0)) != "likely":
        known = "The source curve is uncertain: no named curve is likely enough."
        return " ".join([known, *_other_parts(result, best)])
    parts = [_expects(result, best), _does(result, best)]
    if best.hypothesis is not None and best.hypothesis.beside:
        parts.append(f"It has {' and '.join(best.hypothesis.beside)}.")
    if best.error_median > FAR_CODES and result.look.median > FAR_DELTA_E:
        parts.insert(
            0,
            "No candidate explains this LUT. The nearest, "
            f"{best.error_median:.0f} codes off (median):",
        )
        return " ".join(parts)
    named = result.measured is None and "source curve" not in best.hidden
    if result.confidence in ("low", "none") and named:
        parts.insert(0, "Not sure; the nearest conversion:")
    return " ".join([*parts, *_described(result, best)])


def _described(result: Identification, best: Candidate) -> list[str]:
    """Sentences on exposure, tone and look, where they mean something."""
    if not result.is_described:
        return []
    parts = []
    if abs(best.exposure_stops) >= STOPS:
        more = "brighter" if best.exposure_stops > 0 else "darker"
        parts.append(f"Makes the picture {abs(best.exposure_stops):.2f} stops {more}.")
    if result.tone is not None:
        parts.append(_grey(result.tone))
    if result.look.present:
        parts.append(_look(result.look))
    return parts


def _expects(result: Identification, best: Candidate) -> str:
    if "source curve" in best.hidden:
        return (
            "The LUT does not show which source curve it expects "
            f"(assumed: {best.source.curve} in {best.source.range} range)."
        )
    gamut = f" and {best.source.gamut}" if best.source.gamut else ""
    if best.source.gamut and "source gamut" in best.not_told:
        gamut = f" and an unnamed gamut (nearest: {best.source.gamut})"
    elif best.source.gamut and "source gamut" in best.guesses:
        gamut = f" and a gamut that may be {best.source.gamut} ({_as_guess(best, 'source gamut')})"
    text = f"Expects {best.source.curve}{gamut} in {best.source.range} range."
    measured = result.measured
    return text if measured is None else f"{text} {measured.words}"


def _as_guess(best: Candidate, part: str) -> str:
    """That a name is a guess, with how often such guesses are right."""
    return f"a guess, right {100 * best.probabilities[part]:.0f} % of the time"


def supposed(best: Candidate) -> str:
    """The recording's names that are likely or guesses, each called so; empty without a curve."""
    told = {
        part: f"{best.name_of(part)} ({'likely' if word == 'likely' else _as_guess(best, part)})"
        for part in ("source curve", "source gamut")
        if (word := best.certainty.get(part)) in ("likely", "a guess")
    }
    return " and ".join(told.values()) if "source curve" in told else ""


def _other_parts(result: Identification, best: Candidate) -> list[str]:
    """Sentences on the likely parts, the guesses, and the nearest names, best known first."""
    return [*_likely_parts(best), *_guessed_parts(best), _nearest(result.candidates)]


def _likely_parts(best: Candidate) -> list[str]:
    """A sentence on the parts that are likely although the source curve is not; or none."""
    likely = {
        part: best.name_of(part)
        for part in ("source gamut", "target curve", "target gamut", "target range")
        if best.certainty.get(part) == "likely"
    }
    takes = [f"takes {likely['source gamut']}"] if "source gamut" in likely else []
    names = [str(likely[part]) for part in ("target curve", "target gamut") if part in likely]
    gives = [" and ".join(names)] if names else []
    gives += [f"{likely['target range']} range"] if "target range" in likely else []
    phrases = [*takes, *([f"gives {' in '.join(gives)}"] if gives else [])]
    return [f"Other parts are clearer: it {' and '.join(phrases)}."] if phrases else []


def _guessed_parts(best: Candidate) -> list[str]:
    """A sentence on the parts that are guesses, with how often such guesses are right; or none."""
    guesses = [
        f"{part} {best.name_of(part)} ({100 * best.probabilities[part]:.0f} %)"
        for part in best.guesses
    ]
    if not guesses:
        return []
    return [f"Guesses only, with how often such a guess is right: {', '.join(guesses)}."]


def _nearest(candidates: Sequence[Candidate]) -> str:
    """The nearest conversion between named encodings, where a part has no name."""
    best = min(candidates, key=lambda each: (each.error_median, each.error_p95))
    ends = [
        " with ".join(name for name in (side.curve, side.gamut) if name)
        + ("" if side.range == "full" else f" in {side.range} range")
        for side in (best.source, best.target)
    ]
    near = best.error_median <= EXACT
    caution = "its names may be right" if near else "do not rely on its names"
    return (
        f"The nearest named conversion, from {ends[0]} to {ends[1]}, is off by "
        f"{best.error_median:.1f} codes (median; 95 % under {best.error_p95:.1f}): {caution}."
    )


def _does(result: Identification, best: Candidate) -> str:
    target = best.target
    if target.gamut and "target gamut" in best.not_told:
        target = replace(target, gamut=f"a gamut assumed to be {target.gamut}")
    elif target.gamut and "target gamut" in best.guesses:
        told = f"a gamut that may be {target.gamut} ({_as_guess(best, 'target gamut')})"
        target = replace(target, gamut=told)
    out = "" if target.range == best.source.range else f", in {target.range} range"
    if result.kind == "gamut":
        return f"Converts the gamut to {target.gamut} and leaves the curve as it was{out}."
    own = _tone_words(best.hypothesis)
    if result.kind == "curve":
        return f"Converts tone to {_curve(best)}{out}{own}; leaves the gamut as it was."
    if _is_display(best.hypothesis):
        return f"Converts tone and gamut to {target.gamut} for {_curve(best)}{out}{own}."
    names = target.gamut if target.gamut == target.curve else f"{_curve(best)} and {target.gamut}"
    return f"Converts tone and gamut to {names}{out}{own}."


def _tone_words(hypothesis: Hypothesis | None) -> str:
    if hypothesis is None or not hypothesis.has_tone:
        return ""
    tone = hypothesis.built.tone if hypothesis.built is not None else None
    if tone is None:
        return ", with an unnamed tone curve"
    from lutbench.identification.built.parts import LEFT

    settings = ", ".join(
        _setting(each, getattr(tone, each.name))
        for each in parameters(tone)
        if each.name not in LEFT and getattr(tone, each.name) != each.default
    )
    return f", with the tone method {tone.method}" + (f" ({settings})" if settings else "")


def _setting(parameter: Parameter, value: float | str) -> str:
    number = value if isinstance(value, str) else f"{value:.4g} {parameter.unit}".rstrip()
    return f"{parameter.name.replace('_', ' ')} {number}"


def _is_display(hypothesis: Hypothesis | None) -> bool:
    end = hypothesis.target_end if hypothesis else None
    return end is not None and end.curve.curve.family == "display" and not end.curve.rendering


def _curve(best: Candidate) -> str:
    name = best.target.curve
    if name is None:
        return "an unknown curve"
    if "target curve" in best.not_told and _is_display(best.hypothesis):
        return f"a display (assumed: {name})"
    if _is_display(best.hypothesis):
        article = "an" if name[0].lower() in "aeiou" or name.startswith("sRGB") else "a"
        return f"{article} {name} display"
    return f"{name} (uncertain)" if "target curve" in best.not_told else name


def _grey(tone: Tone) -> str:
    text = f"Mid grey lands at {100 * tone.grey_signal:.0f} % (10-bit code {tone.grey_code})"
    if not tone.plain and tone.white_stops is not None:
        text += f", and white is {tone.white_stops:.1f} stops above mid grey"
    return text + "."


def _look(look: Look) -> str:
    phrases = look.description or described(look)
    if not phrases:
        small = look.p95 < SMALL_DELTA_E
        what = "small difference" if small else "difference that is no simple look"
        return f"A {what} remains (ΔE 2000: median {look.median:.1f}, 95 % under {look.p95:.1f})."
    text = f"Adds a look: {', '.join(phrases[:NAMED])}"
    return text + ("; a single CDL describes it." if look.cdl is not None else ".")


def _taken_as_look(look: Look) -> list[str]:
    """What the LUT does to a picture, if no conversion is assumed."""
    if not look.present or not look.description:
        return []
    phrases = ", ".join(look.description[:NAMED])
    if look.cdl is not None:
        return [f"As a grade on the signal, it is a CDL: {phrases}."]
    return [f"As a look on a finished picture: {phrases}."]
