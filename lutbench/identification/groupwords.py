"""The aspect in which the LUTs of a group differ, in a few words for each LUT."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from lutbench.identification.result import Candidate, Identification


def details_of(members: Sequence[Identification], free: Sequence[str]) -> tuple[str, ...]:
    """A phrase for each member; empty phrases where nothing differs."""
    return tuple(", ".join(filter(None, (_WORDS[each](one) for each in free))) for one in members)


def _end(best: Candidate | None, side: str) -> str:
    if best is None:
        return ""
    end = getattr(best, side)
    return " ".join(filter(None, [end.curve, end.gamut]))


def _range(found: Identification, side: str) -> str:
    return "" if found.best is None else f"{side} in {getattr(found.best, side).range} range"


def _exposure(found: Identification) -> str:
    if found.tone is not None:
        return f"mid grey at {100 * found.tone.grey_signal:.1f} %"
    return "" if found.best is None else f"{found.best.exposure_stops:+.2f} stops"


def _tone(found: Identification) -> str:
    tone = found.tone
    if tone is None:
        return ""
    if tone.plain:
        return "the target's own curve"
    contrast = f"contrast {tone.contrast:.2f}, " if tone.contrast is not None else ""
    return f"{contrast}white at {100 * tone.white_signal:.0f} %"


def _look(found: Identification) -> str:
    if not found.look.present:
        return "no look"
    return found.look.description[0] if found.look.description else "a look"


def _size(found: Identification) -> str:
    samples = found.samples
    if samples is None:
        return ""
    return f"{len(samples.neutral_in)} {'rows' if samples.one_d else 'nodes'}"


_WORDS: dict[str, Callable[[Identification], str]] = {
    "source": lambda found: _end(found.best, "source"),
    "target": lambda found: _end(found.best, "target"),
    "source range": lambda found: _range(found, "source"),
    "target range": lambda found: _range(found, "target"),
    "exposure": _exposure,
    "size": _size,
    "look": _look,
    "tone": _tone,
}
