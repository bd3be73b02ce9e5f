"""How `lutbench identify` prints: sentences first, then the evidence."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lutbench.cli.terminal import Column, console
from lutbench.report.words import NOT_DESCRIBED, grey_rows, hue_rows, signed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console
    from rich.table import Table

    from lutbench.identification import Candidate, Identification, Look, Tone

SHOWN_CANDIDATES = 4
"""Candidates in the table, so that it fits on a screen; --json has them all."""

NAMES_IN_A_CELL = 2
"""Names in a cell, so that it stays narrow; --json has them all."""


def print_one(found: Identification) -> None:
    """Print the report of one LUT."""
    from lutbench.identification.claims import in_words

    screen = console(markup=True)
    screen.print(found.explanation, markup=False)
    if found.claims:
        screen.print(in_words(found.claims), markup=False)
    screen.print()
    screen.print(f"kind {found.kind}, confidence {found.confidence}", markup=False, style="bold")
    if found.candidates:
        screen.print(_candidates(found.candidates[:SHOWN_CANDIDATES]))
        if len(found.candidates) > SHOWN_CANDIDATES:
            more = len(found.candidates) - SHOWN_CANDIDATES
            screen.print(f"and {more} more (listed by --json)", markup=False, style="dim")
    if not found.is_described:
        screen.print(f"\nTone and look are {NOT_DESCRIBED}.", markup=False)
    else:
        if found.tone is not None:
            _print_tone(screen, found.tone)
        if found.look.present:
            _print_look(screen, found.look)
    for number, note in enumerate(found.notes):
        screen.print(f"{'' if number else chr(10)}note: {note}", markup=False, style="dim")


def _candidates(candidates: Sequence[Candidate]) -> Table:
    from rich.markup import escape

    from lutbench.cli.tables import ruled_table
    from lutbench.identification.notes import alternatives

    table = ruled_table()
    for head in ("source", "target"):
        table.add_column(head, overflow="fold", ratio=3)
    for head in ("stops", "codes off\nmedian", "\n95 %"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("equally good", overflow="fold", ratio=3)
    for number, each in enumerate(candidates):
        same = "; ".join(f"{side}: {some(names)}" for side, names in alternatives(each).items())
        table.add_row(
            escape(_side(each.source)),
            escape(_side(each.target)),
            signed(each.exposure_stops, 2),
            f"{each.error_median:.2f}",
            f"{each.error_p95:.2f}",
            escape(same),
            style="" if number == 0 else "dim",
        )
    return table


def _side(side: Any) -> str:
    curve = side.curve or "an unnamed curve"
    if side.rendering == "display":
        curve += " (display light)"
    return f"{curve}\n{side.gamut or 'any gamut'}, {side.range}"


def _line(side: Any) -> str:
    """One side on one line; the range only where it is not full."""
    curve = side.curve or "its own"
    names = curve if side.gamut in (None, side.curve) else f"{curve} / {side.gamut}"
    return names if side.range == "full" else f"{names}, {side.range}"


def some(names: Sequence[str]) -> str:
    """The first names of a long list, and how many more there are.

    >>> some(["a", "b"]), some(["a", "b", "c", "d"])
    ('a, b', 'a, b and 2 more')
    """
    shown = ", ".join(names[:NAMES_IN_A_CELL])
    return (
        shown
        if len(names) <= NAMES_IN_A_CELL
        else f"{shown} and {len(names) - NAMES_IN_A_CELL} more"
    )


def _print_tone(screen: Console, tone: Tone) -> None:
    facts = [
        f"mid grey at {100 * tone.grey_signal:.1f} % (10-bit code {tone.grey_code})",
        f"{100 * tone.signal_per_stop:.1f} % a stop around it",
    ]
    if tone.contrast is not None:
        facts[-1] += f", contrast {tone.contrast:.2f}"
    if tone.roll_off_stops is not None:
        facts.append(f"rolls off from {signed(tone.roll_off_stops, 1)} stops")
    white = f"{100 * tone.white_signal:.0f} %"
    facts.append(
        f"{white} at {signed(tone.white_stops, 1)} stops"
        if tone.white_stops is not None
        else f"{white} where the recording ends"
    )
    facts.append(f"black (no light) at {round(100 * tone.black_signal, 1) + 0.0:.1f} %")
    screen.print()
    whose = "of the target's curve" if tone.plain else "(no named curve)"
    screen.print(f"[bold]Tone[/bold] {whose}: {'; '.join(facts)}")


def _print_look(screen: Console, look: Look) -> None:
    screen.print()
    screen.print(
        f"[bold]Look[/bold] (ΔE 2000): median {look.median:.1f}, 95 % under {look.p95:.1f}, "
        f"at most {look.max:.1f}"
    )
    for phrase in look.description:
        screen.print(f"  {phrase}", markup=False)
    if look.cdl is not None:
        cdl = look.cdl
        screen.print(f"  CDL: {cdl.words}", markup=False)
        screen.print(
            f"  Error of the CDL: median {cdl.error.median:.2f} codes, "
            f"95 % under {cdl.error.p95:.2f} (ΔE 2000 {cdl.delta_e_2000.p95:.2f})",
            markup=False,
        )
    for table in (_hues(look) if look.hues else None, _tones(look) if look.tones else None):
        if table is not None:
            screen.print()
            screen.print(table)


def _hues(look: Look) -> Table:
    from lutbench.cli.tables import ruled_table

    table = ruled_table()
    table.add_column("hue", no_wrap=True, min_width=15)
    for name in ("turned", "saturation", "luma", "ΔE 2000"):
        table.add_column(name, justify="right", no_wrap=True)
    for row in hue_rows(look):
        table.add_row(*row)
    return table


def _tones(look: Look) -> Table:
    from lutbench.cli.tables import ruled_table

    table = ruled_table()
    table.add_column("grey scale", no_wrap=True, min_width=15)
    for name in ("L*", "a*", "b*"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("tint")
    for row in grey_rows(look):
        table.add_row(*row)
    return table


NOT_READ = ("[bold red]not read[/bold red]",)
"""The row of a file that could not be read."""

COLUMNS = (
    Column("kind", 8),
    Column("source"),
    Column("target"),
    Column("stops", 6, number=True),
    Column("look", 5, number=True),
    Column("sure", 6),
)
"""The columns after the name of the LUT."""


def row_of(found: Identification) -> tuple[str, ...]:
    """The cells of a LUT's line after its name."""
    from rich.markup import escape

    best = found.best
    sides = (escape(_line(best.source)), escape(_line(best.target))) if best else ("", "")
    return (
        found.kind,
        *sides,
        signed(best.exposure_stops, 2) if best else "",
        f"{found.look.median:.1f}" if found.look.present else "none",
        found.confidence,
    )


def print_errors(errors: Sequence[str]) -> None:
    """Print the unit of the figures, and why files could not be read."""
    from rich.markup import escape

    screen = console(markup=True)
    screen.print("(look: median ΔE 2000)", style="dim")
    for error in errors:
        screen.print(f"\n{NOT_READ[0]} {escape(error)}", soft_wrap=True)


def print_groups(known: Sequence[tuple[str, Identification]]) -> None:
    """Print the groups that the LUTs form."""
    from lutbench.identification.groups import groups_of

    screen = console(markup=True)
    for group in groups_of(known):
        count = {2: "two", 3: "three", 4: "four", 5: "five"}.get(
            len(group.names), str(len(group.names))
        )
        screen.print(f"\nThese {count} {group.words}:", markup=False)
        for name, detail in zip(group.names, group.details, strict=True):
            line = f"  {name}: {detail}" if detail else f"  {name}"
            screen.print(line, markup=False, soft_wrap=True)
