"""An inspection read with the ends that an identification is sure of."""

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
    """`found` read with the ends that an identification is sure of; as it is where it is not.

    The report then has stops, reflectances and hues, though nobody named the source.
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
    )


def identified(found: Inspection, catalogue: Catalogue) -> tuple[Inspection, Identification | None]:
    """An inspection with what `identify` says of the LUT, and that itself.

    None where nothing can be inside: a LUT that always gives the same, or one that is
    damaged as a file is.
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
