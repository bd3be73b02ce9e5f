"""A split LUT as a recipe: the clean conversion, and the look if it is a CDL."""

from __future__ import annotations

import json

import numpy as np

from lutbench.identification.built.parts import LEFT
from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.base import Curve
from lutbench.model.curves.log import CameraLog
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.curves.video import Power
from lutbench.model.gamuts import Gamut
from lutbench.model.grade import Cdl, Saturation
from lutbench.model.parameter import parameters
from lutbench.model.transforms import Transform
from lutbench.splitting.split import Split
from lutbench.tables.lut import UNIT_DOMAIN

RECIPE = "clean.toml"
DEFINITIONS = "encodings.toml"
TONE = "tone_curve.csv"
"""The file of a tone curve that has no name."""

CDL_KEYS = ("slope", "offset", "power")
LONGEST = 60
"""Characters of a file's name at most."""

LOG_KEYS = (
    "base",
    "log_side_slope",
    "log_side_offset",
    "lin_side_slope",
    "lin_side_offset",
    "lin_side_break",
    "linear_slope",
)


def recipe_files(split_lut: Split, name: str, catalogue: Catalogue) -> dict[str, str]:
    """The texts, by file name, of a recipe for the nearest clean LUT and what it refers to.

    Curves and gamuts that only a user's definitions know are written into a
    definitions file beside the recipe, and so is a tone curve that has no name,
    as a table. Where a CDL explains the look, the recipe builds the LUT with
    its look as well.
    """
    task = split_lut.description
    stem = plain_name(name)
    texts: dict[str, str] = {}
    tables: list[str] = []
    names: dict[int, str] = {}
    for end, side in ((task.source, "source"), (task.target, "target")):
        curve = end.curve
        if _is_known(curve, catalogue):
            continue
        own = f"{stem} tone" if side == "target" and _is_tone(curve, catalogue) else curve.name
        names[id(curve)] = own
        tables += _curve_table(curve, own, side, texts)
    defined: set[str] = set()
    for gamut in (task.source.gamut, task.target.gamut):
        if gamut.name in catalogue.definitions.gamuts and gamut.name not in defined:
            defined.add(gamut.name)
            tables.append(_gamut_table(gamut))
    if tables:
        texts[DEFINITIONS] = "\n".join(tables)
    texts[RECIPE] = _recipe(split_lut, stem, names, DEFINITIONS if tables else "")
    return texts


def recipe_text(split_lut: Split, name: str, catalogue: Catalogue | None = None) -> str:
    """The recipe alone."""
    return recipe_files(split_lut, name, catalogue or Catalogue())[RECIPE]


def plain_name(name: str) -> str:
    """A name that is valid for a file and in a recipe; other characters are replaced."""
    kept = "".join(c if c.isprintable() and c not in '/\\:*?"<>|' else "_" for c in name)
    return kept.strip(" .")[:LONGEST] or "lut"


def _is_tone(curve: Curve, catalogue: Catalogue) -> bool:
    return isinstance(curve, Tabulated) and catalogue.definitions.curves.get(curve.name) != curve


def _is_known(curve: Curve, catalogue: Catalogue) -> bool:
    """Whether the curve is in every catalogue: a standard, or one of the registry."""
    return curve.name not in catalogue.definitions.curves and not _is_tone(curve, catalogue)


def _curve_table(curve: Curve, name: str, side: str, texts: dict[str, str]) -> list[str]:
    head = f"[curves.{_quoted(name)}]"
    if isinstance(curve, Tabulated):
        file = TONE if name != curve.name else f"{side}_curve.csv"
        rows = zip(curve.light, curve.signal, strict=True)
        texts[file] = "light,signal\n" + "".join(f"{x!r},{y!r}\n" for x, y in rows)
        return [f'{head}\nkind = "table"\nfile = {_quoted(file)}\n']
    if isinstance(curve, CameraLog):
        values = [(key, getattr(curve, key)) for key in LOG_KEYS]
        lines = "".join(f"{key} = {float(v)!r}\n" for key, v in values if v is not None)
        return [f'{head}\nkind = "log"\n{lines}']
    if isinstance(curve, Power):
        return [f'{head}\nkind = "power"\ngamma = {float(curve.gamma)!r}\n']
    return []


def _gamut_table(gamut: Gamut) -> str:
    points = ", ".join(f"[{x!r}, {y!r}]" for x, y in gamut.primaries)
    x, y = gamut.white
    return f"[gamuts.{_quoted(gamut.name)}]\nprimaries = [{points}]\nwhite = [{x!r}, {y!r}]\n"


