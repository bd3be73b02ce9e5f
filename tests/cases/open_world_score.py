"""How right the answers of `identify` are, from its public report alone.

A part of the conversion that the LUT can tell is *right*, *wrong*, or *untold*: not
named, or said not to be told. A guess is a name that is shown, so a wrong guess counts
as wrong. A name is right when it stands for the same function (curves, up to the
scale of light) or the same primaries as the truth. A tie that names the truth among
three functions or fewer is right; among more it is untold.

Parts that have no name count by themselves: whoever names one is wrong. So do parts
that a LUT cannot tell in principle, whatever is said of them, unless it is said to be
sure and is not so.
"""

from __future__ import annotations

import time
import tomllib
from dataclasses import asdict, dataclass, field, replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from open_world.case import PARTS, Case
from open_world.spaces import same_curve

from lutbench.errors import LutbenchError
from lutbench.model.catalogue import Catalogue, open_catalogue

SURE, LIKELY, GUESS, NOTHING = "sure", "likely", "a guess", "not told"
WORDS = {"high": SURE, "medium": LIKELY, "low": GUESS}
"""What the report calls its confidence in the whole, as the words that it has for a part."""

MANY = 3
"""A tie of more functions than this tells nothing."""

STOPS = 0.02
"""Exposures nearer than this are alike: a sixtieth of a stop cannot be seen."""


@dataclass(frozen=True)
class Outcome:
    """What became of one case; plain data, so that it can be kept in a file."""

    family: str
    seed: int
    parts: dict[str, str] = field(default_factory=dict)
    """``right``, ``wrong`` or ``untold`` for each part that the LUT can tell."""
    nameless: dict[str, str] = field(default_factory=dict)
    """For each part without a name in the catalogue: the word of who named it all the same."""
    open_wrong: tuple[str, ...] = ()
    """Parts that cannot be told, said to be sure, and wrong."""
    words: dict[str, str] = field(default_factory=dict)
    seconds: float = 0.0
    fault: str = ""
    """``crash: …`` or ``refused: …`` where there was no answer."""
    recovered: tuple[int, int] | None = None
    """Parameters of the own recipe that `split` gives back, of how many."""
    light_error: float | None = None
    primaries_error: float | None = None
    timed: bool = True

    def to_data(self) -> dict[str, Any]:
        """Plain data, for JSON."""
        return asdict(self)


def judge(case: Case, seed: int = 0, *, recipes: bool = False) -> Outcome:
    """Ask `identify` about a case and hold its report against the truth.

    With `recipes` the LUTs of the project's own builder are split too, and the
    parameters of the recipe that comes back are counted.
    """
    import lutbench

    lut = case.lut
    catalogue = Catalogue(without=case.without) if case.without else open_catalogue(user=False)
    started = time.process_time()
    try:
        found = lutbench.identify(lut, catalogue=catalogue)
    except LutbenchError as error:
        return Outcome(case.family, seed, fault=f"refused: {error}")
    except Exception as error:
        return Outcome(case.family, seed, fault=f"crash: {type(error).__name__}: {error}")
    seconds = time.process_time() - started
    outcome = score(case, found.to_data(), seed, seconds)
    if recipes and case.recipe:
        outcome = replace(outcome, recovered=recovered(case))
    return outcome if case.without else with_measured(case, outcome)


def score(case: Case, report: dict[str, Any], seed: int = 0, seconds: float = 0.0) -> Outcome:
    """The outcome of a report (what `--json` prints) on a case."""
    truth = case.truth
    parts, words, nameless, open_wrong = {}, {}, {}, []
    for part in PARTS:
        name, ties, word = said(report, part)
        words[part] = word
        if part in truth.unnamed:
            nameless[part] = word
        elif part in truth.open_parts:
            if word == SURE and verdict(part, truth.names(part), name, ties, word) == "wrong":
                open_wrong.append(part)
        elif truth.names(part):
            parts[part] = verdict(part, truth.names(part), name, ties, word)
    for part, right, word in _whole(case, report):
        parts[part] = "right" if right else "untold" if word in (GUESS, NOTHING) else "wrong"
        words[part] = word
    return Outcome(
        case.family,
        seed,
        parts,
        nameless,
        tuple(open_wrong),
        words,
        seconds,
        timed=not case.without,
    )


def said(report: dict[str, Any], part: str) -> tuple[str, list[str], str]:
    """The name that the best candidate gives a part, what ties with it, and how sure it is."""
    candidates = report.get("candidates") or []
    if not candidates:
        return "", [], NOTHING
    best = candidates[0]
    end, _, key = part.partition("_")
    name = (best.get(end) or {}).get(key) or ""
    word = (best.get("certainty") or {}).get(part, NOTHING)
    return str(name), list((best.get("same_as") or {}).get(part, [])), word


def verdict(part: str, truth: tuple[str, ...], name: str, ties: list[str], word: str) -> str:
    """``right``, ``wrong`` or ``untold``."""
    if word == NOTHING:
        return "untold"
    if any(same(part, each, name) for each in truth):
        return "right"
    tied = any(same(part, each, other) for each in truth for other in ties)
    if not tied:
        return "wrong"
    return "right" if _functions(part, [name, *ties]) <= MANY else "untold"


def same(part: str, first: str, second: str) -> bool:
    """Whether two names of a part stand for the same thing."""
    if first == second:
        return True
    if part.endswith("range"):
        return False
    try:
        if part.endswith("curve"):
            return same_curve(first, second)
        gamuts = open_catalogue(user=False)
        return gamuts.gamut(first).same_as(gamuts.gamut(second))
    except LutbenchError:
        return False


