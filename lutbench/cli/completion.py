"""Shell completion on Tab: file names, and names of curves and gamuts."""

from __future__ import annotations

import os

import click
from click.shell_completion import CompletionItem

from lutbench.cli.params import TextParam


def offer_completions(command: click.Command) -> None:
    """Give each text parameter of `command` its completions.

    Curves and gamuts are the standard ones and those of the user's definitions folder;
    listing the registered ones would delay the shell by a second at each key.
    """
    for param in command.params:
        if isinstance(param.type, click.types.StringParamType) and param.name:
            if param.name.endswith("curve"):
                param.type = _CatalogueName("curve")
            elif param.name.endswith("gamut") and param.name != "gamut":
                param.type = _CatalogueName("gamut")
            elif isinstance(param, click.Argument) or _names_a_file(param):
                param.type = click.Path()


def _names_a_file(param: click.Parameter) -> bool:
    metavar = (param.metavar or "").upper()
    return any(word in metavar for word in ("FILE", "PATH", "DIR", "OUT", "LUT", "TOML"))


class _CatalogueName(TextParam):
    """A curve or gamut, completed by its standard name, letter case ignored."""

    def __init__(self, kind: str) -> None:
        self.name = kind

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        from lutbench.errors import LutbenchError
        from lutbench.model.catalogue import STANDARD_CURVES, open_catalogue
        from lutbench.model.gamuts import STANDARD_GAMUTS

        gamuts = [each.name for each in STANDARD_GAMUTS]
        names = list(STANDARD_CURVES) if self.name == "curve" else gamuts
        try:
            mine = open_catalogue().definitions
            names += mine.curves if self.name == "curve" else mine.gamuts
        except LutbenchError:
            pass  # a broken definition is reported when the command runs
        start = incomplete.strip("\"'").casefold()
        offered = [name for name in names if name.casefold().startswith(start)]
        if os.environ.get("_LUTBENCH_COMPLETE", "").startswith("bash"):
            # bash inserts the word as it is; zsh and fish quote it.
            offered = [name.replace(" ", "\\ ") for name in offered]
        return [CompletionItem(name) for name in offered]
