"""Delivery profiles: what a picky monitor takes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePosixPath

from lutbench.errors import DefinitionError
from lutbench.model.signal import Range
from lutbench.recipes.table import Table


@dataclass(frozen=True)
class Profile:
    """The limits of a device; an empty profile limits nothing.

    `sizes` are the 3D sizes it loads, `title_length` and `name_length` the most
    characters of a title and of a file name (with suffix), `name_characters` a
    set as in a regular expression's brackets, `range` the range it expects.
    """

    sizes: tuple[int, ...] = ()
    title_length: int = 0
    name_length: int = 0
    name_characters: str = ""
    range: Range | None = None

    def check(self, name: str, size: int | None, target_range: Range, where: str) -> None:
        """Refuse a LUT that the device would not take.

        Raises
        ------
        DefinitionError
            With the limit that is broken.
        """

        def refuse(what: str, accepted: str) -> None:
            raise DefinitionError(f"the profile refuses {what}", where=where, accepted=accepted)

        file_name = PurePosixPath(name).name + ".cube"
        if self.sizes and size is not None and size not in self.sizes:
            refuse(f"size {size}", ", ".join(map(str, self.sizes)))
        if self.name_length and len(file_name) > self.name_length:
            refuse(f"the file name {file_name!r}", f"up to {self.name_length} characters")
        if self.name_characters and not re.fullmatch(
            f"[{self.name_characters}]+", file_name.removesuffix(".cube")
        ):
            refuse(f"the file name {file_name!r}", f"characters {self.name_characters}")
        if self.range is not None and target_range != self.range:
            refuse(f"{target_range} range", self.range)

    def fit_title(self, title: str) -> str:
        """The title, cut to what the device shows."""
        return title[: self.title_length].rstrip() if self.title_length else title


def read_profile(table: Table | None) -> Profile:
    """A profile from a recipe's ``[profile]``."""
    if table is None:
        return Profile()
    sizes = table.numbers("sizes") or ()
    characters = table.text("name_characters", "")
    try:
        re.compile(f"[{characters}]" if characters else "")
    except re.error as error:
        raise DefinitionError(
            f"{characters!r} is no set of characters",
            where=table.at("name_characters"),
            accepted='such as "A-Z0-9_"',
        ) from error
    profile = Profile(
        tuple(int(size) for size in sizes),
        table.integer("title_length", 0),
        table.integer("name_length", 0),
        characters,
        table.choice("range", ("full", "legal"), None),
    )
    table.done()
    return profile
