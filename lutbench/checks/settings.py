"""Types of the settings of checks: limits, digests, encodings."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any

from lutbench.checks.limits import NAMES
from lutbench.errors import DefinitionError
from lutbench.model.conversion import Encoding
from lutbench.model.curves.base import Curve
from lutbench.model.gamuts import BT709, Gamut
from lutbench.model.signal import Range
from lutbench.recipes import keys
from lutbench.recipes.keys import Bits, Hint, TableSettings

Limits = Annotated[dict[str, Any], keys.limits(lambda: NAMES)]
Sha256 = Annotated[str, Hint(lambda: {"pattern": "^[0-9A-Fa-f]{64}$"})]


@dataclass(frozen=True, kw_only=True)
class SuiteEnd(TableSettings):
    """The source or target encoding of a LUT."""

    curve: Curve
    gamut: Annotated[Gamut | None, keys.usual("BT.709")] = None
    range: Range | None = None
    """By default as the curve's codes are published."""
    bits: Bits = 10

    @property
    def made(self) -> Encoding:
        """The encoding itself."""
        signal_range = self.range or self.curve.formula_codes
        return Encoding(self.curve, self.gamut or BT709, signal_range, self.bits)


End = Annotated[Encoding | None, SuiteEnd]


def refuse_no_digest(text: str | None, where: str) -> None:
    """Refuse a text that is given and is not a SHA-256."""
    if text is not None and not re.fullmatch("[0-9A-Fa-f]{64}", text):
        raise DefinitionError("is not a SHA-256", where=where, accepted="64 hexadecimal digits")