def _functions(part: str, names: list[str]) -> int:
    """How many different things the names stand for."""
    different: list[str] = []
    for name in names:
        if not any(same(part, name, other) for other in different):
            different.append(name)
    return len(different)


def _whole(case: Case, report: dict[str, Any]) -> list[tuple[str, bool, str]]:
    """Kind, look and exposure: whether right, and how sure."""
    truth = case.truth
    best = (report.get("candidates") or [{}])[0]
    word = WORDS.get(str(best.get("confidence")), NOTHING)
    found = []
    if truth.kind is not None:
        found.append(("kind", report.get("kind") == truth.kind, word))
    if truth.look is not None:
        present = bool((report.get("look") or {}).get("present"))
        found.append(("look", present == truth.look, word))
    stops = best.get("exposure_stops")
    if truth.exposure is not None and "exposure" not in truth.open_parts and stops is not None:
        found.append(("exposure", _right_exposure(case, best, float(stops)), word))
    return found


def _right_exposure(case: Case, best: dict[str, Any], stops: float) -> bool:
    """Exposure counts in the scale of light of the curves that were named: theirs, or a tie's."""
    scaled = [stops, *map(float, (best.get("exposure_in_scale_of") or {}).values())]
    return any(abs(each - (case.truth.exposure or 0.0)) <= STOPS for each in scaled)


@cache
def _writes_definitions() -> bool:
    from lutbench.cli.identify import command

    return any("--definitions-out" in each.opts for each in command.params)


def with_measured(case: Case, outcome: Outcome) -> Outcome:
    """The outcome with how far the measured curve and primaries are off, where they are written."""
    if (case.hidden_curve is None and case.hidden_gamut is None) or not _writes_definitions():
        return outcome
    from click.testing import CliRunner

    from lutbench.cli.identify import command
    from lutbench.model.definitions import read_definitions

    with TemporaryDirectory() as folder:
        file, out = Path(folder, "lut.cube"), Path(folder, "found.toml")
        file.write_bytes(case.text)
        CliRunner().invoke(command, [str(file), "--definitions-out", str(out)])
        if not out.exists():
            return outcome
        found = read_definitions(out)
        curves = found.curves.values() if case.hidden_curve is not None else ()
        gamuts = found.gamuts.values() if case.hidden_gamut is not None else ()
        light = [_light_error(case, each) for each in curves]
        points = [_primaries_error(case, each) for each in gamuts]
    return replace(
        outcome,
        light_error=min(light, default=None),
        primaries_error=min(points, default=None),
    )


def _light_error(case: Case, curve: Any) -> float:
    """The median error of light, relative, within four stops of grey, without its scale."""
    assert case.hidden_curve is not None
    signal = np.linspace(0.02, 0.98, 400)
    truth = case.hidden_curve(signal)
    inside = (truth > 0.18 / 16) & (truth < 0.18 * 16)
    ratio = curve.decode(signal[inside]) / truth[inside]
    return float(np.median(np.abs(ratio / np.median(ratio) - 1)))


def _primaries_error(case: Case, gamut: Any) -> float:
    """The largest distance of a coordinate in xy."""
    assert case.hidden_gamut is not None
    return float(np.abs(np.array(gamut.primaries) - case.hidden_gamut[:3]).max())


def recovered(case: Case) -> tuple[int, int]:
    """How many numbers of a case's recipe come back from `split` within 1 %, of how many."""
    from click.testing import CliRunner

    from lutbench.cli.split import command

    with TemporaryDirectory() as folder:
        file, parts = Path(folder, "lut.cube"), Path(folder, "parts")
        file.write_bytes(case.text)
        CliRunner().invoke(command, [str(file), "-o", str(parts)])
        texts = [each.read_text(encoding="utf-8") for each in parts.glob("*.toml")]
    return compared(case.recipe, next((each for each in texts if "[[lut]]" in each), ""))


def compared(asked: str, given: str) -> tuple[int, int]:
    r"""How many numbers of a recipe another one has within 1 %, of how many.

    >>> compared("exposure = 1.0\n[tone]\ncontrast = 1.1", "[tone]\ncontrast = 1.105")
    (1, 2)
    """
    truth, found = (_numbers(tomllib.loads(text)) for text in (asked, given))
    near = [
        key
        for key, value in truth.items()
        # A number near 0 counts as a tenth: an offset of 0.001 is a code.
        if key in found and abs(found[key] - value) <= 0.01 * max(abs(value), 0.1)
    ]
    return len(near), len(truth)


NO_SETTINGS = ("lut", "size", "dimensions", "display_peak")
"""What is read elsewhere, what the file itself shows, and what changes no value of most LUTs."""


def _numbers(value: Any, where: str = "") -> dict[str, float]:
    """The numbers of a recipe by their keys; what a LUT says lies over what all say."""
    if isinstance(value, dict):
        ones = value.get("lut", [])
        plain = {key: each for key, each in value.items() if key not in NO_SETTINGS}
        found = [_numbers(each, f"{where}.{key}" if where else key) for key, each in plain.items()]
        found += [_numbers(each) for each in ones]
        return {key: number for each in found for key, number in each.items()}
    if isinstance(value, list):
        numbered = [_numbers(each, f"{where}.{index}") for index, each in enumerate(value)]
        return {key: number for each in numbered for key, number in each.items()}
    usable = isinstance(value, int | float) and not isinstance(value, bool)
    return {where: float(value)} if usable else {}
