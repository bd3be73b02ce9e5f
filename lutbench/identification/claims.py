"""What a file says about itself, checked against its table: claims of title and comments.

The comments of a LUT from a recipe give its whole conversion; a title usually names two ends,
"X to Y". A claim is ``so``, ``not so``, or ``open`` where the LUT does not show it. Text from a
file is never repeated: only known names, and values read from fixed forms.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from lutbench.errors import LutbenchError
from lutbench.identification.common import EXACT, STOPS
from lutbench.identification.knowledge import Knowledge
from lutbench.identification.result import Candidate, Identification
from lutbench.identification.samples import CODES, Samples
from lutbench.model.catalogue import Catalogue
from lutbench.model.compression import GamutCompression
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.tone.shoulder import ToneCurve
from lutbench.model.transforms import Transform

Verdict = Literal["so", "not so", "open"]

LONGEST = 300
"""Characters of a line that are read: a longer one holds no claim."""

MOST_LINES = 100
"""Lines of comments that are read, so that a long file costs no time."""

USUAL = ("combined", "+0 stops")
"""Claims that are not repeated where they are true: they say nothing new."""

END = re.compile(
    r"(source|target): curve (.+?)(?:, gamut (.+?))?, (full|legal) range(?: for (\d+) bit)?"
    r"(?P<more>, .+)?"
)
LINE = re.compile(r"(kind|exposure|white balance|gamut|tone|grade [^:]*): (.+)")
EXPOSURE = re.compile(r"([+-][0-9.]+) stops")
CLIPPED = re.compile(r"(clipped|compressed), adaptation (\w+)")
NUMBER = r"([+-]?[0-9.]+(?:e[+-]?[0-9]+)?)"
SHOULDER = re.compile(
    rf"shoulder, mid grey {NUMBER} to {NUMBER}, contrast {NUMBER}, shoulder from {NUMBER} stops, "
    rf"white at {NUMBER} stops, toe {NUMBER} from {NUMBER} stops"
)


@dataclass(frozen=True)
class Claim:
    """One claim about a part: what the file says, the verdict, and what the LUT shows."""

    part: str
    says: str
    verdict: Verdict
    shows: str = ""

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "part": self.part,
            "says": self.says,
            "verdict": self.verdict.replace(" ", "_"),
            "shows": self.shows or None,
        }


@dataclass(frozen=True)
class Said:
    """The claims as read: names and numbers by part; the whole conversion if it is complete."""

    parts: dict[str, str]
    whole: Conversion | None = None


def claims_of(
    lut: Transform,
    samples: Samples,
    found: Identification,
    knowledge: Knowledge,
    catalogue: Catalogue,
) -> tuple[Claim, ...]:
    """The claims of a LUT's comments, or else of its title, each with its verdict."""
    lines = [str(line)[:LONGEST] for line in getattr(lut, "comments", ())[:MOST_LINES]]
    said = _of_comments(lines, catalogue)
    if not said.parts:
        title = str(getattr(lut, "title", "") or "")[:LONGEST]
        said = Said(dict(_of_title(title, knowledge)))
    if said.whole is not None and _is_so(said.whole, samples):
        return tuple(Claim(part, name, "so") for part, name in said.parts.items())
    return tuple(_judged(part, name, found) for part, name in said.parts.items())


def in_words(claims: Sequence[Claim]) -> str:
    """The claims in a sentence for each verdict; nothing where there are none."""
    sentences = [
        f"The file says {each.part} {each.says}, but the table does not agree"
        + (f": it shows {each.shows}." if each.shows else ".")
        for each in claims
        if each.verdict == "not so"
    ]
    for verdict, words in (
        ("so", "and the table agrees"),
        ("open", "the table cannot confirm this"),
    ):
        phrase = _listed([each for each in claims if each.verdict == verdict])
        sentences += [f"The file says {phrase}; {words}."] if phrase else []
    return " ".join(sentences)


def _listed(claims: Sequence[Claim]) -> str:
    """The claims in words: from source to target, then the rest."""
    phrases: list[str] = []
    for side, word in (("source", "from"), ("target", "to")):
        mine = {each.part.partition(" ")[2]: each.says for each in claims if _side(each) == side}
        names = [mine[key] for key in ("curve", "gamut", "") if key in mine]
        names += [f"{mine['range']} range"] if "range" in mine else []
        if names:
            phrases.append(f"{word if phrases else f'it goes {word}'} {', '.join(names)}")
    rest = [
        f"{each.part} {each.says}" for each in claims if not _side(each) and each.says not in USUAL
    ]
    return ", ".join(filter(None, [" ".join(phrases), *rest]))


def _side(claim: Claim) -> str:
    side = claim.part.partition(" ")[0]
    return side if side in ("source", "target") else ""


def _of_comments(lines: Sequence[str], catalogue: Catalogue) -> Said:
    """The claims in the comments of a LUT from a recipe."""
    parts: dict[str, str] = {}
    settings: dict[str, str] = {}
    plain = True
    for line in lines:
        if end := END.fullmatch(line.strip()):
            side, curve, gamut, name, _ = end.groups()[:5]
            parts |= {f"{side} curve": curve, f"{side} range": name}
            parts |= {f"{side} gamut": gamut} if gamut else {}
            plain &= end["more"] is None and end[5] in (None, "10")
        elif found := LINE.fullmatch(line.strip()):
            settings[found[1]] = found[2]
    if "source curve" not in parts or "target curve" not in parts:
        return Said({})
    if settings.get("kind") in ("combined", "curve", "gamut"):
        parts["kind"] = settings["kind"]
    if exposure := EXPOSURE.fullmatch(settings.get("exposure", "")):
        parts["exposure"] = f"{float(exposure[1]):+g} stops"
    known = _known(parts, catalogue)
    return Said(known, _conversion(known, settings, catalogue) if plain else None)


