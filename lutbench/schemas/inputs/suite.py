"""A suite: checks to run."""

from __future__ import annotations

from functools import reduce
from operator import or_
from typing import Annotated, Any, NotRequired, TypedDict

from lutbench.checks.kinds import KINDS
from lutbench.checks.suite import MAX_CHECKS
from lutbench.recipes.keys import Texts, length

CheckOfSuite: Any = reduce(or_, (KINDS[each] for each in sorted(KINDS)))


class SuiteFile(TypedDict):
    """Checks to run."""

    title: NotRequired[str]
    definitions: NotRequired[Texts]
    """Files with your own curves and gamuts, in the folder of the suite."""
    check: Annotated[list[CheckOfSuite], length(1, MAX_CHECKS)]
    """[[check]]"""
