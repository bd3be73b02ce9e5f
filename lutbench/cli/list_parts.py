"""``lutbench list tones`` and ``lutbench list mappings``: parts by name, with their settings."""

from __future__ import annotations

from typing import Any

from lutbench.cli.options import console

LIGHT_WORDS = {"display": "display, cd/m²", None: "scene or display, as source and target require"}

CLIP_SAYS = "light brighter than white is clipped"


def tone_rows() -> list[dict[str, Any]]:
    """The tone mappers as plain data."""
    from lutbench.model.parameter import parameters
    from lutbench.model.tone import tone_mapper, tone_names

    rows = []
    for name in tone_names():
        mapper = tone_mapper(name)
        rows.append(
            {
                "name": name,
                "says": mapper.says if mapper else CLIP_SAYS,
                "light": mapper.side if mapper else None,
                "settings": [each.to_data() for each in parameters(mapper)] if mapper else [],
            }
        )
    return rows


def mapping_rows() -> list[dict[str, Any]]:
    """The ways to treat colours outside the target gamut, as plain data."""
    from lutbench.model.compression import GamutCompression
    from lutbench.model.gamut_map import GamutMapping
    from lutbench.model.parameter import parameters

    mappings: list[tuple[str, str, Any]] = [
        ("clip", "each channel is clipped at black and white", None),
        ("compress", GamutCompression.says, GamutCompression),
        ("map", GamutMapping.says, GamutMapping),
    ]
    return [
        {
            "name": name,
            "says": says,
            "settings": [each.to_data() for each in parameters(part)] if part else [],
        }
        for name, says, part in mappings
    ]


def print_parts(what: str, rows: list[dict[str, Any]]) -> None:
    """Print each part with its settings, their defaults and limits."""
    from rich.padding import Padding

    from lutbench.cli.tables import FittedTable

    screen = console()
    for row in rows:
        light = f" (light: {LIGHT_WORDS[row['light']]})" if "light" in row else ""
        screen.print(f"{row['name']}: {row['says']}{light}", soft_wrap=True)
        table = FittedTable(box=None, pad_edge=False, show_header=False)
        for width in (14, 22, None):
            table.add_column(min_width=width, overflow="fold")
        for each in row["settings"]:
            table.add_row(each["name"], _plain(each["default"]), _range_words(each))
        if row["settings"]:
            screen.print(Padding(table, (0, 0, 0, 4)))
    key = {"tones": "tone", "mappings": "gamut"}[what]
    fitted = ' Peaks, whites and "above" are fitted to source and target unless you give them.'
    screen.print(
        f"\nEach is shown with its settings, their defaults and limits. In a recipe: [{key}] with "
        f'method = "NAME"; as an option: --{key} "NAME setting=value".'
        + (fitted if what == "tones" else ""),
        style="dim",
    )


def _range_words(setting: dict[str, Any]) -> str:
    if setting["limits"] is None:
        return ", ".join(setting["accepted"])
    low, high = setting["limits"]
    return f"{low:g} to {high:g} {setting['unit'] or ''}".rstrip()


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(f"{each:g}" for each in value)
    return f"{value:g}" if isinstance(value, int | float) else str(value)
