"""How ``lutbench display`` prints its results."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lutbench.cli.terminal import console

if TYPE_CHECKING:
    from lutbench.display.calibration import Calibrated
    from lutbench.display.check import DisplayCheck
    from lutbench.display.fit import DisplayFit
    from lutbench.display.reach import Reach
    from lutbench.display.target import Target


def target_words(target: Target) -> str:
    """The target on one line."""
    rolled = f", rolled off from {target.mastered_at:.4g}" if target.mastered_at else ""
    return (
        f"target: {target.curve.name}, {target.gamut.name}, white {target.peak:.4g} cd/m²{rolled},"
        f" black {target.black:.3g} cd/m²"
    )


def print_calibrated(made: Calibrated, target: Target) -> None:
    """Print the errors that the fitted model predicts for the display with its LUT."""
    screen = console()
    screen.print(target_words(target), soft_wrap=True)
    for name, spreads in made.expected.items():
        first, second = spreads["delta_e_2000"], spreads["delta_e_itp"]
        screen.print(
            f"expected on {name}: ΔE 2000 {first.mean:.2f} on average, {first.max:.2f} at most;"
            f" ΔE ITP {second.mean:.2f}, {second.max:.2f}",
            soft_wrap=True,
        )
    screen.print(
        "Predicted by the fitted model: check with a second set of readings. For viewing:"
        " delivery has its own specification.",
        style="dim",
        soft_wrap=True,
    )


def print_fit(found: DisplayFit, target: Target, reached: Reach) -> None:
    """Print how the display behaves, and how much of the target it can reach."""
    from lutbench.cli.tables import fact_table

    screen = console()
    screen.print(fact_table([*_display_rows(found, reached), *_target_rows(target, reached)]))
    for note in found.notes:
        screen.print(note, soft_wrap=True, markup=False)


def _display_rows(found: DisplayFit, reached: Reach) -> list[tuple[str, str]]:
    off, itp, gamut = found.spread, found.spread_itp, found.model.gamut
    corners = "; ".join(f"{x:.3f} {y:.3f}" for x, y in (*gamut.primaries, gamut.white))
    contrast = f"{reached.contrast:.0f}:1" if reached.black > 0 else "black too dark to read"
    residual = "no residual lattice: it would predict no better"
    if found.model.residual is not None:
        residual = (
            f"with a residual lattice; without it the mean is ΔE 2000 {found.additive_left_out:.2f}"
        )
    return [
        ("read", f"{len(found.measurements.names)} patches, {found.measurements.coding}"),
        ("white, black", f"{reached.white:.4g} and {reached.black:.3g} cd/m², {contrast}"),
        ("R; G; B; white", f"{corners} (xy, black subtracted)"),
        (
            "additive",
            f"red, green and blue together give {100 * found.additivity:.1f} % of white",
        ),
        (
            "left out",
            f"ΔE 2000 {off.mean:.2f} on average, 95 % under {off.p95:.2f}, at most {off.max:.2f};"
            f" ΔE ITP {itp.mean:.2f} ({int(found.judged.sum())} patches, each predicted from the"
            " others)",
        ),
        ("", residual),
    ]


def _target_rows(target: Target, reached: Reach) -> list[tuple[str, str]]:
    short = "" if reached.peak >= 0.999 * target.peak else ": less than the target"
    return [
        ("target", target_words(target).removeprefix("target: ")),
        ("peak", f"reaches {reached.peak:.4g} cd/m² at the target's white{short}"),
        (
            "gamut",
            f"covers {100 * reached.coverage_xy:.1f} % of the target's triangle in xy,"
            f" {100 * reached.coverage_uv:.1f} % in u'v'",
        ),
        ("colours", f"{100 * reached.colours:.1f} % of the target's signals can be shown"),
    ]


def print_check(found: DisplayCheck, page: str | None, limit: float | None) -> None:
    """Print how close the display is to the target."""
    from lutbench.cli.tables import plain_table

    screen = console()
    screen.print(target_words(found.target), soft_wrap=True)
    heads = (">ΔE 2000 mean", ">95 %", ">max", ">ΔE ITP mean", ">95 %", ">max")
    table = plain_table("patches", *heads)
    for name, spreads in found.spreads.items():
        values = [getattr(spreads[key], what) for key in spreads for what in ("mean", "p95", "max")]
        table.add_row(name, *(f"{value:.2f}" for value in values))
    screen.print(table)
    inner = [each for each in found.greys if each.gamma is not None]
    if inner:
        off = max(inner, key=lambda each: abs(each.gamma - (each.gamma_wanted or 0)))  # type: ignore[operator]
        screen.print(
            f"gamma is farthest from the target at {100 * off.level:.1f} %:"
            f" {off.gamma:.2f} instead of {off.gamma_wanted:.2f}",
            soft_wrap=True,
        )
    worst = int(found.delta_e_2000.argmax())
    screen.print(
        f"largest error: {found.readings.names[worst]}, ΔE 2000 {found.delta_e_2000[worst]:.2f}",
        soft_wrap=True,
        markup=False,
    )
    if page is not None:
        screen.print(f"{page}: the report as a page", soft_wrap=True, markup=False)
    if limit is not None:
        mean = found.spreads["all"]["delta_e_2000"].mean
        word = "holds" if mean <= limit else "fails"
        screen.print(f"{word}: mean ΔE 2000 {mean:.2f}, limit {limit:g}", soft_wrap=True)
