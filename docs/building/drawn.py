"""What every plot of docs/maths is drawn with: inks, axes, lines that a test can find."""

from __future__ import annotations

from typing import Any

from matplotlib.figure import Figure

# Okabe and Ito, 2008; each line has a dash of its own too, for print.
INK = ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000", "#E69F00", "#56B4E9"]
DASHES: list[Any] = ["-", "--", "-.", (0, (1, 1.2)), (0, (6, 1.5)), (0, (4, 1, 1, 1, 1, 1)), "-"]


def panel(width: float = 7.0, height: float = 3.9, rows: int = 1) -> tuple[Figure, Any]:
    """A figure and its axes."""
    figure = Figure(figsize=(width, height), layout="constrained")
    return figure, figure.subplots(rows, 1)


class Lines:
    """Data lines on axes, each with its colour, its dash and a mark for the test to find."""

    def __init__(self, axes: Any) -> None:
        self.axes, self.count = axes, 0

    def add(self, x: Any, y: Any, label: str, **style: Any) -> None:
        """A line."""
        index = self.count % len(INK)
        look = {"color": INK[index], "linestyle": DASHES[index]} | style
        self.axes.plot(x, y, label=label, gid=f"data-{id_of(self.axes)}-{self.count}", **look)
        self.count += 1


def id_of(axes: Any) -> int:
    """The number of the axes in its figure."""
    return list(axes.figure.axes).index(axes)
