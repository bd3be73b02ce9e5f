"""The catalogue: curves and gamuts by name.

Three sources are searched in this order: the built-in standards, the user's definitions,
the registries of colour-science. The last takes a second to import, so its names,
primaries and samples of its curves are cached (`registered.py`), and it is imported only
when one of its curves has to be computed exactly.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache, cached_property
from importlib import import_module
from pathlib import Path
from typing import Any, Literal

from lutbench.errors import DefinitionError, LutbenchError, unknown_name
from lutbench.given import flag, instance, one_of, path, texts
from lutbench.model.curves.base import Curve
from lutbench.model.definitions import Definitions, read_definitions
from lutbench.model.gamuts import STANDARD_GAMUTS, Gamut

STANDARD_CURVES = {
    "linear": "video",
    "BT.709": "video",
    "BT.2020": "video",
    "BT.2020 12-bit": "video",
    "BT.1886": "video",
    "sRGB": "video",
    "gamma 2.2": "video",
    "gamma 2.4": "video",
    "gamma 2.6": "video",
    "BT.2100 PQ": "hdr",
    "ST 2084": "hdr",
    "BT.2100 HLG": "hdr",
    "ACEScc": "log",
    "ACEScct": "log",
    "Cineon": "log",
}
"""The standard curves, each with the file in `curves/` that has it in its `CURVES`."""

# Other names of the standards: those of the trade, and those that colour-science has
# for the same function or primaries.
CURVE_ALIASES = {
    "BT.709": ("Rec.709", "BT.601", "ITU-R BT.709", "ITU-R BT.601"),
    "BT.2020": ("Rec.2020", "BT.2020 10-bit", "ITU-R BT.2020"),
    "BT.1886": ("ITU-R BT.1886",),
    "sRGB": ("IEC 61966-2-1",),
    "gamma 2.2": ("2.2",),
    "gamma 2.4": ("2.4",),
    "gamma 2.6": ("2.6",),
    "BT.2100 PQ": ("PQ", "Rec.2100 PQ", "ITU-R BT.2100 PQ"),
    "ST 2084": ("PQ display", "SMPTE ST 2084"),
    "BT.2100 HLG": ("HLG", "Rec.2100 HLG", "ITU-R BT.2100 HLG"),
    "Cineon": ("printing density",),
}
GAMUT_ALIASES = {
    "BT.709": ("Rec.709", "sRGB", "ITU-R BT.709"),
    "BT.2020": ("Rec.2020", "BT.2100", "ITU-R BT.2020"),
    "P3-D65": ("Display P3",),
    "ACES AP0": ("AP0", "ACES2065-1"),
    "ACES AP1": ("AP1", "ACEScg"),
    "XYZ": ("CIE XYZ",),
}


Origin = Literal["standard", "user", "registry"]


@dataclass(frozen=True)
class Entry:
    """A line of the catalogue."""

    name: str
    origin: Origin
    aliases: tuple[str, ...] = ()
    unusable: str = ""
    """Why it cannot be used; empty if it can."""
    curve: Curve | None = None
    gamut: Gamut | None = None


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())


@dataclass(frozen=True)
class Catalogue:
    """Curves and gamuts by name, including the user's definitions.

    Curves and gamuts named in `without` are left out, under all of their names, as if
    they had not been registered.

    >>> catalogue = Catalogue(without=frozenset({"BT.1886"}))
    >>> "BT.1886" in [each.name for each in catalogue.curves()]
    False
    """

    definitions: Definitions = field(default_factory=Definitions)
    without: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        instance(self.definitions, Definitions, "definitions", "open_catalogue(FILE, ...)")
        object.__setattr__(self, "without", frozenset(texts(self.without, "without")))
        for kind, user, standard in (
            ("curve", self.definitions.curves, _standard_curve_names()),
            ("gamut", self.definitions.gamuts, _standard_gamuts()),
        ):
            seen: dict[str, str] = {}
            for name in user:
                if _folded(name) in standard:
                    raise DefinitionError(
                        f"the {kind} {name!r} hides the standard one of that name",
                        accepted="another name",
                    )
                if _folded(name) in seen:
                    raise DefinitionError(
                        f"the {kind}s {seen[_folded(name)]!r} and {name!r} differ only in case",
                        accepted="one of them",
                    )
                seen[_folded(name)] = name

    def curve(self, name: str | Curve | Entry, where: str = "", *, exact: bool = True) -> Curve:
        """The curve of that name, in any letter case, or of an entry; a curve is returned as it is.

        With `exact` False a registered curve is interpolated from samples, to within 0.001
        10-bit codes, without importing colour-science: good enough to show, not to build.

        Raises
        ------
        UnknownNameError
            With the nearest names.
        LutbenchError
            When it is registered but cannot be used, with the reason.
        """
        if isinstance(name, Curve):
            return name
        name = _checked_name("curve", name, where)
        standard = _standard_curve_names().get(_folded(name))
        found: Curve | None = (
            standard_curve(standard) if standard else _by_folded(self.definitions.curves, name)
        )
        if found is not None and found.name not in self.without:
            return found
        for entry in self._kept(_registry_curve_entries(exact)):
            if _folded(name) in map(_folded, (entry.name, *entry.aliases)):
                if entry.unusable or entry.curve is None:
                    raise LutbenchError(
                        f"the curve {entry.name!r} cannot be used: {entry.unusable}", where=where
                    )
                return entry.curve
        raise unknown_name("curve", name, _names(self.curves(exact=False)), where)

    def gamut(self, name: str | Gamut | Entry, where: str = "") -> Gamut:
        """The gamut of that name, in any letter case, or of an entry; a gamut is returned as it is.

        Raises
        ------
        UnknownNameError
            With the nearest names.
        """
        if isinstance(name, Gamut):
            return name
        name = _checked_name("gamut", name, where)
        found = _standard_gamuts().get(_folded(name)) or _by_folded(self.definitions.gamuts, name)
        if found is not None and found.name not in self.without:
            return found
        for gamut, aliases in _registry_gamuts():
            if gamut.name not in self.without and _folded(name) in map(
                _folded, (gamut.name, *aliases)
            ):
                return gamut
        raise unknown_name("gamut", name, _names(self.gamuts()), where)

    def curves(self, *, exact: bool = True) -> list[Entry]:
        """Every curve: standards, the user's, the registry's; `exact` as for `curve`."""
        standard = [
            Entry(name, "standard", CURVE_ALIASES.get(name, ()), curve=standard_curve(name))
            for name in STANDARD_CURVES
        ]
        user = [Entry(name, "user", curve=curve) for name, curve in self.definitions.curves.items()]
        return self._kept([*standard, *user, *_registry_curve_entries(exact)])

    def gamuts(self) -> list[Entry]:
        """Every gamut once; other names for the same primaries and white are its aliases."""
        user = [Entry(name, "user", gamut=gamut) for name, gamut in self.definitions.gamuts.items()]
        return self._kept([*_standard_gamut_entries(), *user, *_registry_gamut_entries()])

    def _kept(self, entries: list[Entry]) -> list[Entry]:
        return [each for each in entries if each.name not in self.without]

    @cached_property
    def usable_curves(self) -> list[Curve]:
        """The curves of every usable entry."""
        return [each.curve for each in self.curves() if each.curve and not each.unusable]


def _checked_name(kind: str, name: str | Entry, where: str) -> str:
    if isinstance(name, Entry) and getattr(name, kind) is not None:
        return name.name
    if not isinstance(name, str) or not name.strip():
        raise LutbenchError(
            f"{name!r:.60} is not a name of a {kind}",
            where=where,
            accepted=f"a name, a {kind.title()}",
        )
    return name


def _names(entries: Iterable[Entry]) -> list[str]:
    return [name for entry in entries for name in (entry.name, *entry.aliases)]


def _by_folded(named: dict[str, Any], name: str) -> Any:
    return next((value for key, value in named.items() if _folded(key) == _folded(name)), None)


@cache
def standard_curve(name: str) -> Curve:
    """The curve of a name in `STANDARD_CURVES`; only its own file is imported."""
    family = import_module(f"lutbench.model.curves.{STANDARD_CURVES[name]}")
    found: Curve = next(each for each in family.CURVES if each.name == name)
    return found


@cache
def _standard_curve_names() -> dict[str, str]:
    """Every name of a standard curve in lower case, with the curve's own name."""
    return {
        _folded(alias): name
        for name in STANDARD_CURVES
        for alias in (name, *CURVE_ALIASES.get(name, ()))
    }


