"""The kinds of findings that an examination looks for, and their limits by name."""

from __future__ import annotations

from lutbench.errors import LutbenchError
from lutbench.inspection.finding import FindingKind, Limit
from lutbench.inspection.findings import BUILT_IN

_kinds: list[FindingKind] = list(BUILT_IN)


def kinds() -> tuple[FindingKind, ...]:
    """All kinds of findings, in the order of the examination."""
    return tuple(_kinds)


def register(kind: FindingKind) -> None:
    """Look for another kind of finding in every examination from now on.

    Raises
    ------
    LutbenchError
        When its limit has the name of one that is there.
    """
    if any(each.limit_name == kind.limit_name for each in _kinds):
        raise LutbenchError(
            f"a finding named {kind.limit_name!r} is there already", accepted="another code"
        )
    _kinds.append(kind)


def unregister(kind: FindingKind) -> None:
    """Look for a kind no more that `register` added."""
    _kinds.remove(kind)


def codes() -> tuple[str, ...]:
    """The codes of all findings, each once."""
    return tuple(dict.fromkeys(each.code for each in _kinds))


def all_limits() -> dict[str, Limit]:
    """The limits with their defaults and reasons, by name."""
    return {each.limit_name: each.limit for each in _kinds if each.limit is not None}
