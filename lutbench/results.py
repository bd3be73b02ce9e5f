"""What every result has: a short repr, a table in a notebook, plain data, a plot where it draws."""

from __future__ import annotations

from html import escape
from importlib import import_module
from typing import Any

SHOWN = 4
"""Facts in a result's short form."""

ROWS = 24
"""Facts in its table."""

LONGEST = 40
"""Characters of a value; what is longer is cut."""


class Result:
    """The base of what functions give; subclasses are frozen dataclasses with `to_data`."""

    def to_data(self) -> dict[str, Any]:
        """The result as plain data; each class says what is in it."""
        raise NotImplementedError

    def to_dict(self) -> dict[str, Any]:
        """The result as plain data: strings, numbers, lists and dicts, as ``--json`` prints it."""
        return self.to_data()

    def plot(self, ax: Any = None) -> Any:
        """Draw the result on matplotlib axes (new ones where `ax` is None); the axes.

        Raises
        ------
        LutbenchError
            When this kind of result is not drawn.
        """
        return import_module("lutbench.report.on_axes").plot(self, ax)

    def __repr__(self) -> str:
        shown = [f"{key}={_short(value)}" for key, value in self.facts()[:SHOWN]]
        return f"{type(self).__name__}({', '.join(shown)})"

    def facts(self) -> list[tuple[str, Any]]:
        """The first words and numbers of the result, by name."""
        return _scalars(self.to_data())

    def _repr_html_(self) -> str:
        rows = "".join(
            f'<tr><th style="text-align:left">{escape(key.replace("_", " "))}</th>'
            f'<td style="text-align:left">{escape(_text(value))}</td></tr>'
            for key, value in self.facts()[:ROWS]
        )
        return f"<table><caption>{type(self).__name__}</caption>{rows}</table>"


def _scalars(data: dict[str, Any], before: str = "") -> list[tuple[str, Any]]:
    """Words and numbers of `data`, those of tables in it after their names."""
    own: list[tuple[str, Any]] = []
    inner: list[tuple[str, Any]] = []
    for key, value in data.items():
        if isinstance(value, dict):
            inner += _scalars(value, f"{before}{key}_")
        elif isinstance(value, str | int | float) and key != "schema" and value != "":
            own.append((f"{before}{key}", round(value, 4) if isinstance(value, float) else value))
    return own + inner


def _short(value: Any) -> str:
    """As `repr`, a long text cut."""
    text = repr(value)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 2]}…{text[-1]}"


def _text(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