@cache
def _standard_gamuts() -> dict[str, Gamut]:
    return {
        _folded(name): gamut
        for gamut in STANDARD_GAMUTS
        for name in (gamut.name, *GAMUT_ALIASES.get(gamut.name, ()))
    }


@cache
def _registry_curve_entries(exact: bool = True) -> list[Entry]:
    from lutbench.model.curves.registered import ROUNDED
    from lutbench.model.curves.usable import why_unusable
    from lutbench.model.registered import judged
    from lutbench.model.registry import registry_curves

    curves, missing = registry_curves(exact=exact)
    judgements = judged()
    reasons = {
        name: judgements[name].unusable if name in judgements else why_unusable(curve)
        for name, curve in curves.items()
    }
    for name in reasons.keys() & ROUNDED.keys():
        reasons[name] = f"it is rounded to whole codes: use {ROUNDED[name]} instead"
    entries = [
        Entry(name, "registry", unusable=reasons[name], curve=curve)
        for name, curve in curves.items()
        if _folded(name) not in _standard_curve_names()
    ]
    entries += [Entry(name, "registry", unusable=reason) for name, reason in missing.items()]
    return sorted(entries, key=lambda entry: entry.name.casefold())


@cache
def _registry_gamuts() -> list[tuple[Gamut, tuple[str, ...]]]:
    """The registered gamuts, each with its other names; standards first."""
    from lutbench.model.registry import registry_gamuts

    groups: list[tuple[Gamut, list[str]]] = [
        (each, [each.name, *GAMUT_ALIASES.get(each.name, ())]) for each in STANDARD_GAMUTS
    ]
    for gamut in registry_gamuts():
        for first, names in groups:
            if gamut.same_as(first):
                if _folded(gamut.name) not in map(_folded, names):
                    names.append(gamut.name)
                break
        else:
            groups.append((gamut, [gamut.name]))
    return [(gamut, tuple(names[1:])) for gamut, names in groups]


