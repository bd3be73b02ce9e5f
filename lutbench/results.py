"""The bases of all results: plain data, short repr, table in a notebook, plot where it has one."""

from __future__ import annotations

from dataclasses import fields
from html import escape
from importlib import import_module
from pathlib import PurePath
from typing import Any, ClassVar

REPR_FACTS = 4
"""Number of facts in a result's repr, which then fits on one line."""

TABLE_ROWS = 24
"""Rows of a result's table in a notebook, which then fits on a screen."""

REPR_CHARACTERS = 40
"""Characters of a value in the repr; a longer one is cut."""


def plain(value: Any) -> Any:
    """`value` as plain data: objects, arrays and tuples become dicts and lists."""
    if hasattr(value, "to_data"):
        return value.to_data()
    if hasattr(value, "tolist"):
        return value.tolist()
    if isinstance(value, PurePath):
        return str(value)
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    return value


class PlainData:
    """The base of a dataclass that is a part of a report, and that describes itself in its schema.

    Its keys are those in `KEYS`, or else its fields. ``"name"`` is a field or a property,
    ``"key=name"`` one that has another name in reports, ``"key=name.inner"`` one of what it
    holds (None where `name` is None). With a ``?`` at the end an empty text is given as None.
    ``"*name"`` stands for all keys of the part that `name` holds.
    """

    KEYS: ClassVar[tuple[str, ...]] = ()

    @classmethod
    def data_keys(cls) -> dict[str, str]:
        """By key, the field or property that it gives, with the ``?`` or the ``*``."""
        named = cls.KEYS or tuple(each.name for each in fields(cls))  # type: ignore[arg-type]
        return {each.partition("=")[0].rstrip("?"): each.rpartition("=")[2] for each in named}

    def to_data(self) -> dict[str, Any]:
        """The object as plain data: strings, numbers, lists and dicts."""
        found: dict[str, Any] = {}
        for key, marked in self.data_keys().items():
            value: Any = self
            for name in marked.strip("*?").split("."):
                value = None if value is None else getattr(value, name)
            if marked.startswith("*"):
                found |= value.to_data()
            else:
                found[key] = None if marked.endswith("?") and value == "" else plain(value)
        return found


class Result(PlainData):
    """The base of results; subclasses are frozen dataclasses."""

    def to_dict(self) -> dict[str, Any]:
        """The result as plain data: strings, numbers, lists and dicts, as ``--json`` prints it."""
        return self.to_data()

    def plot(self, ax: Any = None) -> Any:
        """Draw the result on matplotlib axes, new ones where `ax` is None, and return them.

        Raises
        ------
        LutbenchError
            When this kind of result has no plot.
        """
        return import_module("lutbench.report.on_axes").plot(self, ax)

    def __repr__(self) -> str:
        shown = [f"{key}={_short(value)}" for key, value in self.facts()[:REPR_FACTS]]
        return f"{type(self).__name__}({', '.join(shown)})"

    def facts(self) -> list[tuple[str, Any]]:
        """Texts and numbers of `to_data` with their names, those of nested dicts last."""
        return _scalars(self.to_data())

    def _repr_html_(self) -> str:
        rows = "".join(
            f'<tr><th style="text-align:left">{escape(key.replace("_", " "))}</th>'
            f'<td style="text-align:left">{escape(_text(value))}</td></tr>'
            for key, value in self.facts()[:TABLE_ROWS]
        )
        return f"<table><caption>{type(self).__name__}</caption>{rows}</table>"


def _scalars(data: dict[str, Any], prefix: str = "") -> list[tuple[str, Any]]:
    """Texts and numbers of `data`; those of a nested dict come last, its key before theirs."""
    own: list[tuple[str, Any]] = []
    inner: list[tuple[str, Any]] = []
    for key, value in data.items():
        if isinstance(value, dict):
            inner += _scalars(value, f"{prefix}{key}_")
        elif isinstance(value, str | int | float) and key != "schema" and value != "":
            own.append((f"{prefix}{key}", round(value, 4) if isinstance(value, float) else value))
    return own + inner


def _short(value: Any) -> str:
    """The repr of `value`, cut where it is long."""
    text = repr(value)
    return text if len(text) <= REPR_CHARACTERS else f"{text[: REPR_CHARACTERS - 2]}…{text[-1]}"


def _text(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
