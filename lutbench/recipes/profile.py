"""Delivery profiles: the limits of the device that LUTs are for."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Literal

from lutbench.errors import DefinitionError
from lutbench.model.signal import Range
from lutbench.recipes.keys import TableSettings

LADDER = "{name}_{sign}{stops}"
"""The default name of a LUT in an exposure ladder: view_p1, view_m0_5."""


@dataclass(frozen=True, kw_only=True)
class Profile(TableSettings):
    """The limits of the device that the LUTs are for."""

    sizes: tuple[int, ...] = ()
    """The 3D sizes that it loads."""
    range: Range | None = None
    """The target range that it expects."""
    name_length: int | None = None
    """The largest number of characters in a file name, with its suffix."""
    name_characters: str = ""
    """The characters accepted in a name, as in the brackets of a regular expression."""
    name_case: Literal["as_written", "upper", "lower"] = "as_written"
    ladder: str = LADDER
    """A pattern for names in an exposure ladder, with {name}, {sign} and {stops}."""
    title: str = ""
    """A pattern for titles, with {set}, {lut} and {exposure}."""
    title_length: int | None = None
    """Titles are cut to this length."""
    title_cut: Literal["end", "start"] = "end"
    """Which end of a long title is cut off."""

    def __post_init__(self) -> None:
        try:
            re.compile(f"[{self.name_characters}]" if self.name_characters else "")
        except re.error as error:
            raise DefinitionError(
                f"{self.name_characters!r} is not a set of characters",
                where=self.at("name_characters"),
                accepted='such as "A-Z0-9_"',
            ) from error
        for key in ("title_length", "name_length"):
            if (getattr(self, key) or 0) < 0:
                raise DefinitionError(
                    f"{getattr(self, key)} is not a number of characters",
                    where=self.at(key),
                    accepted="1 or more; 0 for no limit",
                )
        self._check_pattern("title", "set", "lut", "exposure")
        self._check_pattern("ladder", "name", "sign", "stops")

    def _check_pattern(self, key: str, *fields: str) -> None:
        """Refuse a text with ``{fields}`` of other names."""
        text = getattr(self, key)
        found = re.findall(r"\{([^{}]*)\}", text)
        plain = re.sub(r"\{[^{}]*\}", "", text)
        if not set(found) <= set(fields) or set(plain) & set("{}"):
            raise DefinitionError(
                f"{text!r} is not a pattern",
                where=self.at(key),
                accepted="text with " + ", ".join("{" + field + "}" for field in fields),
            )

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
