"""A split LUT as a recipe: the clean conversion, and the look where a CDL says it."""

from __future__ import annotations

import json

from lutbench.model.catalogue import Catalogue
from lutbench.model.conversion import Conversion, Encoding
from lutbench.model.curves.base import Curve
from lutbench.model.curves.log import CameraLog
from lutbench.model.curves.tabulated import Tabulated
from lutbench.model.curves.video import Power
from lutbench.model.gamuts import Gamut
from lutbench.model.grade import Cdl
from lutbench.splitting.split import Split
from lutbench.tables.lut import UNIT_DOMAIN

RECIPE = "clean.toml"
DEFINITIONS = "encodings.toml"
TONE = "tone_curve.csv"
"""The file of a tone curve that has no name."""

LONGEST = 60
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
    its look too.
    """
    task = split_lut.conversion
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
    """A name that a file and a recipe can bear: what cannot be printed is left out."""
    kept = "".join(c if c.isprintable() and c not in '/\\:*?"<>|' else "_" for c in name)
    return kept.strip(" .")[:LONGEST] or "lut"


def _is_tone(curve: Curve, catalogue: Catalogue) -> bool:
    return isinstance(curve, Tabulated) and catalogue.definitions.curves.get(curve.name) != curve


def _is_known(curve: Curve, catalogue: Catalogue) -> bool:
    """Whether every catalogue knows the curve: a standard or one of the registry."""
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
    task = split_lut.conversion
    blocks = ["# The nearest clean conversion of a LUT that was taken apart.\n"]
    if split_lut.cdl:
        blocks[0] += (
            "# The look is a CDL, so the second LUT is the whole again, for colours in gamut.\n"
        )
    if definitions:
        blocks.append(f"definitions = {_quoted(definitions)}\n")
    blocks.append(_side("source", task.source, names))
    blocks.append(_side("target", task.target, names))
    if task.kind != "curve":
        method = 'method = "compress"\n' if task.compression else ""
        if task.compression:
            c = task.compression
            method += f"thresholds = {list(c.thresholds)}\nlimits = {list(c.limits)}\n"
            method += f"power = {c.power!r}\n"
        blocks.append(f"[gamut]\n{method}adaptation = {_quoted(task.adaptation)}\n")
    blocks.append(_lut(split_lut, f"{stem}_clean", None))
    if split_lut.cdl:
        blocks.append(_lut(split_lut, f"{stem}_with_look", split_lut.cdl))
    return "\n".join(blocks)


def _side(key: str, encoding: Encoding, names: dict[int, str]) -> str:
    curve = names.get(id(encoding.curve), encoding.curve.name)
    return (
        f"[{key}]\ncurve = {_quoted(curve)}\ngamut = {_quoted(encoding.gamut.name)}\n"
        f'range = "{encoding.range}"\n'
    )


def _lut(split_lut: Split, name: str, cdl: Cdl | None) -> str:
    task: Conversion = split_lut.conversion
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
    if frame.rows and not cdl and task.kind == "curve" and (low, high) == (0.0, 1.0):
        lines += ["dimensions = 1", f"size = {frame.rows}"]
    else:
        lines.append(f"size = {frame.size}")
        if (frame.outer != UNIT_DOMAIN).any():
            # A straight shaper: the recipe's way to a domain of its own.
            lines.append(f'shaper = {{ curve = "linear", low = {low!r}, high = {high!r} }}')
    if cdl:
        triples = ", ".join(
            f"{key} = {list(getattr(cdl, key))}" for key in ("slope", "offset", "power")
        )
        clamp = "" if cdl.clamp else ", clamp = false"
        lines.append(f"look = {{ cdl = {{ {triples}, saturation = {cdl.saturation!r}{clamp} }} }}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