def _recipe(split_lut: Split, stem: str, names: dict[int, str], definitions: str) -> str:
    task = split_lut.description
    blocks = ["# The nearest clean conversion to a LUT that was split.\n"]
    if split_lut.recipe is not None:
        blocks = ["# The recipe of a LUT, recovered from it: it builds that LUT to its rounding.\n"]
    look = _look(task.grade, task.grade_place)
    if split_lut.cdl and not look:
        look = _look((split_lut.cdl,), "after")
    if look:
        blocks[0] += (
            "# The look is a CDL: the second LUT has it, and equals the LUT for colours in gamut.\n"
            if split_lut.recipe is None
            else "# The second LUT includes the look.\n"
        )
    if definitions:
        blocks.append(f"definitions = {_quoted(definitions)}\n")
    blocks.append(_side("source", task.source, names))
    blocks.append(_side("target", task.target, names))
    blocks += [*_gamut(task), *_white_balance(task), *_tone(task)]
    blocks.append(_lut(split_lut, f"{stem}_clean", ""))
    if look:
        blocks.append(_lut(split_lut, f"{stem}_with_look", look))
    return "\n".join(blocks)


def _gamut(task: Conversion) -> list[str]:
    if task.kind == "curve":
        return []
    method = ""
    if task.compression:
        c = task.compression
        method = f'method = "compress"\nthresholds = {list(c.thresholds)}\n'
        method += f"limits = {list(c.limits)}\npower = {c.power!r}\n"
    if task.mapping:
        method = f'method = "map"\nknee = {task.mapping.knee!r}\n'
    return [f"[gamut]\n{method}adaptation = {_quoted(task.adaptation)}\n"]


def _white_balance(task: Conversion) -> list[str]:
    if task.white_balance is None:
        return []
    return [f"[white_balance]\ngains = {np.diag(task.white_balance.array).tolist()}\n"]


def _tone(task: Conversion) -> list[str]:
    """The tone with the settings that do not follow from source and target."""
    if task.tone is None:
        return []
    mapper = type(task.tone)
    own = {each.name: getattr(task.tone, each.name) for each in parameters(mapper)}
    usual = {each.name: each.default for each in parameters(mapper)}
    given = {key: value for key, value in own.items() if value != usual[key] and key not in LEFT}
    if mapper.between(task.source, task.target, task.exposure, **given) != task.tone:
        given = own
    lines = [f"{key} = {json.dumps(value)}\n" for key, value in given.items()]
    return [f'[tone]\nmethod = "{mapper.method}"\n{"".join(lines)}']


def _look(grade: tuple[Transform, ...], place: str) -> str:
    """The value of a look in a recipe; empty where there is none."""
    parts = [] if place == "after" else [f'place = "{place}"']
    for step in grade:
        if isinstance(step, Cdl):
            triples = [f"{key} = {list(getattr(step, key))}" for key in CDL_KEYS]
            triples += [f"saturation = {step.saturation!r}"]
            triples += [] if step.clamp else ["clamp = false"]
            parts.append(f"cdl = {{ {', '.join(triples)} }}")
        elif isinstance(step, Saturation):
            parts.append(f"saturation = {step.amount!r}")
    return f"look = {{ {', '.join(parts)} }}" if grade else ""


def _side(key: str, encoding: Encoding, names: dict[int, str]) -> str:
    curve = names.get(id(encoding.curve), encoding.curve.name)
    display = f"display_peak = {encoding.display.peak!r}\n" if encoding.display else ""
    return (
        f"[{key}]\ncurve = {_quoted(curve)}\ngamut = {_quoted(encoding.gamut.name)}\n"
        f'range = "{encoding.range}"\n{display}'
    )


def _lut(split_lut: Split, name: str, look: str) -> str:
    task: Conversion = split_lut.description
    frame = split_lut.frame
    lines = [
        "[[lut]]",
        f"name = {_quoted(name)}",
        f'kind = "{task.kind}"',
        f"exposure = {task.exposure!r}",
    ]
    if not task.clamp:
        lines.append("clamp = false")
    if task.as_found:
        lines.append("as_found = true")
    low, high = float(frame.outer[0].min()), float(frame.outer[1].max())
    if frame.rows and not look and task.kind == "curve" and (low, high) == (0.0, 1.0):
        lines += ["dimensions = 1", f"size = {frame.rows}"]
    else:
        lines.append(f"size = {frame.size}")
        if (frame.outer != UNIT_DOMAIN).any():
            # In a recipe, a domain other than 0..1 needs a straight shaper.
            lines.append(f'shaper = {{ curve = "linear", low = {low!r}, high = {high!r} }}')
    lines += [look] if look else []
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