def _standard_gamut_entries() -> list[Entry]:
    count = len(STANDARD_GAMUTS)
    return [
        Entry(gamut.name, "standard", aliases, gamut=gamut)
        for gamut, aliases in _registry_gamuts()[:count]
    ]


@cache
def _registry_gamut_entries() -> list[Entry]:
    count = len(STANDARD_GAMUTS)
    entries = [
        Entry(gamut.name, "registry", aliases, gamut=gamut)
        for gamut, aliases in _registry_gamuts()[count:]
    ]
    return sorted(entries, key=lambda entry: entry.name.casefold())


def user_folder() -> Path:
    """The folder whose ``*.toml`` definitions are always read."""
    import platformdirs

    return Path(platformdirs.user_config_dir("lutbench")) / "definitions"


MAX_FILES = 16
"""Files of definitions that one recipe, suite or command may name: more is a mistake."""

USER_VARIABLE = "LUTBENCH_USER_DEFINITIONS"
_ANSWERS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}

_log = logging.getLogger("lutbench")
_warned: set[str] = set()


def user_definitions_wanted(usual: bool = True) -> bool:
    """Whether the per-user folder is read: ``LUTBENCH_USER_DEFINITIONS``, or `usual` if not set."""
    text = os.environ.get(USER_VARIABLE, "").strip()
    return _ANSWERS[one_of("answer", text, _ANSWERS, USER_VARIABLE)] if text else usual


def open_catalogue(*files: str | Path, user: bool | None = None) -> Catalogue:
    """The catalogue with the definitions of the per-user folder and of `files`.

    A file of the per-user folder that cannot be used is left out, with a warning (logger
    ``lutbench``) once per process, so that work that does not need it goes on.

    Parameters
    ----------
    files
        More files with definitions; if a name is defined twice, the last one counts.
    user
        Whether the per-user folder is read. Default: yes, unless the environment variable
        ``LUTBENCH_USER_DEFINITIONS`` is ``no``.

    Returns
    -------
    Catalogue
        Curves and gamuts by name.

    Raises
    ------
    DefinitionError
        With the file, when one of `files` cannot be used.
    """
    own = user_definitions_wanted() if user is None else flag(user, "user")
    definitions = _users_own() if own else Definitions()
    files = tuple(path(each, "files") for each in files)
    if len(files) > MAX_FILES:
        raise DefinitionError(
            f"{len(files)} files of definitions", where=files[0], accepted=f"up to {MAX_FILES}"
        )
    for file in files:
        definitions = definitions.merged(_checked(file))
    return Catalogue(definitions)


def known(catalogue: Any) -> Catalogue:
    """`catalogue`, or the default one for None."""
    if catalogue is None:
        return open_catalogue()
    return instance(catalogue, Catalogue, "catalogue", "open_catalogue(...)")


def _checked(file: str | Path) -> Definitions:
    found = read_definitions(file)
    try:
        Catalogue(found)
    except DefinitionError as error:
        raise DefinitionError(error.what, where=file, accepted=error.accepted) from error
    return found


def _users_own() -> Definitions:
    definitions = Definitions()
    for file in sorted(user_folder().glob("*.toml")):
        try:
            more = definitions.merged(_checked(file))
            Catalogue(more)  # refuses names of two files that differ only in case
            definitions = more
        except LutbenchError as error:
            if str(error) not in _warned:
                _warned.add(str(error))
                why = str(error) if str(file) in str(error) else f"{file}: {error}"
                _log.warning("your definitions are left out: %s", why)
    return definitions
