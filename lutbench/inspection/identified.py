"""An inspection with the source and target that `identify` is sure of."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lutbench.errors import LutbenchError
from lutbench.model.encoding import Encoding
from lutbench.model.signal import check_range

if TYPE_CHECKING:
    from lutbench.identification import Identification
    from lutbench.inspection.inspection import Inspection
    from lutbench.model.catalogue import Catalogue


def with_identified_ends(
    found: Inspection, identification: Identification, catalogue: Catalogue
) -> Inspection:
    """`found` with the identified source and target; unchanged if the confidence is not high.

    The report then has stops, reflectances and hues, although nobody named the source.
    """
    best = identification.candidates[0] if identification.candidates else None
    if best is None or best.confidence != "high":
        return found
    source, target = best.source, best.target
    if source.curve is None:
        return found
    seen = found.target
    if target.curve is not None and found.kind != "gamut":
        gamut = catalogue.gamut(target.gamut) if target.gamut else found.target.gamut
        seen = Encoding(catalogue.curve(target.curve, exact=False), gamut)
    return replace(
        found,
        source_curve=catalogue.curve(source.curve, exact=False),
        source_gamut=catalogue.gamut(source.gamut) if source.gamut else None,
        source_range=check_range(source.range),
        target_range=check_range(target.range),
        target=seen,
        known_by="identified",
        target_known_by="identified" if target.curve is not None else "",
    )


def identified(found: Inspection, catalogue: Catalogue) -> tuple[Inspection, Identification | None]:
    """An inspection with the identified source and target, and the identification.

    The identification is None if the LUT cannot be identified, because it is constant or damaged.
    """
    from lutbench.identification import identify

    try:
        result = identify(
            found.lut,
            catalogue=catalogue,
            source_curve=found.source_curve.name if found.source_curve else None,
            source_gamut=found.source_gamut.name if found.source_gamut else None,
        )
    except LutbenchError:
        return found, None
    if found.source_curve is None and found.health.decided_by is None:
        found = with_identified_ends(found, result, catalogue)
    return found, result
