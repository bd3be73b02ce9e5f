"""``lutbench list``: the curves, gamuts, tones and gamut mappings that are known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import (
    catalogue_of,
    console,
    definitions_option,
    json_option,
    print_json,
)

if TYPE_CHECKING:
    from lutbench.model.catalogue import Entry
    from lutbench.model.curves.base import Curve


@click.command()
@click.argument("what", type=click.Choice(["curves", "gamuts", "tones", "mappings"]))
@click.option(
    "--long", is_flag=True, help="Print each gamut on a line, with its primaries and white."
)
@definitions_option
@json_option
def command(what: str, long: bool, definitions: tuple[str, ...], as_json: bool) -> None:
    """List the names that other commands take: curves and gamuts (standard, your own,
    registered), tones, and mappings of colours outside a gamut.

    A curve shows its family, the signal of mid grey (18 %) in percent of full
    range, and how many stops over mid grey it clips. A registered curve that
    cannot be used is listed with the reason. Tones and mappings show their
    settings, with defaults and limits. Gamuts are grouped by origin.

    \b
    Example:
      lutbench list curves
      lutbench list tones
    """
    if what in ("tones", "mappings"):
        from lutbench.cli import list_parts

        parts = list_parts.tone_rows() if what == "tones" else list_parts.mapping_rows()
        if as_json:
            print_json({what: parts})
        else:
            list_parts.print_parts(what, parts)
        return
    catalogue = catalogue_of(definitions)
    if what == "curves":
        rows = [_curve_data(entry) for entry in catalogue.curves(exact=False)]
    else:
        rows = [_gamut_data(entry) for entry in catalogue.gamuts()]
    if as_json:
        print_json({what: rows})
    elif what == "curves":
        _print_curves(rows)
    elif long:
        _print_gamuts(rows)
    else:
        _print_gamut_names(rows)


def _curve_data(entry: Entry) -> dict[str, Any]:
    from math import log2

    data: dict[str, Any] = {
        "name": entry.name,
        "aliases": list(entry.aliases),
        "origin": entry.origin,
        "usable": not entry.unusable,
        "reason": entry.unusable or None,
        "family": None,
        "source": None,
        "codes": None,
        "light": None,
        "note": None,
        "mid_grey_signal": None,
        "black_signal": None,
        "white_signal": None,
        "clip_stops": None,
        "falls": None,
    }
    if (curve := entry.curve) is not None:
        data |= {"family": curve.family, "source": curve.source, "note": curve.note or None}
        data |= {"codes": curve.codes, "light": curve.kind_of_light.to_data()}
        if not entry.unusable:
            black, grey, white = curve.encode([0.0, 0.18, 1.0]).tolist()
            data |= {
                "mid_grey_signal": grey,
                "black_signal": black,
                "white_signal": white,
                "clip_stops": log2(curve.clip / 0.18),
                "falls": _falls(entry, curve) or None,
            }
    return data


def _falls(entry: Entry, curve: Curve) -> str:
    """Where the curve falls, in words; a curve of this package never does (a test says so)."""
    if entry.origin == "standard":
        return ""
    from lutbench.model.curves.usable import falls
    from lutbench.model.registered import judged

    known = judged().get(entry.name) if entry.origin == "registry" else None
    return known.falls if known else falls(curve)


def _light_words(light: dict[str, Any]) -> str:
    """Scene or display light, and what 1.0 is where that is not the usual value."""
    if light["luminance"] is not None:
        return f"{light['side']}, 1.0 at {light['luminance']:g} cd/m²"
    if light["one"] in ("a perfect white diffuser", "the display's white"):
        return str(light["side"])
    at = light["one"] if light["one"].startswith("at ") else "is the peak"
    return f"{light['side']}, 1.0 {at}"


def _gamut_data(entry: Entry) -> dict[str, Any]:
    assert entry.gamut is not None
    return {
        "name": entry.name,
        "aliases": list(entry.aliases),
        "origin": entry.origin,
        "source": entry.gamut.source,
        "primaries": [list(point) for point in entry.gamut.primaries],
        "white": list(entry.gamut.white),
    }


def _print_curves(rows: list[dict[str, Any]]) -> None:
    from lutbench.cli.tables import plain_table

    heads = ("curve", "family", "from", "codes", "light", ">mid grey\n%", ">clips at\nstops")
    table = plain_table(*heads)
    table.add_column("also named", overflow="fold", style="dim")
    for row in rows:
        if row["usable"]:
            levels = (f"{100 * row['mid_grey_signal']:.1f}", f"{row['clip_stops']:+.1f}")
            table.add_row(
                row["name"],
                row["family"],
                row["origin"],
                row["codes"],
                _light_words(row["light"]),
                *levels,
                ", ".join(row["aliases"]),
            )
    screen = console()
    screen.print(table)
    screen.print(
        "\ncodes: the code values that the source publishes, full-range or legal. light: of the "
        "scene, 1.0 is a perfect white diffuser; of the display, 1.0 is its white.",
        style="dim",
    )
    if falling := [row for row in rows if row["falls"]]:
        screen.print("\nusable, but not rising everywhere", style="bold")
        for row in falling:
            screen.print(f"{row['name']}: {row['falls']}", markup=False, soft_wrap=True)
    unusable = [row for row in rows if not row["usable"]]
    if unusable:
        screen.print("\nnot usable", style="bold")
        for row in unusable:
            screen.print(f"{row['name']}: {row['reason']}", markup=False, soft_wrap=True)


def _print_gamuts(rows: list[dict[str, Any]]) -> None:
    from lutbench.cli.tables import plain_table

    table = plain_table("gamut", "from")
    for head in ("red xy", "green xy", "blue xy", "white xy"):
        table.add_column(head, no_wrap=True)
    table.add_column("also named", overflow="fold", style="dim")
    for row in rows:
        points = (f"{x:.3f} {y:.3f}" for x, y in (*row["primaries"], row["white"]))
        table.add_row(row["name"], row["origin"], *points, ", ".join(row["aliases"]))
    console().print(table)


def _print_gamut_names(rows: list[dict[str, Any]]) -> None:
    """Print the names only, grouped by origin."""
    from rich.padding import Padding

    screen = console()
    origins = list(dict.fromkeys(row["origin"] for row in rows))
    for origin in origins:
        names = [row["name"] for row in rows if row["origin"] == origin]
        screen.print(f"{origin}: {len(names)}", style="bold")
        screen.print(Padding("; ".join(names), (0, 0, 1, 2)))
    screen.print("--long shows primaries, white and other names.", style="dim")
