"""Delivery profiles: the limits of the device that LUTs are for."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from lutbench.errors import DefinitionError
from lutbench.model.signal import Range
from lutbench.recipes.table import Table

LADDER = "{name}_{sign}{stops}"
"""The default name of a LUT in an exposure ladder: view_p1, view_m0_5."""


@dataclass(frozen=True)
class Profile:
    """The limits of a device; an empty profile limits nothing.

    `sizes` are the 3D sizes that it loads. `title_length` and `name_length` are the largest
    numbers of characters in a title and in a file name with suffix. `name_characters` is a set
    of characters as in the brackets of a regular expression, `range` the signal range that it
    expects. `title_cut` says which end of a long title is cut off. `title` is a pattern with
    ``{set}``, ``{lut}`` and ``{exposure}``; `ladder` one with ``{name}``, ``{sign}`` (p or m)
    and ``{stops}`` for the names of an exposure ladder. `name_case` is the case of all names.
    """

    sizes: tuple[int, ...] = ()
    title_length: int = 0
    name_length: int = 0
    name_characters: str = ""
    range: Range | None = None
    title_cut: str = "end"
    title: str = ""
    ladder: str = LADDER
    name_case: str = "as_written"

    def ladder_name(self, name: str, stops: float) -> str:
        """The name of a LUT in an exposure ladder.

        >>> Profile().ladder_name("view", -1.5)
        'view_m1_5'
        """
        sign = "p" if stops >= 0 else "m"
        return self.ladder.format(name=name, sign=sign, stops=f"{abs(stops):g}".replace(".", "_"))

    def refuse_equal_names(self, name: str, ladder: Sequence[float], where: str) -> None:
        """Refuse a pattern that gives two LUTs of an exposure ladder the same name.

        Raises DefinitionError, which names the pattern and what it lacks.
        """
        named: dict[str, float] = {}
        for stops in dict.fromkeys(ladder):
            other = named.setdefault(self.ladder_name(name, stops), stops)
            if other != stops:
                alike = f"{other:+g} and {stops:+g} stops"
                raise DefinitionError(
                    f"[profile] ladder {self.ladder!r} gives the LUTs for {alike} one name",
                    where=where,
                    accepted=f"a pattern with {{stops}} and {{sign}}, such as {LADDER!r}",
                )

    def cased(self, name: str) -> str:
        """The name in the case that the profile asks for."""
        return {"upper": name.upper(), "lower": name.lower()}.get(self.name_case, name)

    def check(
        self, name: str, size: int | None, target_range: Range, where: str, needed_by: str = ""
    ) -> None:
        """Refuse a LUT that the device would not load; `needed_by` says what needs its size.

        Raises DefinitionError when the LUT is outside a limit, which the message names.
        """

        def refuse(what: str, accepted: str) -> None:
            raise DefinitionError(f"the profile refuses {what}", where=where, accepted=accepted)

        file_name = PurePosixPath(name).name + ".cube"
        if self.sizes and size is not None and size not in self.sizes:
            refuse(f"size {size}{needed_by}", ", ".join(map(str, self.sizes)))
        if self.name_length and len(file_name) > self.name_length:
            refuse(f"the file name {file_name!r}", f"up to {self.name_length} characters")
        if self.name_characters and not re.fullmatch(
            f"[{self.name_characters}]+", file_name.removesuffix(".cube")
        ):
            refuse(f"the file name {file_name!r}", f"characters {self.name_characters}")
        if self.range is not None and target_range != self.range:
            refuse(f"{target_range} range", self.range)

    def fit_title(self, title: str) -> str:
        """The title, cut at its end or start to the length that the device shows.

        >>> Profile(title_length=8, title_cut="start").fit_title("Salt Road view +1")
        'view +1'
        """
        if not self.title_length or len(title) <= self.title_length:
            return title
        if self.title_cut == "start":
            return title[-self.title_length :].lstrip()
        return title[: self.title_length].rstrip()

    def title_of(self, names: Mapping[str, str], usual: str) -> str:
        """The title by the profile's pattern, else the usual one; cut to fit."""
        text = " ".join(self.title.format(**names).split()) if self.title else usual
        return self.fit_title(text)


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
            f"{characters!r} is not a set of characters",
            where=table.at("name_characters"),
            accepted='such as "A-Z0-9_"',
        ) from error
    profile = Profile(
        tuple(int(size) for size in sizes),
        _length(table, "title_length"),
        _length(table, "name_length"),
        characters,
        table.choice("range", ("full", "legal"), None),
        table.choice("title_cut", ("end", "start"), "end"),
        _pattern(table, "title", "", ("set", "lut", "exposure")),
        _pattern(table, "ladder", LADDER, ("name", "sign", "stops")),
        table.choice("name_case", ("as_written", "upper", "lower"), "as_written"),
    )
    table.done()
    return profile


def _length(table: Table, key: str) -> int:
    """A number of characters; 0 for no limit."""
    length = table.integer(key, 0)
    if length < 0:
        raise DefinitionError(
            f"{length} is not a number of characters",
            where=table.at(key),
            accepted="1 or more; 0 for no limit",
        )
    return length


def _pattern(table: Table, key: str, default: str, fields: tuple[str, ...]) -> str:
    """A text with ``{fields}`` of these names only."""
    text = table.text(key, default)
    found = re.findall(r"\{([^{}]*)\}", text)
    plain = re.sub(r"\{[^{}]*\}", "", text)
    if set(found) <= set(fields) and not set(plain) & set("{}"):
        return text
    raise DefinitionError(
        f"{text!r} is not a pattern",
        where=table.at(key),
        accepted="text with " + ", ".join("{" + field + "}" for field in fields),
    )