def _known(parts: dict[str, str], catalogue: Catalogue) -> dict[str, str]:
    """The parts with their names in the catalogue; unknown names are left out."""
    known = {}
    for part, name in parts.items():
        try:
            if part.endswith("curve"):
                name = catalogue.curve(name, exact=False).name
            elif part.endswith("gamut"):
                name = catalogue.gamut(name).name
        except LutbenchError:
            continue
        known[part] = name
    return known


def _conversion(
    parts: dict[str, str], settings: dict[str, str], catalogue: Catalogue
) -> Conversion | None:
    """The conversion that comments describe; None where part of it cannot be read."""
    tone = settings.get("tone", "clip")
    shoulder = SHOULDER.fullmatch(tone)
    gamut = CLIPPED.fullmatch(settings.get("gamut", "clipped, adaptation bradford"))
    more = [key for key in settings if key == "white balance" or key.startswith("grade")]
    if more or gamut is None or (tone != "clip" and shoulder is None):
        return None
    try:
        source, target = (
            Encoding(
                catalogue.curve(parts[f"{side} curve"], exact=False),
                catalogue.gamut(parts.get(f"{side} gamut", "BT.709")),
                parts[f"{side} range"],  # type: ignore[arg-type]
            )
            for side in ("source", "target")
        )
        return Conversion(
            source,
            target,
            kind=parts.get("kind", "combined"),  # type: ignore[arg-type]
            exposure=float(parts.get("exposure", "0").split()[0]),
            adaptation=gamut[2],
            compression=GamutCompression() if gamut[1] == "compressed" else None,
            tone=_shoulder(shoulder) if shoulder else None,
        )
    except (LutbenchError, KeyError, ValueError):
        return None


def _shoulder(found: re.Match[str]) -> ToneCurve:
    grey_in, grey_out, contrast, start, white, toe, toe_start = map(float, found.groups())
    return ToneCurve(
        grey_in, grey_out, contrast, white, shoulder_start=start, toe_start=toe_start, toe=toe
    )


def _is_so(said: Conversion, samples: Samples) -> bool:
    """Whether the table agrees with the conversion at its nodes."""
    try:
        with np.errstate(all="ignore"):
            given = np.asarray(said.pipeline().apply(samples.nodes))
    except LutbenchError:
        return False
    off = np.abs(samples.held(given) - samples.table)
    return bool(np.isfinite(off).all() and np.percentile(off, 99) * CODES <= EXACT)


def _of_title(title: str, knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    """The names around the word "to" in a title, by side: curves, gamuts, or either."""
    before, to, after = f" {title.casefold()} ".partition(" to ")
    if not to:
        return
    curves = {name: name for each in knowledge.classes for name in each.names}
    gamuts = {
        name: each.name for each in knowledge.bank.gamuts for name in (each.name, *each.aliases)
    }
    names = sorted({*curves, *gamuts}, key=len, reverse=True)
    for side, text in (("source", before), ("target", after)):
        for name in names:
            if len(name) < 3 or name.casefold() not in text:
                continue
            pattern = rf"(?<![\w.]){re.escape(name.casefold())}(?![\w])"
            if not re.search(pattern, text):
                continue
            # A longer name is removed, so that a shorter one within it is not found.
            text = re.sub(pattern, " ", text)
            is_both = name in curves and name in gamuts
            part = side if is_both else f"{side} curve" if name in curves else f"{side} gamut"
            yield part, name


def _judged(part: str, name: str, found: Identification) -> Claim:
    """The verdict on a claim, by what the identification found."""
    best = found.best
    if part == "kind":
        sure = found.confidence in ("high", "medium")
        verdict: Verdict = "so" if found.kind == name else "not so" if sure else "open"
        return Claim(part, name, verdict, found.kind if verdict == "not so" else "")
    if best is None:
        return Claim(part, name, "open")
    if part == "exposure":
        return _exposure(name, best, found)
    kinds = [part] if " " in part else [f"{part} curve", f"{part} gamut"]
    if any(name.casefold() in _names(best, each) for each in kinds):
        return Claim(part, name, "so" if _is_sure(best, kinds[0]) else "open")
    found_names = [n for each in kinds if _is_sure(best, each) and (n := best.name_of(each))]
    if len(found_names) < len(kinds):
        return Claim(part, name, "open")
    return Claim(part, name, "not so", " and ".join(found_names))


def _exposure(name: str, best: Candidate, found: Identification) -> Claim:
    stops = [best.exposure_stops, *best.exposures.values()]
    known = best.hypothesis is not None and best.hypothesis.built is not None
    if found.tone is not None and not found.tone.plain and not known:
        return Claim("exposure", name, "open")
    if any(abs(each - float(name.split()[0])) <= STOPS for each in stops):
        return Claim("exposure", name, "so")
    verdict: Verdict = "not so" if found.confidence == "high" else "open"
    shows = f"{best.exposure_stops:+.2f} stops" if verdict == "not so" else ""
    return Claim("exposure", name, verdict, shows)


def _is_sure(best: Candidate, part: str) -> bool:
    return best.certainty.get(part) in ("sure", "likely")


def _names(best: Candidate, part: str) -> set[str]:
    """The name of a part and its equally good alternatives, in lower case."""
    others = getattr(best.same_as, part.replace(" ", "_"), ())
    return {each.casefold() for each in (best.name_of(part) or "", *others)}
