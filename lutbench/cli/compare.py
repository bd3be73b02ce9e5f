"""``lutbench compare``: how far two LUTs, recipes' LUTs or pipelines are apart."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lutbench.cli.options import (
    EndOptions,
    F,
    Reporting,
    catalogue_of,
    definitions_option,
    end_options,
    force_option,
    grouped_options,
    json_option,
    print_json,
    say,
)
from lutbench.cli.params import LimitParam
from lutbench.cli.terminal import console
from lutbench.errors import LutbenchError

if TYPE_CHECKING:
    from rich.console import Console

    from lutbench.checks.limits import CheckFigure
    from lutbench.measure.comparison import Comparison
    from lutbench.measure.difference import Spread
    from lutbench.model.conversion import Encoding
    from lutbench.recipes.subjects import NamedTransform

SETS = ("chart", "neutral", "random", "nodes")


@dataclass(frozen=True)
class Colours:
    """Which colours are compared, the bit depth of their codes, and how many are listed."""

    sets: tuple[str, ...]
    bits: str
    worst: int


def _limit_option(name: str, measure: str, fails: str) -> Callable[[F], F]:
    text = f"Fail when {fails}."
    return click.option(name, type=LimitParam(measure), metavar="X", help=text)


@click.command()
@click.argument("a")
@click.argument("b")
@end_options(
    source_curve="The curve that goes into both.",
    source_gamut="The gamut that goes into both.",
    target_curve="The curve of both outputs: decides the display for ΔE.",
    target_gamut="The gamut of both outputs.",
    source_range="The range of the values that go in. [default: as the sides say, else as the "
    "curve's codes are published]",
    target_range="The range of the values that come out. [default: as the sides say, else as the "
    "curve's codes are published]",
)
@click.option(
    "--colours",
    "sets",
    type=click.Choice(SETS),
    multiple=True,
    help="Test colours: 24 chart patches at -3 to +3 stops, the neutral axis, random colours, "
    "the nodes of both lattices. May be given more than once. [default: all]",
)
@click.option(
    "--bits",
    type=click.Choice(["8", "10", "12", "16"]),
    default="10",
    show_default=True,
    help="The bit depth of the code values, full range.",
)
@click.option(
    "--worst",
    type=click.IntRange(0, 100),
    default=8,
    show_default=True,
    metavar="N",
    help="How many of the worst colours to list.",
)
@_limit_option("--limit-delta-e", "delta_e_2000", "the largest ΔE 2000 is over X")
@_limit_option("--limit-delta-e-p95", "delta_e_2000", "the 95th percentile of ΔE 2000 is over X")
@_limit_option("--limit-delta-e-p99", "delta_e_2000", "the 99th percentile of ΔE 2000 is over X")
@_limit_option("--limit-delta-e-mean", "delta_e_2000", "the mean ΔE 2000 is over X")
@_limit_option("--limit-delta-e-itp", "delta_e_itp", "the largest ΔE ITP is over X")
@_limit_option(
    "--limit-codes", "codes", "a code value differs by more than X, at the depth of --bits"
)
@click.option(
    "--as-views",
    is_flag=True,
    help="A and B are two views of one recording, such as SDR and HDR: compare them on mid grey "
    "and the chart, with both whites at 203 cd/m².",
)
@click.option(
    "--page", metavar="OUT.html", help="Write a page with difference maps and the worst colours."
)
@definitions_option
@force_option
@json_option
@grouped_options(ends=EndOptions, colours=Colours, report=Reporting)
def command(
    a: str,
    b: str,
    ends: EndOptions,
    colours: Colours,
    report: Reporting,
    **options: Any,
) -> int:
    """Compare A and B: how far apart they are, where, and whether for a simple reason.

    A side is a LUT file; RECIPE.toml#NAME, the LUT that a recipe makes; or a
    pipeline in the form "CURVE, GAMUT to CURVE, GAMUT", after which options of
    `lutbench build` may follow ("...; exposure=1; size=33").

    With a --limit option it is a check: the exit status is 1 when a limit does
    not hold.

    \b
    Examples:
      lutbench compare monitor.cube "ACEScct, ACEScg to BT.1886, BT.709"
      lutbench compare old.cube day.toml#monitor --limit-delta-e 0.5
      lutbench compare --as-views "ACEScct, ACEScg to BT.1886, BT.709" \\
          "ACEScct, ACEScg to BT.2100 PQ, BT.2020"
    """
    from lutbench.checks.limits import checked_figures
    from lutbench.measure.comparison import compare
    from lutbench.recipes.subjects import open_subject, refuse_same

    page = options["page"]
    if page is not None and Path(page).suffix.lower() != ".html":
        raise LutbenchError("is not a page", where=page, accepted="a name that ends in .html")
    catalogue = catalogue_of(options["definitions"])
    first, second = (open_subject(side, catalogue) for side in (a, b))
    if options["as_views"]:
        return _as_views(first, second, report, options)
    source, target = _ends(first, second, ends.found(catalogue))
    limits = _limits(options, int(colours.bits))
    if limits:
        refuse_same(first, second, "A and B")
    sides = (first.transform, second.transform)
    found = compare(
        *sides,
        source=source,
        target=target,
        sets=colours.sets or SETS,
        bits=int(colours.bits),
        worst=colours.worst,
    )
    held = checked_figures(limits, found.overall)
    if page is not None:
        from lutbench import files
        from lutbench.report.difference_page import difference_html

        files.write_text(page, difference_html(found, (a, b), sides, held), force=report.force)
        say(f"{page}: page written")
    if report.as_json:
        checks = {"limits": [each.to_data() for each in held]}
        print_json({"a": a, "b": b} | found.to_data() | checks)
    else:
        print_comparison(found, a, b, held)
    return 0 if all(each.holds for each in held) else 1


def _as_views(
    first: NamedTransform,
    second: NamedTransform,
    report: Reporting,
    options: dict[str, Any],
) -> int:
    """Compare and print two views of one recording; limits and a page do not apply here."""
    from lutbench.cli.compare_views import look_of, print_views, watched
    from lutbench.measure.views import views_apart

    for name, value in options.items():
        if value is not None and name.startswith(("page", "limit")):
            raise LutbenchError(
                f"--{name.replace('_', '-')} cannot be given with --as-views",
                accepted="one of the two",
            )
    found = views_apart(watched(first), watched(second))
    look = look_of(first, second)
    if report.as_json:
        data = found.to_data() | {"look": None if look is None else look.to_data()}
        print_json({"a": first.name, "b": second.name} | data)
    else:
        print_views(found, look, first.name, second.name)
    return 0


def _ends(
    first: NamedTransform, second: NamedTransform, named: dict[str, Any]
) -> tuple[Encoding | None, Encoding | None]:
    """The encodings of input and output: from the options, else from the sides."""
    return (
        _end("source", first.source or second.source, named),
        _end("target", first.target or second.target, named),
    )


def _end(end: str, known: Encoding | None, named: dict[str, Any]) -> Encoding | None:
    from dataclasses import replace

    from lutbench.measure.comparison import ASSUMED_SOURCE, ASSUMED_TARGET

    curve, gamut, signal_range = (named[f"{end}_{what}"] for what in ("curve", "gamut", "range"))
    if not (curve or gamut or signal_range):
        return known
    encoding = known or (ASSUMED_SOURCE if end == "source" else ASSUMED_TARGET)
    if curve:
        encoding = replace(encoding, curve=curve, display=None, range=curve.formula_codes)
    if gamut:
        encoding = replace(encoding, gamut=gamut)
    return replace(encoding, range=signal_range) if signal_range else encoding


def _limits(options: dict[str, Any], bits: int) -> dict[str, float]:
    from lutbench.checks.limits import checked_limit

    top = 2**bits - 1
    if options["limit_codes"] is not None:
        checked_limit(options["limit_codes"], "--limit-codes", top)
    given = {
        "delta_e_2000": options["limit_delta_e"],
        "delta_e_2000_p95": options["limit_delta_e_p95"],
        "delta_e_2000_p99": options["limit_delta_e_p99"],
        "delta_e_2000_mean": options["limit_delta_e_mean"],
        "delta_e_itp": options["limit_delta_e_itp"],
        "code_10bit": options["limit_codes"],
    }
    limits = {name: value for name, value in given.items() if value is not None}
    if "code_10bit" in limits:
        limits["code_10bit"] *= 1023 / top
    return limits


def print_comparison(found: Comparison, a: str, b: str, held: list[CheckFigure]) -> None:
    """The comparison as terminal tables, the worst colours with swatches."""
    from rich.markup import escape
    from rich.padding import Padding

    screen = console(markup=True)
    screen.print(f"[bold]A[/bold]  {escape(a)}", soft_wrap=True)
    screen.print(f"[bold]B[/bold]  {escape(b)}", soft_wrap=True)
    word, figures = found.words.split(":", 1)
    screen.print(f"[bold]{word}[/bold]:{figures}")
    screen.print(f"[dim]seen on {escape(found.view.description)}[/dim]\n")
    _print_sets(screen, found)
    if found.worst:
        screen.print("\n[bold]Worst colours[/bold]")
        _print_worst(screen, found)
    screen.print()
    if found.explanation:
        screen.print("[bold]A simple reason?[/bold]")
        for each in found.explanation:
            left = (
                ""
                if each.left < 0.005
                else f" (what remains: 95th percentile {each.left:.2f} codes)"
            )
            screen.print(Padding(f"{escape(each.text)}[dim]{left}[/dim]", (0, 0, 0, 2)))
    else:
        screen.print("[bold]A simple reason?[/bold] None found.")
    for line in found.assumed:
        screen.print(f"[dim]{escape(line)}[/dim]")
    for limit in held:
        mark = "[green]holds[/green]" if limit.holds else "[bold red]FAILS[/bold red]"
        screen.print(f"{mark}  {escape(limit.words)}")


def _print_sets(screen: Console, found: Comparison) -> None:
    from lutbench.cli.tables import WIDE_COLUMNS, ruled_table
    from lutbench.measure.delta_e import DELTA_E_NAMES
    from lutbench.report.words import SPREAD_WORDS

    scale = (2**found.bits - 1) / 1023
    name = DELTA_E_NAMES[found.view.measure]
    table = ruled_table()
    narrow = screen.width < WIDE_COLUMNS
    table.add_column("colours", min_width=8)
    if not narrow:
        table.add_column("count", justify="right")
    figures = ["mean", "p95", "max"] if narrow else ["mean", "p95", "p99", "max"]
    for unit, shown in ((name, figures), (f"{found.bits}-bit codes", ["mean", "p95", "max"])):
        for figure in shown:
            # In a narrow table each head says by itself what it counts.
            head = unit.replace(" ", "\n") if narrow or figure == "mean" else "\n"
            table.add_column(f"{head}\n{SPREAD_WORDS[figure]}", justify="right")

    def row(label: str, count: int, spreads: dict[str, Spread], style: str = "") -> None:
        seen, codes = spreads[found.view.measure], spreads["code_10bit"]
        cells = [] if narrow else [str(count)]
        cells += [f"{getattr(seen, figure):.3f}" for figure in figures]
        cells += [f"{scale * getattr(codes, figure):.2f}" for figure in ("mean", "p95", "max")]
        table.add_row(label, *cells, style=style)

    for label, spreads in found.sets.items():
        row(label, found.counts[label], spreads)
    row("all", sum(found.counts.values()), found.overall, style="bold")
    screen.print(table)


def _print_worst(screen: Console, found: Comparison) -> None:
    from rich.style import Style
    from rich.text import Text

    from lutbench.cli.tables import WIDE_COLUMNS, ruled_table

    top = 2**found.bits - 1
    table = ruled_table()
    table.add_column("A B")
    narrow = screen.width < WIDE_COLUMNS
    if not narrow:
        table.add_column("which", overflow="ellipsis", no_wrap=True, max_width=22)
    for head in (f"in, {found.bits} bit", "A", "B"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("ΔE", justify="right")
    for each in found.worst:
        swatch = Text("██", Style(color=each.swatch_a)) + Text("██", Style(color=each.swatch_b))
        codes = (
            " ".join(f"{round(value * top):d}" for value in values)
            for values in (each.input, each.a, each.b)
        )
        seen = getattr(each, found.view.measure)
        which = [] if narrow else [each.label or each.set]
        table.add_row(swatch, *which, *codes, f"{seen:.2f}")
    screen.print(table)
