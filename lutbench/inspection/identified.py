"""An inspection read with the ends that an identification is sure of."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lutbench.model.conversion import Encoding
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
        seen = Encoding(catalogue.curve(target.curve), gamut)
    return replace(
        found,
        source_curve=catalogue.curve(source.curve),
        source_gamut=catalogue.gamut(source.gamut) if source.gamut else None,
        source_range=check_range(source.range),
        target_range=check_range(target.range),
        target=seen,
    )
