"""The templates of pages. Each value that is filled in is escaped unless it is marked as HTML."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

from lutbench.given import harmless

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("lutbench.report", "templates"),
        autoescape=True,
        finalize=_harmless,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    # No line break between a number and its percent sign.
    environment.filters["kept"] = lambda text: str(text).replace(" %", "\u00a0%")
    return environment


def _harmless(value: Any) -> Any:
    """A value without control characters and direction marks."""
    return type(value)(harmless(value)) if isinstance(value, str) else value


def render(name: str, **values: Any) -> str:
    """The template `name` with `values` filled in."""
    return _environment().get_template(name).render(**values)
